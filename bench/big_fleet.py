"""A store of a continent's cars in minutes: ten thousand come in as files, the rest are copies, all with due items.

`python -m bench.big_fleet --cars 450000 --to sqlite:////tmp/big/store.db` (or the address of an empty PostgreSQL
database whose user is a superuser, since references are not looked up row by row meanwhile). A car has eleven
events with 48 readings, and about eleven due items. The fleet is the same for the same day and seed.

A copy has other keys, mark, number, owner and region than its car, everything happened to it some days earlier, and
its steel is some thousandths thinner; what is due is worked out anew by the program itself. `python -m app verify`
finds such a store sound. What its record of change lacks are entries that tell of the copies: it says of them that
they were there before it began, as of the rows of a store that was older than the record. There are no components but
relief devices, no visits, reports, photographs, plans, directives and people.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from math import isqrt
from pathlib import Path
from tempfile import TemporaryDirectory
from time import perf_counter
from typing import Any

from sqlalchemy import (
    BigInteger,
    Column,
    ColumnElement,
    Connection,
    Date,
    Engine,
    Integer,
    MetaData,
    String,
    Table,
    case,
    cast,
    event,
    func,
    insert,
    literal,
    null,
    select,
)

from app.actions import due
from app.actions.stamp import Stamp
from app.store import cars as car_rows
from app.store import digests, migrate, rolled
from app.store.columns import BEGINNING, Exact, table_named
from app.store.copies import loading
from app.store.db import for_migrating, make_engine, sessions, write_session
from app.store.gathering import note
from app.store.moments import BEGAN
from app.store.tables import Party
from bench import fleet_files
from bench.import_fleet import bring_in, bring_in_both

TODAY, SEED = date(2026, 11, 30), 179
FIRST = 10_000
# In the order in which they can be filled.
COPIED = (
    "car", "car_name", "ownership", "standing", "construction", "service", "lining", "fitting",
    "stencil", "approval", "component", "installation", "removal", "event", "reading",
)  # fmt: skip
WORKED_OUT = ("due", "due_before")
# Each copy's past lies so many days before that of the copy before it, and its steel is so many millionths thinner.
DAYS, THINNER = 8, 1_000
LETTERS, REGIONS = "ABHJKMNX", 17
CARS_AT_ONCE = 25_000
# Nothing of it needs to survive a power cut while it is made.
SQLITE_HASTE = (
    "PRAGMA journal_mode = OFF",
    "PRAGMA synchronous = OFF",
    "PRAGMA foreign_keys = OFF",
    "PRAGMA cache_size = -524288",
    "PRAGMA threads = 2",
)
POSTGRES_HASTE = (
    "SET session_replication_role = replica",
    "SET synchronous_commit = off",
    "SET maintenance_work_mem = '512MB'",
)


def main() -> int:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    add = parser.add_argument
    add("--cars", type=int, default=450_000)
    add("--to", required=True, metavar="URL", help="of an empty database, made where it is a file")
    add("--seed", type=int, default=SEED)
    add("--today", type=date.fromisoformat, default=TODAY)
    given = parser.parse_args()
    with told(f"{given.cars:,} cars in all"):
        make(given.to, given.cars, given.today, given.seed)
    return 0


@contextmanager
def told(step: str) -> Iterator[None]:
    """Say on stderr how long it took."""
    began = perf_counter()
    yield
    print(f"{step}: {perf_counter() - began:.1f} s", file=sys.stderr)


def make(url: str, cars: int, today: date, seed: int = SEED) -> None:
    """Fill the empty database at `url`; raises Refused where it is not empty."""
    migrate.upgrade(url)
    _first(url, min(cars, FIRST), today, seed)
    engine = _in_haste(url)
    try:
        if cars > FIRST:
            _copy_all(engine, cars, today)
        _end(engine)
    finally:
        engine.dispose()


def _first(url: str, cars: int, today: date, seed: int) -> None:
    """The cars that come in as files, as any fleet does."""
    engine = make_engine(url)
    stamp = Stamp("bench", datetime.combine(today, time(12), UTC), today)
    with TemporaryDirectory(prefix="stencilbook-bench-") as name, told(f"{cars:,} cars as files"):
        factory, folder = sessions(engine), Path(name)
        bring_in_both(factory, *fleet_files.write(folder, cars, today, seed), stamp)
        bring_in(factory, "events", fleet_files.write_history(folder, cars, today, seed), stamp)
    engine.dispose()


def _in_haste(url: str) -> Engine:
    engine = for_migrating(url)
    haste = SQLITE_HASTE if engine.dialect.name == "sqlite" else POSTGRES_HASTE

    def hasten(connection: Any, _record: Any) -> None:
        for each in haste:
            connection.execute(each)
        connection.commit()

    event.listen(engine, "connect", hasten)
    return engine


# The copies --------------------------------------------------------------------------------------------------------


def _copy_all(engine: Engine, cars: int, today: date) -> None:
    copies = -(-cars // FIRST) - 1
    with engine.connect() as connection:
        strides = {
            name: _last_key(connection, name) for name in COPIED if "id" in table_named(name).c
        }
    owners = _begin_record(engine, strides, copies)
    with engine.connect() as connection, told("copies"):
        for name in (*COPIED, *WORKED_OUT):
            for index in table_named(name).indexes:
                index.drop(connection)
        firsts = {name: _put_aside(connection, name) for name in COPIED}
        for name in COPIED:
            for copy in range(1, copies + 1):
                wanted = min(FIRST, cars - copy * FIRST)
                moving = Moving(copy, strides, owners[copy], connection.dialect.name)
                _copy(connection, firsts, name, moving, wanted)
        connection.commit()
    _index(engine, [name for name in COPIED if name != "car"])
    _work_out(engine, today)
    _index(engine, ["car", *WORKED_OUT])


def _last_key(connection: Connection, name: str) -> int:
    return connection.scalar(select(func.max(table_named(name).c.id))) or 0


def _begin_record(
    engine: Engine, strides: Mapping[str, int], copies: int
) -> dict[int, dict[int, int]]:
    """Say that the copies were there before; give by copy whom it belongs to in place of the first cars' owners.

    Later owners have more cars than earlier ones.
    """
    owners: dict[int, dict[int, int]] = {}
    with write_session(sessions(engine)) as db:
        firsts = db.scalars(select(Party).order_by(Party.id)).all()
        for group in range(1, isqrt(copies) + 1):
            others = [Party(name=f"{each.name} of group {group}") for each in firsts]
            db.add_all(others)
            db.flush()
            of_group = {one.id: other.id for one, other in zip(firsts, others, strict=True)}
            for copy in range(group**2, min((group + 1) ** 2, copies + 1)):
                owners[copy] = of_group
        recorded = [table.name for table in digests.BROUGHT if table.name in strides]
        older = {name: strides[name] * (copies + 1) for name in recorded}
        note(db, BEGAN, older={name: key for name, key in older.items() if key})
    return owners


def _put_aside(connection: Connection, name: str) -> Table:
    """A table of the first cars' rows alone, so that copying reads none of its own."""
    connection.exec_driver_sql(f"CREATE TEMPORARY TABLE first_{name} AS SELECT * FROM {name}")
    return Table(
        f"first_{name}",
        MetaData(),
        *(
            Column(each.name, BigInteger() if isinstance(each.type, Exact) else each.type)
            for each in table_named(name).columns
        ),
    )


@dataclass(frozen=True, slots=True)
class Moving:
    """How the rows of one copy differ from the first ones; `strides` is how far the keys of copies lie apart."""

    copy: int
    strides: Mapping[str, int]
    owners: Mapping[int, int]
    engine: str

    def column(self, table: Table, name: str, first: Table) -> ColumnElement[Any]:
        """What a copied row says in this column."""
        kept, value = table.c[name], first.c[name]
        refers = [each.column.table.name for each in kept.foreign_keys]
        if name == "import_id":
            return null()
        if name in ("id", "corrects", "original_id"):
            return value + self.copy * self.strides[table.name]
        if refers == ["party"]:
            return case(dict(self.owners), value=value)
        if refers:
            return value + self.copy * self.strides[refers[0]]
        if isinstance(kept.type, Date):
            return case((value == BEGINNING, value), else_=self._earlier(value))
        return self._said(first, name)

    def _earlier(self, day: ColumnElement[Any]) -> ColumnElement[Any]:
        days = self.copy * DAYS
        if self.engine == "sqlite":
            return func.date(day, f"-{days} days")
        return cast(day - timedelta(days), Date)

    def _said(self, first: Table, name: str) -> ColumnElement[Any]:
        value = first.c[name]
        if name == "number":
            return value + self.copy * FIRST
        if name == "mark":
            place = cast(1 + (_car(first) + self.copy) % len(LETTERS), Integer)
            return literal("ZQ").concat(func.substr(LETTERS, place, 1)).concat("X")
        if name == "region":
            place = (_car(first) + 5 * self.copy) % REGIONS
            return literal("Region ").concat(cast(place, String))
        if name == "inches":
            return value - THINNER * (self.copy % 9)
        return value


def _car(first: Table) -> ColumnElement[Any]:
    return first.c.id if "car_id" not in first.c else first.c.car_id


def _copy(
    connection: Connection, firsts: Mapping[str, Table], name: str, moving: Moving, cars: int
) -> None:
    """The rows of one copy in one table, of so many cars."""
    table, first = table_named(name), firsts[name]
    names = [column.name for column in table.columns]
    rows = select(*(moving.column(table, each, first) for each in names))
    if cars < FIRST:
        rows = rows.where(_among(firsts, name, cars))
    key = list(first.c)[:2] if name == "reading" else [first.c.id]
    connection.execute(insert(table).from_select(names, rows.order_by(*key)))


def _among(firsts: Mapping[str, Table], name: str, cars: int) -> ColumnElement[bool]:
    first, installed = firsts[name], firsts["installation"]
    if name == "component":
        return first.c.id.in_(select(installed.c.component_id).where(installed.c.car_id <= cars))
    if name == "removal":
        return first.c.installation_id.in_(select(installed.c.id).where(installed.c.car_id <= cars))
    return _car(first) <= cars


def _index(engine: Engine, names: Sequence[str]) -> None:
    with engine.begin() as connection, told(f"indexes of {names[0]} to {names[-1]}"):
        for name in names:
            for index in table_named(name).indexes:
                index.create(connection)


def _work_out(engine: Engine, today: date) -> None:
    """What is due on the copies, as after any change of them; and then all is counted anew."""
    with told("due items"), write_session(sessions(engine)) as db:
        rolled.recount(db)
        every = car_rows.all_ids(db)
        for start in range(FIRST, len(every), CARS_AT_ONCE):
            due.refresh(db, every[start : start + CARS_AT_ONCE], today)
            print(f"due items of {min(start + CARS_AT_ONCE, len(every)):,} cars", file=sys.stderr)


def _end(engine: Engine) -> None:
    """New rows follow on these, and statements are planned by what is there."""
    with told("statistics"):
        if engine.dialect.name == "sqlite":
            with engine.begin() as connection:
                connection.exec_driver_sql("ANALYZE")
            return
        with engine.begin() as connection:
            loading.go_on_from_highest(connection, [table_named(name) for name in COPIED])
        alone = engine.execution_options(isolation_level="AUTOCOMMIT")
        with alone.connect() as connection:
            connection.exec_driver_sql("VACUUM (ANALYZE)")


if __name__ == "__main__":
    sys.exit(main())

"""Due dates a second: through the contract, and for a whole fleet as columns; beside bare month sums and a sheet.

`python -m bench.due_dates [--cars N]`; with `--cars 450000` the promise is held to. What it makes lies in a temporary
folder. Seconds of processor are what counts on a machine that does other work too.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable, Iterator
from datetime import date
from pathlib import Path
from tempfile import TemporaryDirectory

from dateutil.relativedelta import relativedelta
from sqlalchemy import delete, func, select
from sqlalchemy.orm import Session

from app import answers
from app.actions import due as actions
from app.actions import fleet_due, rulebooks
from app.core.due import due_dates
from app.rules.reader import default_rulebook
from app.store import cars, facts, fleet_rows
from app.store import due as due_rows
from app.store.db import make_engine, read_session, sessions
from app.store.derived import DueRow
from app.store.tables import EventRow
from bench import big_fleet, sheet, stores
from bench.requests import request_of
from bench.rows import Row, Size
from bench.timing import Spent, timed

TODAY = date(2026, 11, 25)
FULL_SIZE, SECONDS_WANTED = 450_000, 60
ASKED, SUMMED = 2_000, 50_000


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--cars", type=int, default=50_000)
    given = parser.parse_args()
    with TemporaryDirectory(prefix="stencilbook-bench-") as name:
        return measure(Path(name), given.cars)


def measure(folder: Path, count: int) -> int:
    """Print what each takes; 1 when the full size takes more than is wanted."""
    url = f"sqlite:///{folder / 'store.db'}"
    big_fleet.make(url, count, TODAY)
    engine = make_engine(url)
    with read_session(sessions(engine)) as db:
        sums = list(_sums(db))
        bare = timed(lambda: _month_sums(sums))
        one = len(sums) / bare.processor
        print(f"python-dateutil, bare month sums: {one:,.0f} a second of processor")
        _contract(db, one)
        met = _fleet(db, count, one)
    engine.dispose()
    _sheet(folder, sums, one)
    return 0 if met or count < FULL_SIZE else 1


def rows(size: Size, folder: Path) -> Iterator[Row]:
    """Microseconds of processor an item, each way; and of the full fleet the seconds to work all of it out anew."""
    engine = make_engine(stores.on_sqlite(size, folder))
    with read_session(sessions(engine)) as db:
        items = db.scalar(select(func.count()).select_from(DueRow)) or 0
        sums = list(_sums(db))
        by_dateutil = _each(lambda: _month_sums(sums), len(sums))
        by_sql = _each(lambda: _in_sql(db), items)
        answered, asked = _calculated(db)
        calculated, columns = _each(answered, asked), _each(lambda: _columns(db), items)
        again = timed(lambda: actions.refresh_all(db, TODAY))
        anew = again.processor / items * 1e6
    engine.dispose()
    where, unit = f"{stores.CARS[size]:,} cars", "µs of processor an item"
    dateutil, sql = (
        "a month sum by python-dateutil",
        "each car's newest events and months after them by SQLite alone",
    )
    yield Row("due date with its reasons", calculated, by_dateutil, unit, dateutil, times=15)
    yield Row(f"due dates as columns, {where}", columns, by_dateutil, unit, dateutil, times=3)
    yield Row(f"due dates as columns, {where}", columns, by_sql, unit, sql, times=30)
    yield Row(
        f"due dates worked out and compared, {where}", anew, by_dateutil, unit, dateutil, times=4
    )
    if size == "full":
        bare = by_dateutil * items / 1e6
        name = f"all due dates worked out anew, nothing moved, {where}"
        yield Row(
            name,
            again.clock,
            bare,
            "s",
            "as many month sums by python-dateutil",
            most=SECONDS_WANTED,
        )
    if program := sheet.office():
        found = sheet.recalculate(program, folder, sums[:SUMMED])
        in_sheet = found.processor / min(len(sums), SUMMED) * 1e6
        against = "a month sum in a sheet by LibreOffice, its start and files included"
        yield Row(f"due dates as columns, {where}", columns, in_sheet, unit, against, times=1)


def _each(work: Callable[[], object], many: int) -> float:
    """Microseconds of processor each of many takes: the least of three goes, since other work only adds to it."""
    return min(timed(work).processor for _ in range(3)) / many * 1e6


def _in_sql(db: Session) -> None:
    """The newest inspection of each kind that each car passed, and months after it: no rule, no other fact."""
    added = func.date(func.max(EventRow.happened_on), "60 months")
    passed = EventRow.outcome == "pass", EventRow.superseded_at.is_(None)
    kinds = select(EventRow.car_id, EventRow.items, added).where(*passed)
    db.execute(kinds.group_by(EventRow.car_id, EventRow.items)).all()


def _calculated(db: Session) -> tuple[Callable[[], object], int]:
    """Answers of the calculator for some cars, and how many items they have."""
    records = facts.load(db, list(cars.all_ids(db)[:ASKED]), TODAY).values()
    asked, rulebook = [record.facts(TODAY) for record in records], default_rulebook()
    items = sum(len(due_dates(each, rulebook).items) for each in asked)
    return lambda: [due_dates(each, rulebook) for each in asked], items


def _sums(db: Session) -> Iterator[sheet.Sum]:
    """Basis, months and sum of stored items of the fleet whose date is such a sum."""
    wanted = due_rows.DueFilter(TODAY)
    for row in due_rows.each(db, wanted):
        if row.basis_on and row.interval_months and row.calculated_due_on:
            yield row.basis_on, row.interval_months, row.calculated_due_on


def _month_sums(sums: list[sheet.Sum]) -> None:
    unequal = sum(basis + relativedelta(months=months) != due for basis, months, due in sums)
    if unequal:
        raise RuntimeError(f"{unequal} of {len(sums)} sums came out otherwise")


def _contract(db: Session, one: float) -> None:
    """Requests answered in full, reasons and all, and the calculator within it alone."""
    records = facts.load(db, list(cars.all_ids(db)[:ASKED]), TODAY).values()
    asked = [record.facts(TODAY) for record in records]
    requests = [request_of(each) for each in asked]
    items = sum(len(answer["items"]) for answer in answers.due_dates(requests))
    whole = timed(lambda: [answers.due_dates(each) for each in requests])
    rulebook = default_rulebook()
    core = timed(lambda: [due_dates(each, rulebook) for each in asked])
    _tell("through the contract, with reasons", items, whole, one)
    _tell("the calculator within it", items, core, one)


def _fleet(db: Session, count: int, one: float) -> bool:
    """The whole fleet in its store: read and worked out; put in, all of it; worked out and compared, nothing moved."""
    db.execute(delete(DueRow))
    alone = timed(lambda: _columns(db))
    written = timed(lambda: actions.refresh_all(db, TODAY))
    db.commit()
    again = timed(lambda: actions.refresh_all(db, TODAY))
    items = db.scalar(select(func.count()).select_from(DueRow)) or 0
    _tell(f"as columns, read and worked out, {count:,} cars", items, alone, one)
    _tell("the same, compared with what is stored, nothing moved", items, again, one)
    _tell("the same, every item written", items, written, one)
    # One process: on a machine that does nothing else its processor time is the clock's.
    return again.processor <= SECONDS_WANTED


def _columns(db: Session) -> None:
    every, programme = cars.all_ids(db), rulebooks.in_force(db)
    for first in range(0, len(every), actions.MANY):
        known = fleet_rows.in_record(db, every[first : first + actions.MANY], TODAY)
        for _, found in fleet_due.columns(db, known, TODAY, programme, facts.DEFAULTS):
            if found.left:
                raise RuntimeError(f"{len(found.left)} cars cannot be put as columns")


def _sheet(folder: Path, sums: list[sheet.Sum], one: float) -> None:
    program = sheet.office()
    if program is None:
        print("LibreOffice: not at hand")
        return
    some = sums[:SUMMED]
    found = sheet.recalculate(program, folder, some)
    _tell("LibreOffice, sums alone, start and files included", len(some), Spent(*found[:2]), one)
    print(
        f"    of it {found.start:.1f} s of processor to start; {found.unequal} of {len(some):,} sums unequal"
    )


def _tell(name: str, items: int, spent: Spent, one: float) -> None:
    rate = items / spent.processor
    print(
        f"{name}: {items:,} items in {spent.clock:.1f} s ({spent.processor:.1f} s of processor), "
        f"{rate:,.0f} a second of processor, {one / rate:.1f} times a bare sum"
    )


if __name__ == "__main__":
    sys.exit(main())

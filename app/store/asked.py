"""Asking for the rows in force of some cars, on a day, as known at a moment: plain selects, no mapped objects."""

from __future__ import annotations

from collections import namedtuple
from collections.abc import Callable, Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from functools import cache, lru_cache
from typing import Any, cast

from sqlalchemy import (
    BigInteger,
    BindParameter,
    ColumnElement,
    CompoundSelect,
    Date,
    Row,
    ScalarSelect,
    Select,
    and_,
    bindparam,
    inspect,
    literal_column,
    or_,
    select,
    type_coerce,
)
from sqlalchemy.orm import InstrumentedAttribute, Session, aliased

from app.store import prepared
from app.store.columns import CarFact, Exact, Moment, Recorded
from app.store.tables import Car

AnyRow = Row[*tuple[Any, ...]]
AnySelect = Select[*tuple[Any, ...]]

# What rows of these columns are made of; mypy would have their names written out.
ROW_OF: Callable[[str, Sequence[str]], Any] = namedtuple
# The row in force of each of some kinds of fact, of one car: its day and what it states, by the names of the columns.
InForce = Mapping[type[CarFact], Any]


@dataclass(frozen=True, slots=True)
class Standpoint:
    """From where the record is looked at: what held on a day, as known at a moment (None: now)."""

    as_of: date
    known_at: datetime | None = None


# What a statement is given each time that it is sent: putting it together takes longer than the database does.
CAR_IDS: BindParameter[int] = bindparam("car_ids", expanding=True)
AS_OF = bindparam("as_of", type_=Date)
KNOWN_AT = bindparam("known_at", type_=Moment)


def counted(
    table: type[Recorded], known_at: datetime | BindParameter[datetime] | None
) -> ColumnElement[bool]:
    """Whether a row counted at a moment (None: counts now): recorded by then, and replaced no earlier."""
    if known_at is None:
        return table.superseded_at.is_(None)
    later = or_(table.superseded_at.is_(None), table.superseded_at > known_at)
    return and_(table.recorded_at <= known_at, later)


def known(table: type[Recorded], now: bool) -> ColumnElement[bool]:
    """The same in a statement that is put together once: now, or at the moment that it is given."""
    return counted(table, None if now else KNOWN_AT)


class Asked:
    """Whose rows, on which day, as known when; and the two ways of asking for them."""

    def __init__(
        self, db: Session, car_ids: Sequence[int], as_of: date, known_at: datetime | None
    ) -> None:
        db.flush()
        # Past the session: its share of reading thousands of rows is larger than one thinks.
        self.execute = db.connection().execute
        self.now = known_at is None
        self.given = {"car_ids": car_ids, "as_of": as_of}
        if known_at is not None:
            self.given["known_at"] = known_at
        self.options = prepared.of_cars(car_ids)

    def ask(self, query: AnySelect | CompoundSelect[*tuple[Any, ...]]) -> Iterable[AnyRow]:
        """The rows of a statement that asks for `CAR_IDS`, `AS_OF` and, where it is not about now, `KNOWN_AT`."""
        return self.execute(query, self.given, execution_options=self.options)

    def rows(self, table: type[CarFact], query: AnySelect) -> Iterable[AnyRow]:
        """The rows of `query`, always the same object, in force, in the order in which a later replaces an earlier."""
        return self.ask(_in_force(cast(Hashable, table), query, self.now))

    def each_latest(self, tables: tuple[type[CarFact], ...]) -> dict[int, InForce]:
        """The rows in force of each car, one of each table or None: all of them in one statement."""
        query, parts = _each_in_force(cast(Hashable, tables), self.now)
        return {row[0]: {part.table: part.of(row) for part in parts} for row in self.ask(query)}

    def latest(self, table: type[CarFact]) -> dict[int, AnyRow]:
        """The row in force of each car."""
        return {row.car_id: row for row in self.rows(table, facts_of(cast(Hashable, table)))}


@lru_cache(maxsize=64)
def _in_force(table: type[CarFact], query: AnySelect, now: bool) -> AnySelect:
    return query.where(
        table.car_id.in_(CAR_IDS), known(table, now), table.from_on <= AS_OF
    ).order_by(table.car_id, table.from_on, table.id)


@dataclass(frozen=True, slots=True)
class _Part:
    """Where in a row of several tables the row of one stands, its key before it."""

    table: type[CarFact]
    made: Any
    key: int
    end: int

    def of(self, row: AnyRow) -> Any:
        return None if row[self.key] is None else self.made(*row[self.key + 1 : self.end])


@cache
def _each_in_force(
    tables: tuple[type[CarFact], ...], now: bool
) -> tuple[AnySelect, Sequence[_Part]]:
    """Its names are short: the driver takes a longer statement apart each time that it is sent."""
    columns: list[ColumnElement[Any]] = [Car.id.expression]
    parts, held = [], []
    for place, table in enumerate(tables):
        row, names = aliased(table, name=f"t{place}"), ["from_on", *stated(table)]
        mine = [row.id.expression, *(plain(getattr(row, name)) for name in names)]
        parts.append(_Part(table, ROW_OF("Row", names), len(columns), len(columns) + len(mine)))
        columns += mine
        held.append((row, row.id == _latest_of_car(table, now)))
    query = select(*columns).select_from(Car).where(Car.id.in_(CAR_IDS))
    for row, latest in held:
        query = query.outerjoin(row, latest)
    return query, parts


def _latest_of_car(table: type[CarFact], now: bool) -> ScalarSelect[int]:
    """The key of the row that replaces all others."""
    row = aliased(table, name="x")
    return (
        select(row.id)
        .where(row.car_id == Car.id, known(row, now), row.from_on <= AS_OF)
        .order_by(row.from_on.desc(), row.id.desc())
        .limit(literal_column("1"))
        .scalar_subquery()
    )


@cache
def facts_of(table: type[CarFact]) -> AnySelect:
    """The columns that state the fact, decimals as whole millionths."""
    return select(table.car_id, *(plain(getattr(table, name)) for name in stated(table)))


def stated(table: type[CarFact]) -> list[str]:
    """The names of the columns that state the fact."""
    recording = {"id", "from_on", "car_id", *Recorded.__annotations__}
    return [each.key for each in inspect(table).column_attrs if each.key not in recording]


def plain(column: InstrumentedAttribute[Any]) -> ColumnElement[Any]:
    if isinstance(column.type, Exact):
        return type_coerce(column, BigInteger).label(column.key)
    return column.expression

"""Asking for the rows in force of some cars, on a day, as known at a moment: plain selects, no mapped objects."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from sqlalchemy import (
    BigInteger,
    ColumnElement,
    Row,
    Select,
    and_,
    inspect,
    or_,
    select,
    type_coerce,
)
from sqlalchemy.orm import InstrumentedAttribute, Session

from app.store.columns import CarFact, Exact, Recorded

AnyRow = Row[*tuple[Any, ...]]
AnySelect = Select[*tuple[Any, ...]]


@dataclass(frozen=True, slots=True)
class Standpoint:
    """From where the record is looked at: what held on a day, as known at a moment (None: now)."""

    as_of: date
    known_at: datetime | None = None


def counted(table: type[Recorded], known_at: datetime | None) -> ColumnElement[bool]:
    """Whether a row counted at a moment (None: counts now): recorded by then, and replaced no earlier."""
    if known_at is None:
        return table.superseded_at.is_(None)
    later = or_(table.superseded_at.is_(None), table.superseded_at > known_at)
    return and_(table.recorded_at <= known_at, later)


class Asked:
    """Whose rows, on which day, as known when; and the two ways of asking for them."""

    def __init__(
        self, db: Session, car_ids: Sequence[int], as_of: date, known_at: datetime | None
    ) -> None:
        db.flush()
        # Past the session: its share of reading thousands of rows is larger than one thinks.
        self.ask = db.connection().execute
        self.car_ids, self.as_of, self.known_at = car_ids, as_of, known_at

    def known(self, table: type[Recorded]) -> ColumnElement[bool]:
        return counted(table, self.known_at)

    def rows(self, table: type[CarFact], query: AnySelect) -> Iterable[AnyRow]:
        """The rows of `query` in force, in the order in which a later one replaces an earlier."""
        return self.ask(
            query.where(
                table.car_id.in_(self.car_ids), self.known(table), table.from_on <= self.as_of
            ).order_by(table.car_id, table.from_on, table.id)
        )

    def latest(self, table: type[CarFact]) -> dict[int, AnyRow]:
        """The row in force of each car."""
        return {row.car_id: row for row in self.rows(table, facts_of(table))}


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

"""Which cars a list looks back at, and what such a list can be filtered by: questions seen from a day and a moment."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from sqlalchemy import ColumnElement, Select, func, select
from sqlalchemy.orm import InstrumentedAttribute, Session

from app.store import reach
from app.store.asked import Standpoint, counted
from app.store.columns import CarFact
from app.store.names import EVERY_NAME, NamePrefix, matches
from app.store.tables import Car, CarName, Construction, Ownership, Party, ServiceFact


def chosen(
    db: Session, at: Standpoint, owner_id: int | None = None, search: NamePrefix = EVERY_NAME
) -> Select[int]:
    """The keys of the cars that a list looks through: the one place that says which.

    With an owner or a search those that were ever theirs, or ever bore such a name, by what was
    known then; which of them were so on the day is for whoever reads their facts.
    """
    query = select(Car.id).where(reach.whole(db, Car.owner_id, Car.id))
    if owner_id is not None:
        theirs = _held(at, Ownership, Ownership.car_id).where(Ownership.owner_id == owner_id)
        query = query.where(Car.id.in_(theirs))
    if search != EVERY_NAME:
        named = _held(at, CarName, CarName.car_id).where(
            matches(search, CarName.mark.expression, CarName.number.expression)
        )
        query = query.where(Car.id.in_(named))
    return query


def car_ids(
    db: Session, at: Standpoint, owner_id: int | None = None, search: NamePrefix = EVERY_NAME
) -> Sequence[int]:
    """These keys in ascending order."""
    return db.scalars(chosen(db, at, owner_id, search).order_by(Car.id)).all()


def how_many(
    db: Session, at: Standpoint, owner_id: int | None = None, search: NamePrefix = EVERY_NAME
) -> int:
    """How many they are."""
    found = chosen(db, at, owner_id, search).subquery()
    return db.scalar(select(func.count()).select_from(found)) or 0


def any_known(db: Session, at: Standpoint) -> bool:
    """Whether anything was recorded by then of any car that a list looks through."""
    named = _held(at, CarName, CarName.id).where(_of_chosen(db, CarName, at))
    return db.scalar(named.limit(1)) is not None


def called(db: Session, car: Car, day: date) -> str:
    """The mark and number that a car bore on a day, by all that is known now; before it had any, today's."""
    query = (
        select(CarName.mark, CarName.number)
        .where(CarName.car_id == car.id, CarName.from_on <= day, counted(CarName, known_at=None))
        .order_by(CarName.from_on.desc(), CarName.id.desc())
    )
    mark, number = db.execute(query).first() or (car.mark, car.number)
    return f"{mark} {number}"


def first_recorded(db: Session, car_id: int) -> datetime:
    """The moment at which a car came into the register."""
    found = db.scalar(select(func.min(CarName.recorded_at)).where(CarName.car_id == car_id))
    assert found is not None  # a car is never without a name
    return found


@dataclass(frozen=True, slots=True)
class Offered:
    """Owners by key and name, and the regions, specifications and ladings that cars had by then, sorted."""

    owners: Sequence[tuple[int, str]]
    regions: Sequence[str]
    specifications: Sequence[str]
    commodities: Sequence[str]


def offered(db: Session, at: Standpoint) -> Offered:
    """What there was to choose from, also where the car moved on before the day."""
    owner_ids = _held(at, Ownership, Ownership.owner_id).where(_of_chosen(db, Ownership, at))
    owners = select(Party.id, Party.name).where(Party.id.in_(owner_ids)).order_by(Party.name)
    return Offered(
        [(row.id, row.name) for row in db.execute(owners)],
        _different(db, at, Ownership, Ownership.region),
        _different(db, at, Construction, Construction.specification),
        _different(db, at, ServiceFact, ServiceFact.commodity),
    )


def _different(
    db: Session, at: Standpoint, table: type[CarFact], column: InstrumentedAttribute[str]
) -> list[str]:
    query = _held(at, table, column).where(_of_chosen(db, table, at)).distinct()
    return sorted(each for each in db.scalars(query) if each)


def _held(at: Standpoint, table: type[CarFact], column: InstrumentedAttribute[Any]) -> Select[Any]:
    """A column of the rows that counted at the moment and hold from the day or before."""
    return select(column).where(counted(table, at.known_at), table.from_on <= at.as_of)


def _of_chosen(db: Session, table: type[CarFact], at: Standpoint) -> ColumnElement[bool]:
    return table.car_id.in_(chosen(db, at))

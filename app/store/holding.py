"""Which cars somebody stopped from being loaded."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime
from typing import NamedTuple

from sqlalchemy import ColumnElement, ScalarSelect, and_, exists, func, or_, select
from sqlalchemy.orm import Session, aliased

from app.store import reach
from app.store.tables import OUT_OF_RECORD, Car, HoldFact, Party


class Held(NamedTuple):
    """A car on hold: since when and why, and who said so when."""

    car_id: int
    mark: str
    number: int
    owner: str
    region: str
    since: date
    reason: str
    recorded_at: datetime
    recorded_by: str


def on_hold(db: Session, today: date) -> Sequence[Held]:
    """The cars in record that are on hold on this day, by mark and number, of those that the session reaches."""
    query = (
        select(
            Car.id, Car.mark, Car.number, Party.name, Car.region, HoldFact.from_on,
            HoldFact.reason, HoldFact.recorded_at, HoldFact.recorded_by,
        )
        .join(Car, Car.id == HoldFact.car_id)
        .join(Party, Party.id == Car.owner_id)
        .where(*_is_held(db, today))
        .order_by(Car.mark, Car.number, Car.id)
    )  # fmt: skip
    return [Held._make(row) for row in db.execute(query)]


def count(db: Session, today: date) -> ScalarSelect[int]:
    """How many they are."""
    query = select(func.count(HoldFact.id)).join(Car, Car.id == HoldFact.car_id)
    return query.where(*_is_held(db, today)).scalar_subquery()


def _is_held(db: Session, today: date) -> tuple[ColumnElement[bool], ...]:
    """Of a car in record, the hold in force on the day."""
    later = aliased(HoldFact)
    replaced = exists().where(
        later.car_id == HoldFact.car_id,
        later.superseded_at.is_(None),
        later.from_on <= today,
        or_(
            later.from_on > HoldFact.from_on,
            and_(later.from_on == HoldFact.from_on, later.id > HoldFact.id),
        ),
    )
    # Said twice, and the standing by what it is not, so that a database begins with the cars that were ever on hold.
    ever = select(HoldFact.car_id).where(HoldFact.held)
    return (
        Car.id.in_(ever),
        HoldFact.superseded_at.is_(None),
        HoldFact.from_on <= today,
        HoldFact.held.expression,
        ~replaced,
        Car.standing.not_in(OUT_OF_RECORD),
        reach.whole(db, Car.owner_id, Car.id),
    )

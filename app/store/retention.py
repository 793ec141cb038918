"""What the question of keeping reports asks of the store; and letting go, as the triggers allow it."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import date, datetime

from sqlalchemy import ForeignKey, Index, String, Text, delete, func, select, update
from sqlalchemy.orm import Mapped, Session, aliased, mapped_column

from app.core.facts import CHANGES
from app.core.months import month_end
from app.core.retention import Report
from app.store import reach
from app.store.columns import Base, Id, Key, Moment, Words, table_of
from app.store.events import split
from app.store.tables import Car, EventRow, ReadingRow, Standing

# What of an event goes. What a due date counts from, and what tells the event from others, stays.
DETAILS = ("inspector", "reference", "notes")


class RemovalPermit(Base):
    """That the details of an event may go: without one the triggers refuse. Never changed or deleted."""

    __tablename__ = "removal_permit"
    id: Mapped[Id]
    event_id: Mapped[int] = mapped_column(Key, ForeignKey("event.id"), unique=True)
    recorded_at: Mapped[datetime] = mapped_column(Moment)
    recorded_by: Mapped[Words]
    reason: Mapped[str] = mapped_column(Text, default="")
    citation: Mapped[str] = mapped_column(String(80), default="")
    __table_args__ = (Index("ix_removal_permit_recorded", "recorded_at"),)


@dataclass(frozen=True, slots=True)
class Papers:
    """The construction papers of a car that left its owner on a day."""

    car_id: int
    mark: str
    number: int
    left_on: date


def cars_after(db: Session, car_id: int, limit: int) -> list[tuple[int, str, int]]:
    """Own cars in the order of their keys, whatever their standing, with their names now."""
    found = db.execute(
        select(Car.id, Car.mark, Car.number)
        .where(Car.id > car_id, reach.owned(db, Car.owner_id))
        .order_by(Car.id)
        .limit(limit)
    )
    return [(key, mark, number) for key, mark, number in found]


def reports(db: Session, car_ids: Collection[int]) -> dict[int, list[Report]]:
    """By car the events that count, and hold no change to the car beside an inspection."""
    rows = db.execute(
        select(
            EventRow.id, EventRow.car_id, EventRow.happened_on, EventRow.month_only,
            EventRow.items, EventRow.outcome,
        ).where(EventRow.car_id.in_(car_ids), EventRow.superseded_at.is_(None))
    ).all()  # fmt: skip
    zones: dict[int, set[str]] = {}
    measured = select(ReadingRow.event_id, ReadingRow.zone)
    for event_id, zone in db.execute(measured.where(ReadingRow.car_id.in_(car_ids))):
        zones.setdefault(event_id, set()).add(zone)
    found: dict[int, list[Report]] = {}
    for key, car_id, on, month_only, items, outcome in rows:
        inspected = frozenset(split(items)).difference(CHANGES)
        last = month_end(on) if month_only else on
        measured_here = frozenset(zones.get(key, ()))
        report = Report(key, on, last, inspected, outcome == "pass", measured_here)
        found.setdefault(car_id, []).append(report)
    return found


def with_changes(db: Session, car_ids: Collection[int]) -> set[int]:
    """Events that record a change to the car, which no rule lets go."""
    rows = db.execute(select(EventRow.id, EventRow.items).where(EventRow.car_id.in_(car_ids)))
    return {key for key, items in rows if set(split(items)) & set(CHANGES)}


def let_go_before(db: Session, event_ids: Collection[int]) -> set[int]:
    """Those whose details have gone already."""
    found = select(RemovalPermit.event_id).where(RemovalPermit.event_id.in_(event_ids))
    return set(db.scalars(found))


def events(db: Session, event_ids: Sequence[int]) -> list[EventRow]:
    """The events of these numbers on own cars."""
    own = select(Car.id).where(reach.owned(db, Car.owner_id))
    return list(
        db.scalars(
            select(EventRow)
            .where(EventRow.id.in_(event_ids), EventRow.car_id.in_(own))
            .order_by(EventRow.id)
        )
    )


def left(db: Session, after: int, limit: int) -> list[Papers]:
    """Own cars that were sold or scrapped, by key, and since when."""
    gone = ("sold", "scrapped")
    own = Standing.car_id == Car.id, Standing.superseded_at.is_(None), Standing.standing.in_(gone)
    ended = select(func.max(Standing.from_on)).where(*own).scalar_subquery()
    # By their keys alone, so that SQLite does not go through every car where hardly any is gone.
    car = aliased(Car)
    keys = select(car.id).where(car.standing.in_(gone))
    found = db.execute(
        select(Car.id, Car.mark, Car.number, ended)
        .where(Car.id > after, Car.id.in_(keys), reach.owned(db, Car.owner_id))
        .order_by(Car.id)
        .limit(limit)
    )
    return [Papers(*row) for row in found]


def permit(db: Session, row: EventRow, at: datetime, by: str, reason: str, citation: str) -> None:
    db.add(
        RemovalPermit(
            event_id=row.id, recorded_at=at, recorded_by=by, reason=reason, citation=citation
        )
    )


def blank(db: Session, event_ids: Sequence[int]) -> None:
    """Take the details of these events away, past the session: their words must not be told once more."""
    event, reading = table_of(EventRow), table_of(ReadingRow)
    connection = db.connection()
    blanks = dict.fromkeys(DETAILS, "")
    connection.execute(update(event).where(event.c.id.in_(event_ids)).values(blanks))
    connection.execute(delete(reading).where(reading.c.event_id.in_(event_ids)))

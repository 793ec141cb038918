"""Questions about inspections and changes, their corrections, and what was measured."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from fractions import Fraction

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from app.core.facts import EVENT_ITEMS, Outcome
from app.core.measure import as_stated, exact
from app.errors import NotFound
from app.store import reach
from app.store.cars import withdrawals
from app.store.tables import Car, EventRow, ReadingRow, Withdrawal


@dataclass(frozen=True, slots=True)
class EventShown:
    """An event with its readings; `corrected_by` is the row that replaced it."""

    row: EventRow
    readings: tuple[ReadingRow, ...]
    corrected_by: int | None
    withdrawal: Withdrawal | None

    @property
    def in_force(self) -> bool:
        return self.row.superseded_at is None

    @property
    def items(self) -> tuple[str, ...]:
        return split(self.row.items)

    @property
    def opens(self) -> tuple[str, ...]:
        return split(self.row.opens)

    @property
    def inspected(self) -> tuple[str, ...]:
        return inspected(self.items)

    @property
    def outcome(self) -> Outcome | None:
        """Of what was inspected; None for a change alone, which neither passes nor fails."""
        return self.row.outcome if self.inspected else None


def inspected(items: Sequence[str]) -> tuple[str, ...]:
    """Those of an event's items that pass or fail; the others are changes to the car."""
    return tuple(item for item in items if item in EVENT_ITEMS)


def split(joined: str) -> tuple[str, ...]:
    """Item names as the event table keeps them."""
    return tuple(joined.split(";")) if joined else ()


def event_or_raise(db: Session, event_id: int) -> EventRow:
    """The event, when the session reaches all that it names; NotFound as well when there is none."""
    found = (
        select(EventRow)
        .join(Car, Car.id == EventRow.car_id)
        .where(EventRow.id == event_id, reach.some(db, Car.owner_id, Car.id))
    )
    event = db.scalars(found).first()
    if event is None or not _among(event, reach.items_of(db, event.car_id)):
        raise unknown(event_id)
    return event


def unknown(event_id: int) -> NotFound:
    return NotFound(f"There is no event with the number {event_id} in the register.")


def _among(event: EventRow, items: frozenset[str] | None) -> bool:
    return items is None or set(split(event.items)) <= items


def history(db: Session, car_id: int, items: frozenset[str] | None = None) -> list[EventShown]:
    """Everything recorded of a car's inspections and changes, newest first, corrected ones too.

    With `items` only what names no others, and without readings: those are of the tank.
    """
    found = db.scalars(
        select(EventRow)
        .where(EventRow.car_id == car_id)
        .order_by(
            EventRow.happened_on.desc(),
            func.coalesce(EventRow.original_id, EventRow.id).desc(),
            EventRow.id.desc(),
        )
    ).all()
    rows = [row for row in found if _among(row, items)]
    measured = _readings_of_car(db, car_id) if items is None else {}
    corrected = {row.corrects: row.id for row in rows if row.corrects is not None}
    gone = withdrawals(db, "event", [row.id for row in rows if row.superseded_at])
    return [
        EventShown(row, measured.get(row.id, ()), corrected.get(row.id), gone.get(row.id))
        for row in rows
    ]


def corrected_by(db: Session, event_id: int) -> EventRow | None:
    """The row that replaced this event, if one did."""
    return db.scalars(select(EventRow).where(EventRow.corrects == event_id)).first()


def superseded_with(
    db: Session, car_id: int, happened_on: date, items: str, at: datetime
) -> EventRow | None:
    """The event of a day that stopped counting at a moment, and that none has replaced."""
    found = db.scalars(
        select(EventRow).where(
            EventRow.car_id == car_id,
            EventRow.happened_on == happened_on,
            EventRow.items == items,
            EventRow.superseded_at == at,
        )
    )
    return next((row for row in found if corrected_by(db, row.id) is None), None)


def by_form_key(db: Session, car_id: int, form_key: str) -> EventRow | None:
    return db.scalars(
        select(EventRow).where(EventRow.form_key == form_key, EventRow.car_id == car_id)
    ).first()


def known_by(
    db: Session, car_id: int, happened_on: date, items: str, facility: str
) -> EventRow | None:
    """The event in force that these four tell from any other."""
    return db.scalars(
        select(EventRow).where(
            EventRow.car_id == car_id,
            EventRow.happened_on == happened_on,
            EventRow.items == items,
            EventRow.facility == facility,
            EventRow.superseded_at.is_(None),
        )
    ).first()


def first_day(db: Session, car_id: int) -> date | None:
    """The first day on which anything that counts was done to the car."""
    return db.scalar(
        select(func.min(EventRow.happened_on)).where(
            EventRow.car_id == car_id, EventRow.superseded_at.is_(None)
        )
    )


def readings(db: Session, event_ids: Sequence[int]) -> dict[int, tuple[ReadingRow, ...]]:
    """The readings of these events, in the order of each report."""
    return _by_event(
        db.scalars(
            select(ReadingRow)
            .where(ReadingRow.event_id.in_(event_ids))
            .order_by(ReadingRow.event_id, ReadingRow.place)
        ).all()
    )


def _readings_of_car(db: Session, car_id: int) -> dict[int, tuple[ReadingRow, ...]]:
    return _by_event(
        db.scalars(
            select(ReadingRow)
            .where(ReadingRow.car_id == car_id)
            .order_by(ReadingRow.event_id, ReadingRow.place)
        ).all()
    )


def _by_event(rows: Sequence[ReadingRow]) -> dict[int, tuple[ReadingRow, ...]]:
    found: dict[int, list[ReadingRow]] = defaultdict(list)
    for row in rows:
        found[row.event_id].append(row)
    return {event_id: tuple(each) for event_id, each in found.items()}


@dataclass(frozen=True, slots=True)
class LastReading:
    """The least reading of a zone on the last day on which it was measured."""

    zone: str
    inches: Decimal
    extent: str
    measured_on: date
    event_id: int
    stated: str | None

    @property
    def exact(self) -> Fraction:
        return exact(as_stated("inches", self.inches, self.stated) or self.inches)


def last_readings(db: Session, car_id: int) -> dict[str, LastReading]:
    """By zone; what a person with the gauge in hand compares with."""
    found = db.execute(
        select(
            ReadingRow.zone,
            ReadingRow.inches,
            ReadingRow.extent,
            EventRow.happened_on,
            EventRow.id,
            ReadingRow.stated,
        )
        .join(EventRow, EventRow.id == ReadingRow.event_id)
        .where(ReadingRow.car_id == car_id, EventRow.superseded_at.is_(None))
        .order_by(EventRow.happened_on, ReadingRow.inches.desc())
    )
    return {row.zone: LastReading(*row) for row in found}

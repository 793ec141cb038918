"""What is recorded of many cars at once, row after row: inspections and changes, and components, for files."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from sqlalchemy import Row, Select, select
from sqlalchemy.orm import Session

from app.store import cars, reach
from app.store.cars import RegisterFilter
from app.store.tables import Car, Component, EventRow, Installation, Party, Removal

AT_ONCE = 1000


def events(db: Session, wanted: RegisterFilter) -> Iterator[Row[*tuple[Any, ...]]]:
    """Inspections and changes that count, of the cars of a filter that the session reaches all of; by car and day."""
    query = (
        select(
            Car.mark, Car.number, EventRow.happened_on, EventRow.month_only, EventRow.items,
            EventRow.outcome, EventRow.opens, EventRow.facility, EventRow.inspector,
            EventRow.reference, EventRow.notes, EventRow.recorded_at, EventRow.recorded_by,
            EventRow.id,
        )
        .join(Car, Car.id == EventRow.car_id)
        .where(EventRow.superseded_at.is_(None))
        .order_by(Car.mark, Car.number, Car.id, EventRow.happened_on, EventRow.id)
    )  # fmt: skip
    return _each(db, query, wanted)


def components(db: Session, wanted: RegisterFilter) -> Iterator[Row[*tuple[Any, ...]]]:
    """Components that are on the cars of a filter that the session reaches all of; by car and place."""
    off = select(Removal.id).where(
        Removal.installation_id == Installation.id, Removal.superseded_at.is_(None)
    )
    query = (
        select(
            Car.mark, Car.number, Component.kind, Installation.position, Component.maker,
            Component.model, Component.lot, Component.serial, Installation.installed_on,
            Installation.installed_month_only, Installation.tested_on, Installation.set_psig,
            Installation.owner_interval_months, Party.name,
        )
        .join(Installation, Installation.component_id == Component.id)
        .join(Car, Car.id == Installation.car_id)
        .join(Party, Party.id == Component.owner_id)
        .where(Installation.superseded_at.is_(None), ~off.exists())
        .order_by(Car.mark, Car.number, Car.id, Component.kind, Installation.position, Installation.id)
    )  # fmt: skip
    return _each(db, query, wanted)


def _each(
    db: Session, query: Select[*tuple[Any, ...]], wanted: RegisterFilter
) -> Iterator[Row[*tuple[Any, ...]]]:
    kept = query.where(*cars.conditions(db, wanted), reach.whole(db, Car.owner_id, Car.id))
    yield from db.execute(kept, execution_options={"yield_per": AT_ONCE})

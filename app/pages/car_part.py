"""What the page of a car shows to whoever answers for its lining or its service equipment alone."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from sqlalchemy.orm import Session

from app.access.reach import ITEMS_OF
from app.actions.reasons import told
from app.pages.changing import Seen
from app.pages.fact_history import Section, sections
from app.store import cars, components, due, events
from app.store.components import Mounted
from app.store.due import DueListRow
from app.store.events import EventShown
from app.store.tables import EQUIPMENT_KINDS, RELIEF_KINDS, Car

EQUIPMENT = frozenset((*RELIEF_KINDS, *EQUIPMENT_KINDS))


@dataclass(frozen=True, slots=True)
class PartView:
    """Of a car only what belongs to some of its items: no lading, no tank, no loading answer.

    `lining` is None for whoever does not answer for it; so are `mounted` and `once_mounted` empty for
    whoever does not answer for the equipment, which `equipment` tells from a car with none.
    """

    day: date
    owner: str
    due: Sequence[DueListRow]
    events: Sequence[EventShown]
    lining: Section | None
    equipment: bool
    mounted: Sequence[Mounted]
    once_mounted: Sequence[Mounted]


def part(db: Session, car: Car, items: frozenset[str], seen: Seen) -> PartView:
    """The part of a car that these items are, today."""
    today = seen.stamp.today
    equipment = ITEMS_OF["equipment"] <= items
    ever = _of_equipment(components.history(db, car.id)) if equipment else []
    mounted = _of_equipment(components.on_car(db, car.id, today)) if equipment else []
    there = {each.installation.id for each in mounted}
    return PartView(
        day=today,
        owner=cars.party_names(db)[car.owner_id],
        due=told(db, due.for_car(db, car.id, today, seen.soon_days), today),
        events=events.history(db, car.id, items),
        lining=_lining(db, car.id) if ITEMS_OF["lining"] <= items else None,
        equipment=equipment,
        mounted=mounted,
        once_mounted=[each for each in ever if each.installation.id not in there],
    )


def _lining(db: Session, car_id: int) -> Section:
    found = sections(cars.histories(db, car_id))
    return next(section for section in found if section.kind == "lining")


def _of_equipment(mounted: Sequence[Mounted]) -> list[Mounted]:
    return [each for each in mounted if each.component.kind in EQUIPMENT]

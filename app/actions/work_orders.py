"""What a work order tells of a car's tank: the zones to be measured, each with its lines."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from sqlalchemy.orm import Session

from app.actions import rulebooks
from app.actions.pack_numbers import Zone, zones
from app.core.stencil import decode
from app.store import facts


def zones_of(db: Session, car_ids: Sequence[int], today: date) -> dict[int, list[Zone]]:
    """By car, inches as decimal text; of cars whose tank has lines, by the rules of their owner."""
    programme = rulebooks.in_force(db)
    found = {}
    for car_id, record in facts.load(db, car_ids, today).items():
        car, rulebook = programme.read(record).car, programme.of(record.owner_id).rulebook
        found[car_id] = zones(decode(car.specification, rulebook.stencils), car.tank, rulebook)
    return found

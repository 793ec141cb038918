"""Questions about what is painted on a car: what was last seen, and what else its panel names."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.core.facts import STENCILED_ITEMS
from app.store import reach
from app.store.asked import Standpoint, counted
from app.store.field import FieldEntry
from app.store.field_data import Facility
from app.store.tables import Ownership, Party, StencilFact


@dataclass(frozen=True, slots=True)
class Seen:
    """The due dates last seen painted on a car, by item as they were painted, and the day they were marked."""

    marked_on: date | None
    due: Mapping[str, str]


def seen(db: Session, car_id: int, at: Standpoint) -> Seen:
    """What was last seen by a day, as known at a moment."""
    query = (
        select(StencilFact)
        .where(
            StencilFact.car_id == car_id,
            counted(StencilFact, at.known_at),
            StencilFact.from_on <= at.as_of,
        )
        .order_by(StencilFact.from_on.desc(), StencilFact.id.desc())
    )
    row = db.scalars(query).first()
    if row is None:
        return Seen(None, {})
    painted = {item: getattr(row, item) for item in STENCILED_ITEMS}
    return Seen(row.marked_on, {item: text for item, text in painted.items() if text})


def lining_owner(db: Session, car_id: int, at: Standpoint) -> str:
    """Who pays for the lining, where that is not the car's owner; else empty."""
    query = (
        select(Ownership.lining_owner_id, Party.name)
        .outerjoin(Party, Party.id == Ownership.lining_owner_id)
        .where(
            Ownership.car_id == car_id,
            counted(Ownership, at.known_at),
            Ownership.from_on <= at.as_of,
        )
        .order_by(Ownership.from_on.desc(), Ownership.id.desc())
    )
    row = db.execute(query).first()
    return (row and row[1]) or ""


def station_codes(db: Session, car_id: int, known_at: datetime | None) -> dict[str, str]:
    """By the name of a facility its station code, as known: as the car’s reports state it, else the own list."""
    own = select(Facility.name, Facility.station_code).where(
        counted(Facility, known_at), reach.owned(db, Facility.party_id)
    )
    found: dict[str, str] = {name: code for name, code in db.execute(own) if code}
    begun = (
        select(FieldEntry.says)
        .where(FieldEntry.car_id == car_id, FieldEntry.kind == "begun")
        .order_by(FieldEntry.id)
    )
    if known_at is not None:
        begun = begun.where(FieldEntry.recorded_at <= known_at)
    for text in db.scalars(begun):
        says = json.loads(text)
        if says.get("station_code"):
            found[says["facility"]] = says["station_code"]
    return found

"""What the morning list goes by and tells beside its lines."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.store import aside, cars, due_before, holding


@dataclass(frozen=True, slots=True)
class Beside:
    """Whether there is any car, and any line set aside; since when what was before is kept; cars on hold."""

    some_cars: bool
    some_aside: bool
    kept_from: date | None
    on_hold: int


def beside(db: Session, today: date) -> Beside:
    """All of it, in one statement."""
    asked = select(
        cars.any_reached(db),
        aside.any_at_all(db, today),
        due_before.kept_from(),
        holding.count(db, today),
    )
    return Beside(*db.execute(asked).one())

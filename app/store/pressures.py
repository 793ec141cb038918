"""What is known of the pressures of a car's lading."""

from __future__ import annotations

from datetime import date, datetime
from fractions import Fraction

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.core.test_pressure import LadingPressures
from app.store.asked import counted
from app.store.tables import PRESSURES, Lading, ServiceFact


def of_car(
    db: Session, car_id: int, day: date, known_at: datetime | None = None
) -> LadingPressures:
    """As stated with the lading that the car carries on a day, as known at a moment (None: now), psig."""
    row = db.scalars(
        select(ServiceFact)
        .where(
            ServiceFact.car_id == car_id,
            counted(ServiceFact, known_at),
            ServiceFact.from_on <= day,
        )
        .order_by(ServiceFact.from_on.desc(), ServiceFact.id.desc())
        .limit(1)
    ).first()
    return LadingPressures() if row is None else as_stated(row)


def as_stated(row: ServiceFact | Lading) -> LadingPressures:
    """What a row says of its lading's pressures, psig."""
    stated = {name: getattr(row, name) for name in PRESSURES}
    return LadingPressures(
        **{name: None if psig is None else Fraction(psig) for name, psig in stated.items()}
    )

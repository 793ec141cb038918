"""Holding thickness readings to what a gauge can show, and asking about what looks like a slip."""

from __future__ import annotations

from decimal import Decimal

from sqlalchemy.orm import Session

from app.actions import rulebooks
from app.actions.changes import NewEvent, NewReading
from app.actions.checks import Faults
from app.core.facts import SHELL_AND_HEAD_ZONES, ZONES
from app.core.measure import Stated, kept
from app.core.rule import StencilTables
from app.core.stencil import Unreadable, decode
from app.store import dated
from app.store.tables import Car, Construction

# No tank car shell is as thick, and none that holds a lading as thin. Common practice, no source.
THICKEST, THINNEST = Decimal(3), Decimal("0.05")
TIMES_DESIGN = 10


def check_readings(db: Session, faults: Faults, car: Car, event: NewEvent) -> None:
    """Refuse what cannot be; ask about what is unlikely, unless a person has confirmed it."""
    if not event.readings:
        return
    design = design_thickness(db, car)
    for place, reading in enumerate(event.readings):
        path = f"readings.{place}."
        faults.plain(path, reading)
        faults.one_of(f"{path}zone", reading.zone, ZONES)
        faults.one_of(f"{path}extent", reading.extent, ("general", "local"))
        problem = slip(reading, design.get(reading.zone))
        if problem:
            faults.add(f"{path}inches", problem)


def slip(reading: NewReading, design: Decimal | None) -> str | None:
    """What is odd about a reading, as a question; None when nothing is."""
    inches = kept(reading.inches)
    if inches <= 0:
        return f"must be above 0, got {reading.inches}"
    too_thick = inches > THICKEST or (design is not None and inches >= TIMES_DESIGN * design)
    if reading.confirmed or not (too_thick or inches < THINNEST):
        return None
    if isinstance(reading.inches, Stated):
        return f"{reading.inches} is {inches} in: is the point where it belongs? If it is right, confirm it."
    meant = likely(inches, design)
    return f"{inches} in: did you mean {meant}? If it is right, confirm it."


def likely(inches: Decimal, design: Decimal | None) -> Decimal:
    """The number with its point moved to where plate thickness lies."""
    most = TIMES_DESIGN * design if design else THICKEST
    while inches > THICKEST or inches >= most:
        inches /= 10
    while inches < THINNEST:
        inches *= 10
    return inches.normalize()


def design_thickness(db: Session, car: Car) -> dict[str, Decimal]:
    """The owner's minimum by zone, else the plate that the specification asks for; in inches."""
    tables = rulebooks.in_force(db).of(car.owner_id).rulebook.stencils
    plate = _plate(car.specification, tables)
    design = dict.fromkeys(SHELL_AND_HEAD_ZONES, plate) if plate else {}
    built = dated.in_force(db, Construction, car.id)
    stated = {zone: getattr(built, f"required_{zone}_in", None) for zone in SHELL_AND_HEAD_ZONES}
    return design | {zone: inches for zone, inches in stated.items() if inches}


def _plate(specification: str, tables: StencilTables) -> Decimal | None:
    try:
        plate = decode(specification, tables).plate_in
    except Unreadable:
        return None
    return Decimal(plate.numerator) / plate.denominator if plate else None

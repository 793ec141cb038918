"""The fixed cast of the store and action tests: an owner, a shop, a day, and how to make a car."""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal

from sqlalchemy.orm import Session

from app.actions import cars
from app.actions.changes import (
    CarDetails,
    NewCar,
    NewComponent,
    NewEvent,
    NewInstallation,
    NewName,
    NewOwnership,
    NewReading,
    NewService,
)
from app.actions.stamp import Stamp
from app.store.tables import Car

TODAY = date(2026, 11, 25)
NOON = datetime(2026, 11, 25, 12, tzinfo=UTC)
OWNER = "Quillmoor Invented Leasing"
SHOP = "Made-up Shop One"


def stamp(minutes: int = 0, by: str = "Alba Testwell") -> Stamp:
    """Somebody at work, some minutes after noon."""
    return Stamp(by=by, at=NOON + timedelta(minutes=minutes), today=TODAY)


def new_car(
    number: int = 1045,
    mark: str = "ZQKX",
    specification: str = "DOT 111A100W1",
    owner: str = OWNER,
    region: str = "north",
    **more: object,
) -> NewCar:
    """A plain car built in 2015; `more` are other parts of NewCar."""
    new = NewCar(
        name=NewName(mark, number),
        ownership=NewOwnership(owner, region),
        details=CarDetails(specification, built_on=date(2015, 6, 1)),
        service=NewService("Invented mild lading", corrosive_or_reactive=False),
    )
    return replace(new, **more)  # type: ignore[arg-type]


def add_car(db: Session, number: int = 1045, **more: object) -> Car:
    return cars.add_car(db, new_car(number, **more), stamp())  # type: ignore[arg-type]


def visual(on: date = date(2020, 3, 15), **more: object) -> NewEvent:
    return replace(NewEvent(on, ("visual",), facility=SHOP), **more)  # type: ignore[arg-type]


def measured(inches: str, zone: str = "shell_bottom", **more: object) -> NewReading:
    return replace(NewReading(zone, Decimal(inches)), **more)  # type: ignore[arg-type]


def relief_valve(serial: str = "RV-1", **more: object) -> NewInstallation:
    new = NewInstallation(NewComponent("relief_valve", serial=serial), position="top")
    return replace(new, **more)  # type: ignore[arg-type]

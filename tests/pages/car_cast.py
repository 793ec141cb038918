"""A few invented cars for the pages about a car, recorded through the actions as a person would."""

from datetime import UTC, date, datetime
from decimal import Decimal

from sqlalchemy.orm import Session

from app.actions import cars, components, events
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

TODAY = date(2026, 11, 25)
STAMP = Stamp("Ada Vale", datetime(2026, 11, 20, 9, 30, tzinfo=UTC), TODAY)
ACID = NewService("Hydrochloric acid", un="UN1789", hazard_class="8", packing_group="II")


def acid_car(db: Session, number: int = 104512) -> int:
    """Unlined, in acid, thin at the bottom: thickness every five years, so overdue. Gives its key."""
    car = cars.add_car(
        db,
        NewCar(
            NewName("ZQKX", number),
            NewOwnership("Quillon Tank Lines", "Gulf"),
            CarDetails(
                "DOT 111A100W1",
                built_on=date(2008, 3, 1),
                material="A516-70",
                inside_diameter_in=Decimal(110),
            ),
            service=ACID,
        ),
        STAMP,
    )
    events.record_event(
        db,
        car.id,
        NewEvent(
            date(2018, 3, 15),
            ("visual", "structural_integrity", "safety_systems", "thickness", "service_equipment"),
            facility="Shop A",
            inspector="R. Mott",
            reference="A-118",
            readings=(
                NewReading("shell_top", Decimal("0.441")),
                NewReading("shell_bottom", Decimal("0.406")),
                NewReading("head_a", Decimal("0.452")),
                NewReading("head_b", Decimal("0.449")),
            ),
        ),
        STAMP,
    )
    return car.id


def with_valves(db: Session, car_id: int) -> list[int]:
    """Two relief valves, the second tested long ago, and a bottom outlet valve. Gives their installations."""
    made = []
    for kind, position, serial, tested in (
        ("relief_valve", "top, B end", "RV-77", date(2022, 5, 2)),
        ("relief_valve", "top, A end", "RV-12", date(2016, 6, 9)),
        ("valve", "bottom", "BO-3", None),
    ):
        put_on = NewInstallation(
            NewComponent(kind, maker="Orlo Valve", model="R3", serial=serial),
            position,
            installed_on=date(2022, 6, 1),
            tested_on=tested,
            set_psig=Decimal(75) if tested else None,
        )
        made.append(components.install(db, car_id, put_on, STAMP).id)
    return made


def plain_car(db: Session, number: int = 104513) -> int:
    """Built lately, with nothing else known of it. Gives its key."""
    details = CarDetails("DOT 117A100W", built_on=date(2021, 6, 1))
    new = NewCar(NewName("ZQKX", number), NewOwnership("Quillon Tank Lines"), details)
    return cars.add_car(db, new, STAMP).id

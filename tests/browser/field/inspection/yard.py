"""A register with one car to be inspected in the field, all invented, and the program that serves it."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date
from decimal import Decimal
from pathlib import Path

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.actions import cars, components, events, facilities
from app.actions.changes import (
    CarDetails,
    NewCar,
    NewComponent,
    NewEvent,
    NewInstallation,
    NewLining,
    NewName,
    NewOwnership,
    NewReading,
    NewService,
)
from app.actions.facilities import NewFacility
from app.actions.stamp import Stamp
from app.store.db import make_engine, sessions
from app.store.tables import Party
from tests.fixtures.people import KEEPER, LONG_AGO, beforehand, let_in
from tests.fixtures.server import Server, serving

CAR = "ZQKX 1045"
LAST_TIME = date(2016, 10, 5)
STAMP = Stamp("Somebody Before", LONG_AGO, LONG_AGO.date())


@contextmanager
def yard(template: Path, folder: Path, **settings: str) -> Iterator[Server]:
    """The program on a store of its own, with the car in it."""
    url = f"sqlite:///{folder / 'store.db'}"
    shutil.copyfile(template, folder / "store.db")
    fill(url)
    with serving(url, folder, **settings) as running:
        yield running


def fill(url: str) -> None:
    engine = make_engine(url)
    with beforehand(sessions(engine)) as db:
        let_in(db)
        add_car(db)
        facility = NewFacility(KEEPER, "Invented Tank Car Works", "1 Nowhere Road", "ZQ01")
        facilities.record(db, facility, STAMP)
    engine.dispose()


def add_car(db: Session, number: int = 1045) -> int:
    """A lined car with a relief valve and a bottom outlet valve, all of it due, last measured ten years ago."""
    keeper = db.scalars(select(Party).where(Party.keeps_register)).one()
    details = CarDetails(
        "DOT 111A100W5", date(2016, 10, 1), inside_diameter_in=Decimal(110), tensile_psi=Decimal(70_000),
        **{f"required_{zone}_in": Decimal("0.4375") for zone in ZONES},  # type: ignore[arg-type]
    )  # fmt: skip
    new = NewCar(
        NewName("ZQKX", number), NewOwnership(keeper.name), details,
        service=NewService("Invented acid", corrosive_or_reactive=True),
        lining=NewLining(kind="rubber", applied_on=LAST_TIME, owner_interval_months=60),
    )  # fmt: skip
    car = cars.add_car(db, new, STAMP)
    for kind, position, psig in (
        ("relief_valve", "top", 75),
        ("bottom_outlet", "bottom", None),
    ):
        device = NewComponent(kind, "Invented Valves", "", "", f"{kind[0].upper()}V-1")
        put = NewInstallation(device, position, LAST_TIME, set_psig=psig and Decimal(psig))
        components.install(db, car.id, put, STAMP)
    readings = tuple(NewReading(zone, Decimal("0.450")) for zone in ZONES)
    done = NewEvent(LAST_TIME, ("thickness",), facility="Invented Works", readings=readings)
    events.record_event(db, car.id, done, STAMP)
    return car.id


ZONES = ("shell_top", "shell_bottom", "head_a", "head_b")

"""Cars that wore, linings that failed and valves as they came in, recorded through the actions as a person would."""

from datetime import date
from decimal import Decimal

from sqlalchemy.orm import Session

from app.actions import cars, components, events
from app.actions.changes import NewComponent, NewEvent, NewInstallation, NewLining, NewReading
from app.store.tables import EventRow
from tests.pages.car_cast import STAMP, acid_car, plain_car


def read_on(db: Session, car_id: int, on: date, bottom: str, *items: str) -> EventRow:
    reading = NewReading("shell_bottom", Decimal(bottom))
    new = NewEvent(on, items or ("thickness",), readings=(reading,), facility="Shop A")
    return events.record_event(db, car_id, new, STAMP)


def worn_fleet(db: Session) -> list[int]:
    """Three cars in acid worn at 2, 1 and 0 mil a year and one never measured; linings; valves. Gives their keys."""
    keys = [acid_car(db, number) for number in (1, 2, 3)]
    for key, before in zip(keys, ("0.426", "0.416", "0.406"), strict=True):
        read_on(db, key, date(2008, 3, 15), before)
    failed = NewEvent(date(2025, 1, 2), ("thickness",), outcome="fail", facility="Shop B")
    events.record_event(db, keys[0], failed, STAMP)
    for key, applied, months, failed_on in (
        (keys[0], date(2008, 3, 10), 60, date(2011, 3, 10)),  # after three of five years
        (keys[1], date(2008, 3, 10), 24, date(2011, 3, 10)),  # after its interval
        (keys[2], date(2008, 3, 10), None, None),
    ):
        lining = NewLining(kind="invented rubber", applied_on=applied, owner_interval_months=months)
        cars.change_lining(db, key, lining, STAMP)
        if failed_on:
            fail = NewEvent(failed_on, ("lining",), outcome="fail", facility="Shop B")
            events.record_event(db, key, fail, STAMP)
    for key, serial, found in (
        (keys[0], "S1", "79"),
        (keys[1], "S2", "77"),
        (keys[2], "S3", "71.9"),
    ):
        valve = NewComponent("relief_valve", maker="Orlo Valve", model="R3", serial=serial)
        put_on = NewInstallation(
            valve, "top", date(2024, 6, 1), tested_on=date(2024, 5, 1), set_psig=Decimal(75),
            found_psig=Decimal(found), left_psig=Decimal(75), confirmed=True,
        )  # fmt: skip
        components.install(db, key, put_on, STAMP)
    return [*keys, plain_car(db)]

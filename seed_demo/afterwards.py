"""What happens to tour cars after the files are in: changes and corrections no file carries."""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal

from sqlalchemy.orm import Session

from app.actions import cars, events
from app.actions.changes import (
    CarDetails,
    NewEvent,
    NewHold,
    NewName,
    NewReading,
    NewService,
    NewStanding,
)
from app.actions.stamp import Stamp
from app.store import cars as register
from app.store import events as recorded
from seed_demo.ladings import BY_NAME
from seed_demo.shapes import SHOPS, TOUR_MARK, WHOLE, Days

Step = Callable[[Session, int, Days, Stamp], object]


def happen(db: Session, days: Days, stamp: Stamp) -> None:
    """Take each step with its car."""
    for number, step in STEPS.items():
        car = register.by_name(db, TOUR_MARK, number)
        if car is None:
            raise LookupError(f"the tour lacks car {number}")
        step(db, car.id, days, stamp)


def _stands(standing: str, reason: str) -> Step:
    def step(db: Session, car_id: int, days: Days, stamp: Stamp) -> None:
        cars.change_standing(db, car_id, NewStanding(standing, reason, days.day(1)), stamp)

    return step


def _hold(db: Session, car_id: int, days: Days, stamp: Stamp) -> None:
    reason = "The bottom outlet weeps (invented); nobody loads it until it was looked at."
    cars.hold_or_release(
        db, car_id, NewHold(held=True, reason=reason, from_on=days.day(0, 3)), stamp
    )


def _damage(db: Session, car_id: int, days: Days, stamp: Stamp) -> None:
    event = NewEvent(days.day(0, 15), ("damage",), opens=("visual",), facility=SHOPS[3])
    events.record_event(db, car_id, event, stamp)


def _re_mark(db: Session, car_id: int, days: Days, stamp: Stamp) -> None:
    cars.re_mark(db, car_id, NewName(TOUR_MARK, 974, days.day(8)), stamp)


def _convert(db: Session, car_id: int, days: Days, stamp: Stamp) -> None:
    converted = CarDetails(
        "DOT 112J340W",
        built_on=days.day(240),
        material="TC128B",
        inside_diameter_in=Decimal(118),
        jacketed=True,
        thermal_protection=True,
        from_on=days.day(14),
    )
    cars.change_construction(db, car_id, converted, stamp)


def _into_acid(db: Session, car_id: int, days: Days, stamp: Stamp) -> None:
    acid = BY_NAME["Sulfuric acid"]
    service = NewService(
        acid.name,
        acid.un,
        hazard_class=acid.hazard_class,
        packing_group=acid.packing_group,
        corrosive_or_reactive=True,
        from_on=days.day(2),
    )
    cars.put_into_service(db, car_id, service, stamp)


def _mend_reading(db: Session, car_id: int, days: Days, stamp: Stamp) -> None:
    wrong = recorded.history(db, car_id)[0].row
    zones = {"shell_top": "0.470", "shell_bottom": "0.474", "head_a": "0.472", "head_b": "0.471"}
    readings = tuple(NewReading(zone, Decimal(inches)) for zone, inches in zones.items())
    mended = NewEvent(
        wrong.happened_on,
        tuple(WHOLE.split(";")),
        facility=wrong.facility,
        inspector=wrong.inspector,
        notes=wrong.notes,
        readings=readings,
    )
    events.correct_event(db, wrong.id, mended, stamp)


def _withdraw(db: Session, car_id: int, days: Days, stamp: Stamp) -> None:
    latest = recorded.history(db, car_id)[0].row
    events.withdraw_event(db, latest.id, "It was done to another car (invented).", stamp)


STEPS: dict[int, Step] = {
    112: _damage,
    170: _stands("sold", "Sold to an invented buyer."),
    171: _stands("scrapped", "Cut up at an invented yard."),
    172: _stands("stored", "Stored at an invented yard."),
    173: _stands("out_of_service", "Waits for a part."),
    174: _re_mark,
    175: _convert,
    176: _into_acid,
    177: _mend_reading,
    178: _withdraw,
    179: _hold,
}

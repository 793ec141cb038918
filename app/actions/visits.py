"""Sending a car to a shop, noting that it arrived, releasing it: what shares the car with the shop meanwhile."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from sqlalchemy.orm import Session

from app.actions import rows
from app.actions.checks import Faults, tidy
from app.actions.stamp import Stamp
from app.errors import Conflict
from app.store import cars, reach, visiting
from app.store.gathering import note
from app.store.visits import Visit, VisitStep

# What must have happened before a step, and what a step follows on the calendar.
AFTER: dict[str, str] = {"arrived": "sent", "released": "sent"}


@dataclass(frozen=True, slots=True)
class Sending:
    """To which shop a car is sent, when, and what is to be done there."""

    shop: str
    sent_on: date
    instructions: str = ""


def send(db: Session, car_id: int, sending: Sending, stamp: Stamp) -> Visit:
    """Send a car to a shop, whose people reach all of it until it is released.

    Raises Refused with faults by field, Conflict while the car is on a visit already.
    """
    car = cars.locked_one(db, car_id)
    faults = Faults()
    shop = tidy(sending.shop)
    if not 1 <= len(shop) <= 200:
        faults.add("shop", "want the name of the shop")
    faults.day("sent_on", sending.sent_on, stamp, car.built_on)
    faults.refuse()
    going = visiting.open_of(db, car_id)
    if going is not None:
        raise Conflict(
            f"{car.mark} {car.number} was sent to {going.shop} on {going.days['sent']} and is not "
            f"released. Release it first."
        )
    visit = Visit(
        car_id=car_id,
        shop_id=rows.party_anywhere(db, shop).id,
        instructions=sending.instructions.strip(),
        **stamp.columns(),
    )
    db.add(visit)
    db.flush()  # its step is to name it
    note(db, "visit.sent", ("car", str(car_id)))
    _add(db, visit, "sent", sending.sent_on, stamp)
    return visit


def step(db: Session, visit_id: int, name: str, day: date, stamp: Stamp) -> Visit:
    """Note that the car arrived at the shop, or was released from it.

    Raises Refused for a day before the step that it follows, Conflict when it was noted already.
    """
    visit = visiting.visit_or_raise(db, visit_id)
    cars.locked_one(db, visit.car_id)
    known = visiting.steps(db, visit_id)
    faults = Faults()
    faults.one_of("step", name, tuple(AFTER))
    faults.refuse()
    if name in known:
        raise Conflict(f"That was noted already, for {known[name].happened_on}.")
    if visiting.ENDS[0] in known:
        raise Conflict("The car was released from this visit already.")
    before = known[AFTER[name]].happened_on
    faults.day("on", day, stamp)
    if day < before:
        faults.add("on", f"{day} lies before the car was {AFTER[name]} on {before}")
    faults.refuse()
    note(db, f"visit.{name}", ("car", str(visit.car_id)))
    _add(db, visit, name, day, stamp)
    return visit


def undo(db: Session, visit_id: int, name: str, reason: str, stamp: Stamp) -> Visit:
    """Let a step count no longer that was noted by mistake; it stays, with who undid it and why."""
    visit = visiting.visit_or_raise(db, visit_id)
    cars.locked_one(db, visit.car_id)
    known = visiting.steps(db, visit_id)
    if name not in known:
        raise Conflict("That step is not noted, so there is nothing to undo.")
    if name == "sent" and len(known) > 1:
        raise Conflict("Undo what was noted after the sending first.")
    note(db, "visit.undone", ("car", str(visit.car_id)))
    rows.withdraw(db, known[name], reason, stamp)
    reach.rebuild(db, [visit.car_id], stamp.today)
    return visit


def _add(db: Session, visit: Visit, name: str, day: date, stamp: Stamp) -> None:
    db.add(VisitStep(visit_id=visit.id, step=name, happened_on=day, **stamp.columns()))
    db.flush()  # so that the sharing is rebuilt from it
    reach.rebuild(db, [visit.car_id], stamp.today)

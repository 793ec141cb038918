"""Sending a car to a shop, noting that it arrived, releasing it: what shares the car with the shop meanwhile."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from sqlalchemy.orm import Session

from app.actions import rows
from app.actions.checks import LONGEST_WORDS, Faults, tidy
from app.actions.stamp import Stamp
from app.errors import Conflict
from app.store import cars, due, reach, visiting
from app.store.gathering import note
from app.store.plans import VisitPlan, VisitWork
from app.store.tables import OUT_OF_RECORD, Car
from app.store.visits import Visit, VisitStep

# What can be noted of a car that was sent.
FOLLOWING = ("arrived", "released")
IN_WORDS = {"sent": "sent", "arrived": "noted as arrived", "released": "released"}


@dataclass(frozen=True, slots=True)
class Sending:
    """To which shop a car is sent, when, and what is to be done there."""

    shop: str
    sent_on: date
    instructions: str = ""


def send(db: Session, car_id: int, sending: Sending, stamp: Stamp) -> Visit:
    """Send a car to a shop, whose people reach all of it until it is released.

    Raises Refused with faults by field, Conflict while the car is on a visit already or out of record.
    """
    car = cars.locked_one(db, car_id)
    faults = Faults()
    shop = tidy(sending.shop)
    if not 1 <= len(shop) <= LONGEST_WORDS:
        faults.add("shop", f"want the name of the shop, of at most {LONGEST_WORDS} characters")
    faults.day("sent_on", sending.sent_on, stamp, car.built_on)
    last = visiting.last_end(db, car_id)
    if last and sending.sent_on < last:
        faults.add("sent_on", f"{sending.sent_on} lies before the car was last released, on {last}")
    faults.refuse()
    _must_be_here(db, car)
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


@dataclass(frozen=True, slots=True)
class Planning:
    """To which shop a car is to go in which month (its first day), for which items, and for how many days away."""

    shop: str
    month: date
    items: tuple[str, ...]
    days_out: int
    instructions: str = ""
    version_id: int | None = None


def plan(db: Session, car_id: int, planning: Planning, stamp: Stamp) -> Visit:
    """Plan a visit; the shop reaches nothing of the car before it is sent.

    Raises Conflict for a car out of record, or with a visit planned for that month already.
    """
    car = cars.locked_one(db, car_id)
    name = f"{car.mark} {car.number}"
    if car.standing in OUT_OF_RECORD:
        raise Conflict(f"{name} is {car.standing}, so no visit can be planned for it.")
    if visiting.planned_in(db, car_id, planning.month):
        raise Conflict(f"{name} has a visit planned for {planning.month:%Y-%m} already.")
    visit = Visit(
        car_id=car_id,
        shop_id=rows.party_anywhere(db, planning.shop).id,
        instructions=planning.instructions.strip(),
        **stamp.columns(),
    )
    db.add(visit)
    db.flush()  # what follows is to name it
    note(db, "visit.planned", ("car", str(car_id)))
    made = {
        "visit_id": visit.id,
        "car_id": car_id,
        "recorded_at": stamp.at,
        "recorded_by": stamp.by,
    }
    db.add(
        VisitPlan(
            version_id=planning.version_id, month=planning.month, days_out=planning.days_out, **made
        )
    )
    due_on = {row.item: row.due_on for row in due.for_car(db, car_id, stamp.today)}
    db.add_all(VisitWork(item=item, due_on=due_on.get(item), **made) for item in planning.items)
    _add(db, visit, "planned", stamp.today, stamp)
    return visit


def cancel(db: Session, visit_id: int, stamp: Stamp) -> Visit:
    """Let a planned visit not take place. Raises Conflict once the car was sent."""
    visit = visiting.visit_or_raise(db, visit_id)
    known = visiting.steps(db, visit_id)
    if "planned" not in known or "sent" in known:
        raise Conflict("Only a visit that is planned and not sent can be cancelled.")
    if "cancelled" in known:
        raise Conflict("That visit was cancelled already.")
    note(db, "visit.cancelled", ("car", str(visit.car_id)))
    _add(db, visit, "cancelled", stamp.today, stamp)
    return visit


def _must_be_here(db: Session, car: Car) -> None:
    name = f"{car.mark} {car.number}"
    if car.standing in OUT_OF_RECORD:
        raise Conflict(f"{name} is {car.standing}, so it cannot be sent to a shop.")
    going = visiting.open_of(db, car.id)
    if going is not None:
        raise Conflict(
            f"{name} was sent to {going.shop} on {going.days['sent']} and is not released. "
            f"Release it first."
        )


def step(db: Session, visit_id: int, name: str, day: date, stamp: Stamp) -> Visit:
    """Note that the car arrived at the shop, or was released from it.

    Raises Refused for a day before the step that it follows, Conflict when it was noted already.
    """
    visit = visiting.visit_or_raise(db, visit_id)
    cars.locked_one(db, visit.car_id)
    known = visiting.steps(db, visit_id)
    faults = Faults()
    faults.one_of("step", name, FOLLOWING)
    faults.refuse()
    if name in known:
        raise Conflict(f"That was noted already, for {known[name].happened_on}.")
    if visiting.END in known:
        raise Conflict("The car was released from this visit already.")
    if "sent" not in known:
        raise Conflict("That the car was sent was undone, so nothing more is noted of this visit.")
    faults.day("on", day, stamp)
    for before, row in known.items():
        if day < row.happened_on:
            faults.add(
                "on", f"{day} lies before the car was {IN_WORDS[before]} on {row.happened_on}"
            )
    faults.refuse()
    note(db, f"visit.{name}", ("car", str(visit.car_id)))
    _add(db, visit, name, day, stamp)
    return visit


def undo(db: Session, visit_id: int, name: str, reason: str, stamp: Stamp) -> Visit:
    """Let a step count no longer that was noted by mistake; it stays, with who undid it and why.

    Raises Conflict where that would leave the car on two visits, or for a sending when whoever asks
    does not own the car.
    """
    visit = visiting.visit_or_raise(db, visit_id)
    cars.locked_one(db, visit.car_id)
    known = visiting.steps(db, visit_id)
    if name not in known:
        raise Conflict("That step is not noted, so there is nothing to undo.")
    if name == "sent" and len(known) > 1:
        raise Conflict("Undo what was noted after the sending first.")
    if name == "sent" and not visiting.one(db, visit_id).own:
        raise Conflict("Whoever owns the car undoes its sending; the shop can release it.")
    if name == visiting.END and visiting.went_since(db, visit):
        raise Conflict("The car was sent to a shop again since, so this release stays.")
    note(db, "visit.undone", ("car", str(visit.car_id)))
    rows.withdraw(db, known[name], reason, stamp)
    reach.rebuild(db, [visit.car_id], stamp.today)
    return visit


def _add(db: Session, visit: Visit, name: str, day: date, stamp: Stamp) -> None:
    db.add(VisitStep(visit_id=visit.id, step=name, happened_on=day, **stamp.columns()))
    db.flush()  # so that the sharing is rebuilt from it
    reach.rebuild(db, [visit.car_id], stamp.today)

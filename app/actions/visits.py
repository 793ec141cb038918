"""Visits to shops: planning one, sending the car, noting that it arrived, releasing it; and what that shares."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

from sqlalchemy.orm import Session

from app.actions import rows
from app.actions.checks import LONGEST_WORDS, Faults, tidy
from app.actions.stamp import Stamp
from app.core.facts import VISIT_ITEMS
from app.core.words import label
from app.errors import Conflict
from app.store import cars, reach, visit_work, visiting
from app.store.gathering import note
from app.store.plans import VisitPlan, VisitWork
from app.store.tables import OUT_OF_RECORD, Car
from app.store.visits import BEGUN, END, ENDS, Visit, VisitStep

# What can be noted of a visit that there is.
FOLLOWING = ("sent", "arrived", "released")
IN_WORDS = {"sent": "sent", "arrived": "noted as arrived", "released": "released"}
MOST_DAYS_OUT = 3_650
_PLANNED_OTHERWISE = (
    "differs from what is to be done at {shop} as planned for {month:%Y-%m}; leave it empty, or "
    "cancel that visit first"
)


@dataclass(frozen=True, slots=True)
class Sending:
    """To which shop a car is sent, when, and what is to be done there."""

    shop: str
    sent_on: date
    instructions: str = ""


@dataclass(frozen=True, slots=True)
class Planning:
    """To which shop a car is to go in a month (its first day), for which due items and how many days.

    `days_out` are days from sent to released; `version_id` is the plan's version that it comes from.
    """

    shop: str
    month: date
    items: tuple[str, ...]
    days_out: int
    instructions: str = ""
    version_id: int | None = None


def plan(db: Session, car_id: int, planning: Planning, stamp: Stamp) -> Visit:
    """Plan a visit; the shop reaches nothing of the car until it is sent.

    Raises Refused with faults by field, Conflict for a car out of record or one that has a visit in
    that month already.
    """
    car = cars.locked_one(db, car_id)
    faults = Faults()
    shop = _shop(planning.shop, faults)
    _check_work(planning, faults)
    faults.refuse()
    _must_be_in_record(car)
    _must_be_free(db, car, planning.month)
    visit = _visit(db, car_id, shop, planning.instructions, stamp)
    note(db, "visit.planned", ("car", str(car_id)))
    made = {"visit_id": visit.id, "car_id": car_id} | _made(stamp)
    db.add(
        VisitPlan(
            version_id=planning.version_id, month=planning.month, days_out=planning.days_out, **made
        )
    )
    _add_items(db, planning.items, **made)
    _note_step(db, visit, "planned", stamp.today, stamp)
    return visit


def add_work(
    db: Session, visit_id: int, items: tuple[str, ...], adds_days: int, version_id: int, stamp: Stamp
) -> Visit:  # fmt: skip
    """Add due items to a planned visit, which `adds_days` longer takes, as a version of another plan wants it.

    Raises Refused for items that are none, Conflict once the car was sent.
    """
    visit = visiting.visit_or_raise(db, visit_id)
    cars.locked_one(db, visit.car_id)
    faults = Faults()
    _check_items(items, faults)
    faults.refuse()
    known = visiting.steps(db, visit_id)
    if "planned" not in known or known.keys() & {*BEGUN, *ENDS}:
        raise Conflict("Work is added only to a planned visit to which the car was not sent.")
    note(db, "visit.work_added", ("car", str(visit.car_id)))
    made = {"visit_id": visit_id, "car_id": visit.car_id} | _made(stamp)
    _add_items(db, items, version_id=version_id, adds_days=adds_days, **made)
    return visit


def _add_items(
    db: Session, items: tuple[str, ...], *, car_id: int, adds_days: int = 0, **made: Any
) -> None:
    """The days are told once, with the first of the items."""
    due = visiting.due_days(db, car_id)
    for at, item in enumerate(dict.fromkeys(items)):
        days = 0 if at else adds_days
        db.add(VisitWork(car_id=car_id, item=item, due_on=due.get(item), adds_days=days, **made))


def _made(stamp: Stamp) -> dict[str, Any]:
    return {"recorded_at": stamp.at, "recorded_by": stamp.by}


def _shop(name: str, faults: Faults) -> str:
    shop = tidy(name)
    if not 1 <= len(shop) <= LONGEST_WORDS:
        faults.add("shop", f"want the name of the shop, of at most {LONGEST_WORDS} characters")
    return shop


def _check_work(planning: Planning, faults: Faults) -> None:
    if planning.month.day != 1:
        faults.add("month", f"want the first day of a month, got {planning.month}")
    if not 0 <= planning.days_out <= MOST_DAYS_OUT:
        faults.add("days_out", f"must be 0 to {MOST_DAYS_OUT} days, got {planning.days_out}")
    _check_items(planning.items, faults)


def _check_items(items: tuple[str, ...], faults: Faults) -> None:
    if not items:
        faults.add("items", "want at least one due item that is to be done")
    for item in items:
        faults.one_of("items", item, VISIT_ITEMS)


def _must_be_free(db: Session, car: Car, month: date) -> None:
    going = visiting.planned_for(db, car.id, month)
    if going is not None:
        raise Conflict(
            f"{car.mark} {car.number} has a visit to {going.shop} in {month:%Y-%m} already. "
            f"Cancel that one, or choose another month."
        )


def _visit(db: Session, car_id: int, shop: str, instructions: str, stamp: Stamp) -> Visit:
    visit = Visit(
        car_id=car_id,
        shop_id=rows.party_anywhere(db, shop).id,
        instructions=instructions.strip(),
        **stamp.columns(),
    )
    db.add(visit)
    db.flush()  # its steps are to name it
    return visit


def cancel(db: Session, visit_id: int, reason: str, stamp: Stamp) -> Visit:
    """Cancel a planned visit to which the car was not sent; its due items are open as before.

    Raises Conflict when the car was sent, or the visit is cancelled already.
    """
    visit = visiting.visit_or_raise(db, visit_id)
    cars.locked_one(db, visit.car_id)
    known = visiting.steps(db, visit_id)
    if "cancelled" in known:
        raise Conflict("The visit was cancelled already.")
    if "planned" not in known or "sent" in known:
        raise Conflict("Only a planned visit to which the car was not sent can be cancelled.")
    note(db, "visit.cancelled", ("car", str(visit.car_id)))
    # With the reason beside the planning, which counts no longer.
    rows.withdraw(db, known["planned"], reason, stamp)
    _note_step(db, visit, "cancelled", stamp.today, stamp)
    return visit


def send(db: Session, car_id: int, sending: Sending, stamp: Stamp) -> Visit:
    """Send a car to a shop, whose people reach all of it until it is released.

    Raises Refused with faults by field, Conflict while the car is on a visit already or out of record.
    """
    car = cars.locked_one(db, car_id)
    faults = Faults()
    shop = _shop(sending.shop, faults)
    _check_sending(db, car, "sent_on", sending.sent_on, stamp, faults)
    faults.refuse()
    _must_be_here(db, car)
    visit = _planned(db, car_id, shop, sending.instructions.strip())
    if visit is None:
        visit = _visit(db, car_id, shop, sending.instructions, stamp)
    note(db, "visit.sent", ("car", str(car_id)))
    _add(db, visit, "sent", sending.sent_on, stamp)
    return visit


def _planned(db: Session, car_id: int, shop: str, instructions: str) -> Visit | None:
    """The soonest planned visit of the car to this shop; Refused where it says other things to do."""
    found = [each for each in visiting.planned_of(db, car_id) if each.shop == shop]
    if not found:
        return None
    if instructions not in ("", found[0].instructions):
        # A visit is as it was written down; other instructions make another one.
        faults = Faults()
        faults.add("instructions", _PLANNED_OTHERWISE.format(shop=shop, month=found[0].month))
        faults.refuse()
    return visiting.visit_or_raise(db, found[0].id)


def _check_sending(
    db: Session, car: Car, path: str, day: date, stamp: Stamp, faults: Faults
) -> None:
    faults.day(path, day, stamp, car.built_on)
    last = visiting.last_end(db, car.id)
    if last and day < last:
        faults.add(path, f"{day} lies before the car was last released, on {last}")


def _must_be_in_record(car: Car) -> None:
    if car.standing in OUT_OF_RECORD:
        name = f"{car.mark} {car.number}"
        raise Conflict(f"{name} is {label(car.standing)}, so it cannot be sent to a shop.")


def _must_be_here(db: Session, car: Car) -> None:
    _must_be_in_record(car)
    going = visiting.open_of(db, car.id)
    if going is not None:
        raise Conflict(
            f"{car.mark} {car.number} was sent to {going.shop} on {going.days['sent']} and is not released. "
            f"Release it first."
        )


def step(db: Session, visit_id: int, name: str, day: date, stamp: Stamp) -> Visit:
    """Note that the car was sent on a planned visit, arrived at the shop, or was released from it.

    Raises Refused for a day before the step that it follows, Conflict when it was noted already.
    """
    visit = visiting.visit_or_raise(db, visit_id)
    car = cars.locked_one(db, visit.car_id)
    known = visiting.steps(db, visit_id)
    faults = Faults()
    faults.one_of("step", name, FOLLOWING)
    faults.refuse()
    _must_follow(name, known)
    if name == "sent":
        _check_sending(db, car, "on", day, stamp, faults)
    else:
        _check_order(day, known, stamp, faults)
    faults.refuse()
    if name == "sent":
        _must_be_here(db, car)
    note(db, f"visit.{name}", ("car", str(visit.car_id)))
    _add(db, visit, name, day, stamp)
    return visit


def _must_follow(name: str, known: Mapping[str, VisitStep]) -> None:
    if name in known:
        raise Conflict(f"That was noted already, for {known[name].happened_on}.")
    if "cancelled" in known:
        raise Conflict("This visit was cancelled, so nothing more is noted of it.")
    if END in known:
        raise Conflict("The car was released from this visit already.")
    if "planned" in known and name != "sent" and "sent" not in known:
        raise Conflict("The car was not sent on this visit yet. Note that it was sent first.")
    if "planned" not in known and "sent" not in known:
        raise Conflict("That the car was sent was undone, so nothing more is noted of this visit.")


def _check_order(day: date, known: Mapping[str, VisitStep], stamp: Stamp, faults: Faults) -> None:
    faults.day("on", day, stamp)
    for before, row in known.items():
        # A visit can be planned after the fact, when the record catches up.
        if before != "planned" and day < row.happened_on:
            faults.add(
                "on", f"{day} lies before the car was {IN_WORDS[before]} on {row.happened_on}"
            )


def undo(db: Session, visit_id: int, name: str, reason: str, stamp: Stamp) -> Visit:
    """Let a step count no longer that was noted by mistake; it stays, with who undid it and why.

    A visit whose sending or cancelling is undone is planned again, where it was. Raises Conflict where
    that would leave the car on two visits, or for a sending when whoever asks does not own the car.
    """
    visit = visiting.visit_or_raise(db, visit_id)
    car = cars.locked_one(db, visit.car_id)
    known = visiting.steps(db, visit_id)
    _must_be_undoable(db, visit, name, known)
    note(db, "visit.undone", ("car", str(visit.car_id)))
    if name == "cancelled":
        _must_be_in_record(car)
        month = visiting.one(db, visit_id).month
        if month is not None:
            _must_be_free(db, car, month)
    if name in ENDS:
        _must_not_stand_elsewhere(db, visit)
    rows.withdraw(db, known[name], reason, stamp)
    if name == "cancelled":
        _note_step(db, visit, "planned", stamp.today, stamp)
    reach.rebuild(db, [visit.car_id], stamp.today)
    return visit


def _must_not_stand_elsewhere(db: Session, visit: Visit) -> None:
    """Work that was given to another visit meanwhile would be planned twice."""
    going = [each.id for each in visiting.of_car(db, visit.car_id) if each.planned or each.open]
    work = visit_work.open_and_done(db, [visit.id, *going])
    own = set(work.get(visit.id, ((), ()))[0])
    for other in going:
        twice = own.intersection(work.get(other, ((), ()))[0])
        if twice and other != visit.id:
            there = visiting.one(db, other)
            month = f" in {there.month:%Y-%m}" if there.month else ""
            words = ", ".join(label(item) for item in sorted(twice))
            raise Conflict(
                f"Its work ({words}) has another visit since, to {there.shop}{month}. Cancel that one first."
            )


def _must_be_undoable(db: Session, visit: Visit, name: str, known: Mapping[str, VisitStep]) -> None:
    if name not in known:
        raise Conflict("That step is not noted, so there is nothing to undo.")
    if name == "planned":
        raise Conflict("A planned visit is not undone but cancelled.")
    if name == "sent" and known.keys() & {"arrived", END}:
        raise Conflict("Undo what was noted after the sending first.")
    if name in ("sent", "cancelled") and not visiting.one(db, visit.id).own:
        raise Conflict("Whoever owns the car undoes its sending; the shop can release it.")
    if name == END and visiting.went_since(db, visit):
        raise Conflict("The car was sent to a shop again since, so this release stays.")


def _add(db: Session, visit: Visit, name: str, day: date, stamp: Stamp) -> None:
    _note_step(db, visit, name, day, stamp)
    reach.rebuild(db, [visit.car_id], stamp.today)


def _note_step(db: Session, visit: Visit, name: str, day: date, stamp: Stamp) -> None:
    db.add(VisitStep(visit_id=visit.id, step=name, happened_on=day, **stamp.columns()))
    db.flush()  # so that what is asked next finds it

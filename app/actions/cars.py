"""Adding a car, and every change to the dated facts of one."""

from __future__ import annotations

from sqlalchemy.orm import Session

from app.actions import due, facts, names, rows
from app.actions.changes import (
    CarDetails,
    NewApproval,
    NewCar,
    NewFitting,
    NewHold,
    NewLining,
    NewName,
    NewOwnership,
    NewService,
    NewStanding,
    NewStencil,
)
from app.actions.checks import Faults
from app.actions.factchecks import Change, check
from app.actions.stamp import Stamp
from app.store import cars as fleet
from app.store.bearers import bearers
from app.store.columns import BEGINNING, CarFact
from app.store.gathering import note
from app.store.tables import Car


def add_car(db: Session, new: NewCar, stamp: Stamp) -> Car:
    """Add a car with all that is known of it.

    It is the session's own, or of a party that it keeps, also where another company bears the owner's
    name. A name without a day is borne since the last other car gave it up. Raises Refused with faults by
    field (`name.mark`, `details.built_on`, ...), or Conflict when another car in record bears the
    name, or did on a day from which this one is said to.
    """
    stated = _stated(new)
    name = new.name.mark, new.name.number
    faults = Faults()
    for path, change in stated:
        check(faults, path, change, stamp, new.details.built_on)
    faults.refuse()
    names.must_be_free(db, *name, None)
    owner = rows.party(db, facts.tidied(new.ownership).owner)
    car = Car(
        owner_id=owner.id,
        keeper_id=owner.kept_by or owner.id,
        mark=new.name.mark,
        number=new.name.number,
        specification=new.details.specification,
        standing=new.standing.standing,
    )
    note(db, "car.added")
    db.add(car)
    rows.flush(db, names.taken(*name))
    borne_from = names.free_from(bearers(db, [name])[name])
    for _, change in stated:
        unsaid = borne_from if change is new.name else BEGINNING
        facts.write(db, car, change, facts.begins(change) or unsaid, stamp, owner_id=owner.id)
    due.settle(db, [car.id], stamp)
    names.must_not_overlap(db, car, BEGINNING)
    return car


def _stated(new: NewCar) -> list[tuple[str, Change]]:
    maybe: list[tuple[str, Change | None]] = [
        ("name.", new.name),
        ("ownership.", new.ownership),
        ("standing.", new.standing),
        ("details.", new.details),
        ("service.", new.service),
        ("lining.", new.lining),
        ("fitting.", new.fitting),
        ("stencil.", new.stencil),
        *((f"approvals.{place}.", each) for place, each in enumerate(new.approvals)),
    ]
    return [(path, change) for path, change in maybe if change is not None]


def re_mark(db: Session, car_id: int, name: NewName, stamp: Stamp) -> CarFact:
    """Give the car another mark and number; its history and its older names stay."""
    return facts.change(db, fleet.locked_one(db, car_id), name, stamp)


def change_construction(db: Session, car_id: int, details: CarDetails, stamp: Stamp) -> CarFact:
    """Another specification or other tank facts from a day on, as after a conversion."""
    return facts.change(db, fleet.locked_one(db, car_id), details, stamp)


def change_ownership(db: Session, car_id: int, ownership: NewOwnership, stamp: Stamp) -> CarFact:
    return facts.change(db, fleet.locked_one(db, car_id), ownership, stamp)


def change_standing(db: Session, car_id: int, standing: NewStanding, stamp: Stamp) -> CarFact:
    """Take a car out of service, into storage, out of the record, or back."""
    return facts.change(db, fleet.locked_one(db, car_id), standing, stamp)


def hold_or_release(db: Session, car_id: int, hold: NewHold, stamp: Stamp) -> CarFact:
    """Stop a car from being loaded, or let it go again."""
    return facts.change(db, fleet.locked_one(db, car_id), hold, stamp)


def put_into_service(db: Session, car_id: int, service: NewService, stamp: Stamp) -> CarFact:
    """Put the car into another lading."""
    return facts.change(db, fleet.locked_one(db, car_id), service, stamp)


def change_lining(db: Session, car_id: int, lining: NewLining, stamp: Stamp) -> CarFact:
    return facts.change(db, fleet.locked_one(db, car_id), lining, stamp)


def change_fitting(db: Session, car_id: int, fitting: NewFitting, stamp: Stamp) -> CarFact:
    return facts.change(db, fleet.locked_one(db, car_id), fitting, stamp)


def mark_stencil(db: Session, car_id: int, stencil: NewStencil, stamp: Stamp) -> CarFact:
    """Record the due dates as they are painted on the car now."""
    return facts.change(db, fleet.locked_one(db, car_id), stencil, stamp)


def change_approval(db: Session, car_id: int, approval: NewApproval, stamp: Stamp) -> CarFact:
    return facts.change(db, fleet.locked_one(db, car_id), approval, stamp)


def correct_fact(db: Session, table: str, row_id: int, change: Change, stamp: Stamp) -> CarFact:
    """Put a new row in the place of a dated fact that was recorded wrongly.

    `table` is the table's name; without a `from_on` the new row holds from where the old one did.
    """
    old = facts.fact_or_raise(db, table, row_id)
    return facts.correct(db, fleet.locked_one(db, old.car_id), old, change, stamp)


def bring_back_fact(db: Session, table: str, row_id: int, stamp: Stamp) -> CarFact:
    """Let a fact that was withdrawn hold again."""
    old = facts.fact_or_raise(db, table, row_id)
    return facts.bring_back(db, fleet.locked_one(db, old.car_id), old, stamp)


def withdraw_fact(db: Session, table: str, row_id: int, reason: str, stamp: Stamp) -> CarFact:
    """Let a dated fact count no longer; the one before it is in force again."""
    old = facts.fact_or_raise(db, table, row_id)
    return facts.withdraw(db, fleet.locked_one(db, old.car_id), old, reason, stamp)

"""How any dated fact of a car is checked, written, corrected and withdrawn: the same for all of them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import asdict, replace
from datetime import date
from typing import Any

from sqlalchemy import inspect
from sqlalchemy.orm import Session

from app.actions import due, names, rows
from app.actions.changes import (
    CarDetails,
    NewApproval,
    NewFitting,
    NewHold,
    NewLining,
    NewName,
    NewOwnership,
    NewService,
    NewStanding,
    NewStencil,
)
from app.actions.checks import Faults, tidy
from app.actions.factchecks import Change, check
from app.actions.stamp import Stamp
from app.core.words import label
from app.errors import Conflict, Fault, NotFound, Refused
from app.store import cars, dated, events
from app.store.columns import BEGINNING, CarFact
from app.store.gathering import note
from app.store.tables import (
    IN_RECORD,
    ApprovalFact,
    Car,
    CarName,
    Construction,
    Fitting,
    HoldFact,
    LiningFact,
    Ownership,
    ServiceFact,
    Standing,
    StencilFact,
)

TABLES: dict[type[Any], type[CarFact]] = {
    NewName: CarName,
    NewOwnership: Ownership,
    NewStanding: Standing,
    NewHold: HoldFact,
    CarDetails: Construction,
    NewService: ServiceFact,
    NewLining: LiningFact,
    NewFitting: Fitting,
    NewStencil: StencilFact,
    NewApproval: ApprovalFact,
}
BY_NAME = {str(inspect(table).local_table): table for table in TABLES.values()}
# Without these there is no car; the only one of them can be corrected, not withdrawn.
NEEDED = (CarName, Ownership, Standing, Construction)


def change(db: Session, car: Car, stated: Change, stamp: Stamp) -> CarFact:
    """Write a new fact that holds from its day on; what holds already is not written twice."""
    stated = tidied(stated)
    _check(db, car, stated, stamp)
    note(db, "fact.recorded", ("car", car.id))
    held = in_force(db, car.id, stated)
    if held is not None and _holds_already(db, held, stated):
        return held
    row = write(db, car, stated, _from(stated, held), stamp)
    settle(db, car, stamp)
    _keep_names_apart(db, car, row, row.from_on)
    return row


def correct(db: Session, car: Car, old: CarFact, stated: Change, stamp: Stamp) -> CarFact:
    """Put a new row in the place of a wrong one."""
    if TABLES[type(stated)] is not type(old):
        raise Refused("A fact can be corrected by one of its own kind only.")
    stated = tidied(stated)
    _check(db, car, stated, stamp)
    must_count(db, old)
    note(db, "fact.corrected", ("car", car.id))
    rows.supersede(db, old, stamp)
    row = write(db, car, stated, begins(stated) or old.from_on, stamp, corrects=old.id)
    settle(db, car, stamp)
    _keep_names_apart(db, car, row, min(row.from_on, old.from_on))
    return row


def withdraw(db: Session, car: Car, old: CarFact, reason: str, stamp: Stamp) -> CarFact:
    """Let a fact count no longer; the one before it holds again."""
    must_count(db, old)
    table = type(old)
    if table in NEEDED and not dated.has_others(db, old):
        raise Refused("A car cannot be without this fact. Correct it instead of withdrawing it.")
    note(db, "fact.withdrawn", ("car", car.id))
    rows.withdraw(db, old, reason, stamp)
    settle(db, car, stamp)
    _keep_names_apart(db, car, old, old.from_on)
    return old


def bring_back(db: Session, car: Car, old: CarFact, stamp: Stamp) -> CarFact:
    """Let a fact that was withdrawn hold again, as a new row that says the same."""
    rows.must_be_withdrawn(db, old, dated.corrected_by(db, old))
    note(db, "fact.brought_back")
    said = rows.said_by(old)
    make: Callable[..., CarFact] = type(old)
    row = make(corrects=old.id, **said, **stamp.columns())
    rows.add(db, row, "Somebody else brought this back just now. Open it anew.")
    settle(db, car, stamp)
    _keep_names_apart(db, car, row, row.from_on)
    return row


def write(
    db: Session,
    car: Car,
    stated: Change,
    from_on: date,
    stamp: Stamp,
    corrects: int | None = None,
    owner_id: int | None = None,
) -> CarFact:
    """Add the row alone; the caller has checked it and rebuilds what is due.

    With `owner_id` an ownership is that party's, whoever else has the name that it states.
    """
    make: Callable[..., CarFact] = TABLES[type(stated)]
    row = make(
        car_id=car.id,
        from_on=from_on,
        corrects=corrects,
        **_values(db, car.id, tidied(stated), owner_id),
        **stamp.columns(),
    )
    return rows.add(db, row, "Somebody else corrected this just now. Open it anew.")


def settle(db: Session, car: Car, stamp: Stamp) -> None:
    """Rebuild what is due, unless the car would now bear a name that another car in record has."""
    name = dated.in_force(db, CarName, car.id)
    standing = dated.in_force(db, Standing, car.id)
    if name and standing and standing.standing in IN_RECORD:
        names.must_be_free(db, name.mark, name.number, car)
    due.settle(db, [car.id], stamp)


def _keep_names_apart(db: Session, car: Car, row: CarFact, since: date) -> None:
    """Of what a row moved, names and standings say who bore a name when."""
    if isinstance(row, CarName | Standing):
        names.must_not_overlap(db, car, since)


def fact_or_raise(db: Session, table: str, row_id: int) -> CarFact:
    """A row of one of the tables of dated facts."""
    row = db.get(BY_NAME[table], row_id) if table in BY_NAME else None
    if row is None or not cars.reached(db, row.car_id):
        raise NotFound(
            f"There is no fact of the kind {label(table)} with the number {row_id} in the register."
        )
    return row


def must_count(db: Session, old: CarFact) -> None:
    """Raise Conflict when the row was corrected or withdrawn already."""
    if old.superseded_at is None:
        return
    newer = dated.corrected_by(db, old)
    what = f"corrected; row {newer.id} took its place" if newer else "withdrawn"
    raise Conflict(f"This fact was already {what}. Open the car anew.")


def in_force(db: Session, car_id: int, stated: Change) -> CarFact | None:
    """The fact of this kind that holds now; of approvals, the one of this item and reference."""
    table = TABLES[type(stated)]
    if isinstance(stated, NewApproval):
        return dated.in_force(db, table, car_id, item=stated.item, reference=stated.reference)
    return dated.in_force(db, table, car_id)


def begins(stated: Change) -> date | None:
    """The day from which a fact holds, where what it states has a day of its own."""
    if stated.from_on is not None:
        return stated.from_on
    if isinstance(stated, NewLining):
        return stated.applied_on
    return stated.marked_on if isinstance(stated, NewStencil) else None


def tidied(stated: Any) -> Any:
    """The same with words without stray spaces."""
    words = {
        name: tidy(value)
        for name, value in asdict(stated).items()
        if isinstance(value, str) and value != tidy(value)
    }
    return replace(stated, **words)


def _from(stated: Change, held: CarFact | None) -> date:
    from_on = begins(stated)
    if from_on is not None or held is None:
        return from_on or BEGINNING
    if held.from_on != BEGINNING:
        problem = f"say from which day it holds; what is recorded holds from {held.from_on}"
        raise Refused.because([Fault("from_on", problem)])
    if isinstance(stated, NewName | NewStanding | NewHold):
        # From the beginning on it would say that the car never was what it was until now.
        raise Refused.because([Fault("from_on", "say from which day it holds")])
    return BEGINNING


def _check(db: Session, car: Car, stated: Change, stamp: Stamp) -> None:
    faults = Faults()
    check(faults, "", stated, stamp, car.built_on)
    if isinstance(stated, CarDetails):
        _check_history(db, faults, car, stated)
    faults.refuse()


def _check_history(db: Session, faults: Faults, car: Car, details: CarDetails) -> None:
    """A car was built before the first thing that was done to it."""
    first = events.first_day(db, car.id)
    if first and details.built_on and first < details.built_on:
        faults.add("built_on", f"{details.built_on} lies after an event recorded on {first}")


def _values(
    db: Session, car_id: int, stated: Change, owner_id: int | None = None
) -> dict[str, Any]:
    """The columns of what a change states."""
    if isinstance(stated, NewOwnership):
        held = dated.in_force(db, Ownership, car_id)
        names = {
            "owner_id": None if owner_id else stated.owner,
            "lining_owner_id": stated.lining_owner,
            "equipment_owner_id": stated.equipment_owner,
        }
        meant = {
            column: rows.party_anywhere(db, name, getattr(held, column, None)).id if name else None
            for column, name in names.items()
        }
        return meant | {"owner_id": owner_id or meant["owner_id"], "region": stated.region}
    values = asdict(stated)
    del values["from_on"]
    return values


def _holds_already(db: Session, held: CarFact, stated: Change) -> bool:
    from_on = begins(stated)
    if from_on is not None and from_on < held.from_on:
        return False
    return all(
        getattr(held, name) == value for name, value in _values(db, held.car_id, stated).items()
    )

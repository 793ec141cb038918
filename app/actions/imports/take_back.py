"""Taking a whole import back: what it brought counts no longer, and what it replaced counts again."""

from __future__ import annotations

from collections.abc import Collection

from sqlalchemy import update
from sqlalchemy.orm import Session

from app.actions import due
from app.actions.imports.car_facts import FACTS
from app.actions.imports.devices import SAID
from app.actions.imports.writing import Writer
from app.actions.stamp import Stamp
from app.errors import Conflict, Fault
from app.store import digests, handing_over, imports, intake, visiting
from app.store.columns import CarFact, Recorded
from app.store.derived import ImportRun
from app.store.gathering import note
from app.store.intake import table_of
from app.store.kept import plain
from app.store.tables import (
    ApprovalFact,
    Car,
    CarName,
    Component,
    EventRow,
    Installation,
    Removal,
    Standing,
)
from app.store.visits import Visit, VisitStep

CAR_FACTS: tuple[type[CarFact], ...] = (
    CarName, Standing, *FACTS.values(), ApprovalFact, Installation,
)  # fmt: skip
EVERYTHING: tuple[type[Recorded], ...] = (
    *CAR_FACTS, EventRow, Removal, Component, Visit, VisitStep,
)  # fmt: skip
# Where it writes rows of its own.
MADE = tuple(table_of(mapped) for mapped in (Standing, Installation))


def take_back(db: Session, import_id: int, stamp: Stamp) -> ImportRun:
    """Supersede everything an import brought; cars that it added leave the lists, not the record.

    Raises Conflict when it was taken back before, when it was a list of ladings, or when later
    records lean on it; then with a fault for each car concerned.
    """
    run = imports.run_or_raise(db, import_id)
    _refuse_what_cannot_be(db, run)
    touched = intake.cars_told_of_by(db, CAR_FACTS, import_id)
    touched |= visiting.cars_told_of_by(db, import_id)
    added = intake.cars_added_by(db, import_id)
    replaced = intake.replaced_by(db, import_id)
    last = {held.name: digests.last_key(db, held) for held in MADE}
    for table in EVERYTHING:
        held = table_of(table)
        brought = (held.c.import_id == import_id) & held.c.superseded_at.is_(None)
        db.execute(update(held).where(brought).values(superseded_at=stamp.at))
    _restore(db, replaced, stamp)
    _withdraw(db, added, run, stamp)
    run.taken_back_at, run.taken_back_by = stamp.at, stamp.by
    db.flush()
    cars = [("car", car_id) for car_id in {*touched, *added}]
    made = {
        held.name: digests.made(db, held, last[held.name], digests.last_key(db, held), stamp.at)
        for held in MADE
    }
    told = {
        "import": import_id, "at": plain(stamp.at), "made": made,
        "taken_back": digests.taken_back(db, import_id, stamp.at),
    }  # fmt: skip
    note(db, "import.taken_back", *cars, bulk=[told])
    due.settle(db, sorted(touched), stamp)
    return run


def _refuse_what_cannot_be(db: Session, run: ImportRun) -> None:
    if run.taken_back_at is not None:
        raise Conflict(
            f"{run.file_name} was taken back already, by {run.taken_back_by} at "
            f"{run.taken_back_at:%Y-%m-%d %H:%M} UTC."
        )
    if handing_over.came_with(db, run.id):
        raise Conflict(
            "A car that was taken over does not go back as a file. Withdraw what is wrong of it, or hand it over."
        )
    if run.kind == "ladings":
        raise Conflict("The list of ladings holds no facts of cars; change its entries instead.")
    later = _later_records(db, run.id)
    if later:
        raise Conflict(
            f"{run.file_name} cannot be taken back: later records lean on it, of {len(later)} "
            f"{'car' if len(later) == 1 else 'cars'}. Withdraw those first.",
            [Fault(name, ", ".join(what)) for name, what in sorted(later.items())],
        )


def _later_records(db: Session, import_id: int) -> dict[str, list[str]]:
    """What was recorded since about what the import brought, by car."""
    found: list[tuple[str, Collection[int]]] = [
        ("an event recorded since", intake.resting_on(db, EventRow, import_id)),
        ("a component put on since", intake.resting_on(db, Installation, import_id)),
        ("an event corrected since", intake.corrected_since(db, EventRow, import_id)),
        ("a component corrected since", intake.corrected_since(db, Installation, import_id)),
        ("a component taken off since", intake.removed_since(db, import_id)),
        ("a step of a visit noted since", visiting.noted_since(db, import_id)),
        ("a component put on elsewhere since", intake.moved_since(db, import_id)),
    ]
    for table in CAR_FACTS:
        if table is not Installation:
            words = table_of(table).name.replace("_", " ")
            found.append((f"its {words} changed since", intake.resting_on(db, table, import_id)))
    names = intake.names_of(db, {car_id for _, ids in found for car_id in ids})
    later: dict[str, list[str]] = {}
    for what, ids in found:
        for car_id in ids:
            later.setdefault(names[car_id], []).append(what)
    return later


def _restore(db: Session, replaced: list[dict[str, object]], stamp: Stamp) -> None:
    """Put back what the import had corrected, as it stood; a superseded row cannot count again itself.

    It keeps the import that first brought it, so that taking that one back still finds it.
    """
    kept = ("car_id", "component_id", "position", "from_on", "import_id", *SAID)
    rows = [{field: row[field] for field in kept} | {
        "recorded_at": stamp.at, "recorded_by": stamp.by, "corrects": row["replaced_by"],
    } for row in replaced]  # fmt: skip
    if rows:
        db.connection().execute(table_of(Installation).insert(), rows)


def _withdraw(db: Session, car_ids: list[int], run: ImportRun, stamp: Stamp) -> None:
    if not car_ids:
        return
    writer = Writer(db, Stamp(stamp.by, stamp.at, stamp.today), keep=True)
    reason = f"Its import, {run.file_name}, was taken back."
    for car_id in car_ids:
        writer.add(
            Standing, car_id=car_id, standing="withdrawn", reason=reason, from_on=stamp.today
        )
    writer.flush()
    held = table_of(Car)
    for part in intake.in_parts(car_ids):
        db.execute(
            update(held).where(held.c.id.in_(part))
            .values(standing="withdrawn", next_item=None, next_state=None, next_due_on=None)
        )  # fmt: skip

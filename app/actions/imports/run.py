"""One way through a file for both: telling what it would do, and doing it."""

from __future__ import annotations

from datetime import datetime
from typing import Protocol

from sqlalchemy import update
from sqlalchemy.orm import Session

from app import garbage
from app.actions import due
from app.actions.imports.cars import Cars
from app.actions.imports.components import Components
from app.actions.imports.events import Events
from app.actions.imports.ladings import Ladings
from app.actions.imports.report import Preview, Report, Tell, silent
from app.actions.imports.stated import Stated, batches
from app.actions.imports.visits import Visits
from app.actions.imports.writing import Writer
from app.actions.stamp import Stamp
from app.errors import Refused
from app.files.columns import Kind
from app.files.sheets import Sheet
from app.store import cars, digests, imports, indexes, reach, rolled
from app.store import due as due_rows
from app.store.derived import ImportRun
from app.store.gathering import note
from app.store.kept import plain


class Intake(Protocol):
    """Takes the rows of one kind of file, a list at a time."""

    def __init__(self, db: Session, stamp: Stamp, writer: Writer, report: Report) -> None: ...

    def take(self, rows: list[Stated]) -> None:
        """Compare whole rows with what is stored, and add what is new."""
        ...

    def judge(self, rows: list[Stated]) -> None:
        """Tell what else is wrong with rows of which some cell could not be read."""
        ...


INTAKES: dict[Kind, type[Intake]] = {
    "cars": Cars,
    "components": Components,
    "events": Events,
    "ladings": Ladings,
    "visits": Visits,
}


def preview(db: Session, kind: Kind, sheet: Sheet, stamp: Stamp, tell: Tell = silent) -> Preview:
    """What bringing the file in would do now; nothing is stored. Raises Refused for a broken file."""
    report = _go_through(db, kind, sheet, stamp, tell, keep=False)
    return report.preview(kind, sheet.name, sheet.remark)


def apply(db: Session, kind: Kind, sheet: Sheet, stamp: Stamp, tell: Tell = silent) -> ImportRun:
    """Store all of the file and rebuild the due dates it touches, or store nothing.

    Raises Refused with every fault, after rolling back the session's transaction. (A savepoint would
    spare what else is in it, but makes SQLite a third slower: each statement then walks over the
    copies of all pages changed since.)
    """
    try:
        with garbage.paused():
            run_id = _begin(db, kind, sheet, stamp)
            report = _store(db, kind, sheet, Stamp(stamp.by, stamp.at, stamp.today, run_id), tell)
            _note(db, run_id, stamp.at, report)
    except Refused:
        db.rollback()
        raise
    return imports.run_or_raise(db, run_id)


def _store(db: Session, kind: Kind, sheet: Sheet, stamp: Stamp, tell: Tell) -> Report:
    report = _go_through(db, kind, sheet, stamp, tell, keep=True)
    if report.faults:
        raise report.preview(kind, sheet.name, sheet.remark).refusal()
    _refresh(db, sorted(report.touched), stamp, tell)
    _end(db, stamp.import_id, report)
    return report


def _note(db: Session, run_id: int, at: datetime, report: Report) -> None:
    """Tell the record of change what came past the session: the cars concerned, and a digest of the rows."""
    cars = [("car", car_id) for car_id in report.touched]
    told = {"import": run_id, "at": plain(at), "brought": digests.brought(db, run_id, at)}
    note(db, "import.stored", *cars, bulk=[told])


def _go_through(
    db: Session, kind: Kind, sheet: Sheet, stamp: Stamp, tell: Tell, *, keep: bool
) -> Report:
    report = Report()
    writer = Writer(db, stamp, keep=keep)
    intake = INTAKES[kind](db, stamp, writer, report)
    for rows in batches(kind, sheet, report):
        intake.judge([row for row in rows if row.unread])
        intake.take([row for row in rows if not row.unread])
        # After a fault the rest is still read, so that every fault is listed, but no longer stored.
        writer.keep = writer.keep and not report.faults
        writer.flush()
        tell(f"Reading {kind}", report.rows, max(sheet.about, report.rows))
    report.new_parties = writer.new_parties
    return report


def _refresh(db: Session, car_ids: list[int], stamp: Stamp, tell: Tell) -> None:
    many = len(car_ids) >= due.MANY and 2 * len(car_ids) >= cars.highest_key(db)
    if many:
        # Quicker than to count the cars of the file before and after.
        rolled.recount(db)
    with indexes.made_afterwards(db, due_rows.TABLE, when=many):
        for first in range(0, len(car_ids), due.MANY):
            tell("Working out due dates", first, len(car_ids))
            due.settle(db, car_ids[first : first + due.MANY], stamp)
    tell("Working out due dates", len(car_ids), len(car_ids))


def _begin(db: Session, kind: Kind, sheet: Sheet, stamp: Stamp) -> int:
    whose = reach.of(db)
    run = ImportRun(
        kind=kind, file_name=sheet.name[:200], sha256=sheet.sha256,
        rows=0, added=0, changed=0, repeated=0, recorded_at=stamp.at, recorded_by=stamp.by,
        person_id=whose.person_id, parties=sorted(whose.named) or None,
    )  # fmt: skip
    db.add(run)
    db.flush()  # for its key
    return run.id


def _end(db: Session, run_id: int | None, report: Report) -> None:
    db.execute(
        update(ImportRun)
        .where(ImportRun.id == run_id)
        .values(
            rows=report.rows,
            added=report.added,
            changed=report.changed,
            repeated=report.repeated,
        )
    )

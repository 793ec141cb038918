"""What must hold of a store after any fault, looked up in its tables and not by the program's own pages.

Each function gives sentences on what is wrong; none is what is wanted.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from sqlalchemy import Engine, Select, delete, func, select
from sqlalchemy.orm import Session

from app.access import EVERYTHING
from app.actions import due
from app.store.columns import table_of
from app.store.db import make_engine, sessions
from app.store.derived import DueRow, ImportRun, Job, Upload
from app.store.tables import Car, CarName, EventRow, ReadingRow
from tests.faults.files import MARK, ZONES, File
from tests.faults.program import PATIENCE, Program, wait_for
from tests.faults.recording import Notes, Sent

STOPPED_THRICE = "three times"


@contextmanager
def looking(database_url: str) -> Iterator[Session]:
    """A session on the whole store, of which nothing is kept."""
    engine = make_engine(database_url)
    try:
        with sessions(engine)(info={"reach": EVERYTHING}) as db:
            yield db
            db.rollback()
    finally:
        engine.dispose()


def everything(store: Program, notes: Notes) -> list[str]:
    """All that can be wrong with a store in which nobody is at work; the program's own check is apart."""
    with looking(store.database_url) as db:
        return [
            *changes(db, notes),
            *events_without_readings(db),
            *files(db, notes),
            *jobs(db),
            *due_rows(db),
            *database(db),
        ]


def changes(db: Session, notes: Notes) -> Iterator[str]:
    """What was answered is there as it was sent; what was not is there whole, or not at all."""
    cars = {
        number for (number,) in db.execute(select(CarName.number).where(CarName.mark == "ZQFY"))
    }
    held = _events_by_key(db)
    for each in notes.sent:
        if each.kind == "car":
            there = each.body["number"] in cars
        else:
            found = held.get(each.key, [])
            there = bool(found)
            yield from _unlike(each, found)
        if each.answer is not None and not there:
            yield f"{each.kind} {each.key} was answered and is not there"


def _unlike(sent: Sent, found: list[tuple[Any, ...]]) -> Iterator[str]:
    if len(found) > 1:
        yield f"{sent.kind} {sent.key} is there {len(found)} times"
    for _, happened_on, items, facility, corrects, readings in found:
        body = sent.body
        if (happened_on.isoformat(), set(items.split(";")), facility) != (
            body["on"], set(body["items"]), body["facility"],
        ):  # fmt: skip
            yield f"{sent.kind} {sent.key} is there and says something else"
        meant = [(each["zone"], round(each["inches"] * 1000)) for each in body["readings"]]
        if readings != meant:
            yield f"{sent.kind} {sent.key} has the readings {readings}, sent were {meant}"
        if (corrects is not None) != (sent.kind == "correction"):
            yield f"{sent.kind} {sent.key} replaces {corrects}"


def _events_by_key(db: Session) -> dict[str, list[tuple[Any, ...]]]:
    measured = defaultdict(list)
    for event_id, zone, inches in db.execute(
        select(ReadingRow.event_id, ReadingRow.zone, ReadingRow.inches).order_by(ReadingRow.place)
    ):
        measured[event_id].append((zone, round(inches * 1000)))
    found = defaultdict(list)
    for row in db.execute(
        select(
            EventRow.form_key, EventRow.id, EventRow.happened_on, EventRow.items,
            EventRow.facility, EventRow.corrects,
        ).where(EventRow.form_key.is_not(None))
    ):  # fmt: skip
        found[row.form_key].append((*row[1:], measured[row.id]))
    return found


def events_without_readings(db: Session) -> Iterator[str]:
    """Each event of this fleet that measures thickness has a reading of every zone."""
    counted = (
        select(EventRow.id, func.count(ReadingRow.event_id))
        .outerjoin(ReadingRow, ReadingRow.event_id == EventRow.id)
        .where(EventRow.items.contains("thickness"))
        .group_by(EventRow.id)
        .having(func.count(ReadingRow.event_id) != len(ZONES))
    )
    for event_id, found in db.execute(counted):
        yield f"event {event_id} has {found} readings"
    replaced = select(EventRow.corrects).where(EventRow.corrects.is_not(None))
    for (event_id,) in db.execute(
        select(EventRow.id).where(EventRow.id.in_(replaced), EventRow.superseded_at.is_(None))
    ):
        yield f"event {event_id} was replaced and still counts"


def files(db: Session, notes: Notes) -> Iterator[str]:
    """A file is in the register whole and once, or not at all; one said to be there is."""
    known = {each.file.sha256: each.file for each in notes.confirmed}
    known |= {file.sha256: file for file, _ in notes.by_command}
    runs = db.execute(select(ImportRun.id, ImportRun.sha256)).all()
    for import_id, sum_of in runs:
        held, wanted = _brought_by(db, import_id), known[sum_of].holds
        if held != wanted:
            yield f"import {import_id} of {known[sum_of].name} left {held}, want {wanted}"
    times = Counter(sum_of for _, sum_of in runs)
    for file, said in notes.by_command:
        if said and times[file.sha256] != 1:
            yield f"{file.name} was said to be in the register, and is {times[file.sha256]} times"
    yield from _strangers(db, [known[sum_of] for _, sum_of in runs])


def _brought_by(db: Session, import_id: int) -> dict[str, int]:
    events = select(EventRow.id).where(EventRow.import_id == import_id)
    asked: dict[str, Select[Any]] = {
        "cars": select(func.count()).where(CarName.import_id == import_id),
        "events": select(func.count()).where(EventRow.import_id == import_id),
        "readings": select(func.count()).where(ReadingRow.event_id.in_(events)),
    }
    return {what: db.scalar(query) or 0 for what, query in asked.items()}


def _strangers(db: Session, brought: list[File]) -> Iterator[str]:
    wanted = sum(each.holds["cars"] for each in brought)
    found = db.scalar(select(func.count()).select_from(Car).where(Car.mark == MARK))
    if found != wanted:
        yield f"the register has {found} cars of files, want {wanted}"


def jobs(db: Session) -> Iterator[str]:
    """None is still waiting or running; one that failed was stopped three times; each yes is done."""
    for job in db.scalars(select(Job)):
        if job.state not in ("done", "failed"):
            yield f"job {job.id} ({job.kind}) is {job.state}, {job.step}"
        if job.state == "failed" and STOPPED_THRICE not in job.error:
            yield f"job {job.id} ({job.kind}) failed: {job.error}"
        if job.state == "done" and job.kind == "import":
            if db.get(Upload, job.payload["upload_id"]):
                yield f"the file of job {job.id} still waits, and was brought in"
            if db.get(ImportRun, (job.result or {}).get("import_id")) is None:
                yield f"job {job.id} is done and its import is not there"


def due_rows(db: Session) -> Iterator[str]:
    """Stored due items and what lists show of each car are what working them out anew gives."""
    due_table, car_table = table_of(DueRow), table_of(Car)

    def stored() -> list[set[tuple[Any, ...]]]:
        return [set(map(tuple, db.execute(select(table)))) for table in (due_table, car_table)]

    before = stored()
    db.execute(delete(DueRow))
    due.refresh_all(db, datetime.now(UTC).date())
    for name, was, now in zip(("due rows", "cars"), before, stored(), strict=True):
        if was != now:
            stale, fresh = sorted(map(str, was - now)), sorted(map(str, now - was))
            yield f"{len(was ^ now)} {name} differ from a fresh recomputation: {stale[:2]}, {fresh[:2]}"


def database(db: Session) -> Iterator[str]:
    """SQLite finds its own file sound."""
    if db.get_bind().dialect.name == "sqlite":
        connection = db.connection()
        for (told,) in connection.exec_driver_sql("PRAGMA integrity_check"):
            if told != "ok":
                yield f"integrity_check: {told}"
        for row in connection.exec_driver_sql("PRAGMA foreign_key_check"):
            yield f"foreign_key_check: {row}"


def own_check(store: Program, *args: str) -> Iterator[str]:
    """`verify` finds nothing: the record of change proves itself, among other things."""
    status, printed = store.run("verify", *args)
    if status:
        yield f"verify gave {status}: {printed}"


def copy(path: Path, notes: Notes, empty: Program) -> Iterator[str]:
    """A copy that has its name comes back whole into an empty place, with all that `notes` say."""
    status, printed = empty.run("restore", str(path))
    if status:
        yield f"restoring {path.name} gave {status}: {printed}"
        return
    yield from own_check(empty, "--dates", "--against", str(path))
    with looking(empty.database_url) as db:
        yield from changes(db, notes)
        yield from events_without_readings(db)


def wait_until_idle(database_url: str, patience: float = 3 * PATIENCE) -> None:
    """Until no job waits or runs; one that a killed worker left is found within a minute."""
    engine = make_engine(database_url)
    try:
        wait_for(lambda: not _at_work(engine), "the jobs to end", patience)
    finally:
        engine.dispose()


def _at_work(engine: Engine) -> int:
    unfinished = select(func.count()).select_from(Job).where(Job.state.in_(("waiting", "running")))
    with engine.connect() as connection:
        return connection.scalar(unfinished) or 0

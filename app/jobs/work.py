"""What each kind of job does, in the one transaction in which it is also marked as done."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import asdict, replace
from typing import Any

from sqlalchemy.orm import Session

from app.access import Capability
from app.actions import due, imports, packets, rulebooks
from app.actions import rulebook_effect as effects
from app.actions.imports import Tell
from app.actions.stamp import Stamp
from app.files import sheets
from app.files.columns import KINDS, Kind
from app.jobs import planning
from app.pictures import Attachments
from app.store.derived import Upload
from app.store.imports import upload_or_raise

# What a job tells is kept in its row; a file with more faults is not mended row by row.
MOST_FAULTS_KEPT = 10_000
Payload = Mapping[str, Any]
Work = Callable[[Session, Payload, Stamp, Tell], dict[str, Any]]


def look_through(db: Session, payload: Payload, stamp: Stamp, tell: Tell) -> dict[str, Any]:
    """What the file of an upload would do, with all that is listed of it; nothing is stored."""
    upload, kind, sheet = _waiting(db, payload, tell)
    seen = imports.preview(db, kind, sheet, stamp, tell)
    told = asdict(replace(seen, faults=seen.faults[:MOST_FAULTS_KEPT]))
    return told | {"upload_id": upload.id, "fault_count": len(seen.faults)}


def bring_in(db: Session, payload: Payload, stamp: Stamp, tell: Tell) -> dict[str, Any]:
    """Store the file of an upload, which then waits no longer."""
    upload, kind, sheet = _waiting(db, payload, tell)
    run = imports.apply(db, kind, sheet, stamp, tell)
    db.delete(upload)
    return {
        "import_id": run.id,
        "kind": run.kind,
        "file_name": run.file_name,
        "rows": run.rows,
        "added": run.added,
        "changed": run.changed,
        "repeated": run.repeated,
    }


def take_back(db: Session, payload: Payload, stamp: Stamp, tell: Tell) -> dict[str, Any]:
    """Take a whole import back, and work out the due dates of the cars concerned."""
    tell("Taking the import back")
    return {"import_id": imports.take_back(db, payload["import_id"], stamp).id}


def _waiting(db: Session, payload: Payload, tell: Tell) -> tuple[Upload, Kind, sheets.Sheet]:
    upload = upload_or_raise(db, payload["upload_id"])
    kind = next(each for each in KINDS if each == upload.kind)
    tell("Reading the file")
    return upload, kind, sheets.read(upload.file_name, upload.content)


def refresh_due(db: Session, payload: Payload, stamp: Stamp, tell: Tell) -> dict[str, Any]:
    """Work out every due date anew, as on the day it is now."""

    def told(done: int, total: int) -> None:
        tell("Working out due dates", done, total)

    return {"cars": due.refresh_all(db, stamp.today, told)}


def rulebook_effect(db: Session, payload: Payload, stamp: Stamp, tell: Tell) -> dict[str, Any]:
    """What putting an edition in force would move; nothing is stored but that."""

    def told(done: int, total: int) -> None:
        tell("Working out what would move", done, total)

    asked = payload["edition_id"], payload["owner_id"]
    return {
        **effects.as_kept(effects.effect(db, *asked, stamp.today, told, effects.KEPT)),
        **payload,
    }


def put_in_force(db: Session, payload: Payload, stamp: Stamp, tell: Tell) -> dict[str, Any]:
    """Put an edition in force and work out the due dates of every car that it is about."""

    def told(done: int, total: int) -> None:
        tell("Working out due dates by the new rules", done, total)

    owner_id = payload["owner_id"]
    rulebooks.put_in_force(db, payload["edition_id"], owner_id, stamp)
    return {**payload, "cars": due.refresh_all(db, stamp.today, told, owner_id)}


def evidence(
    db: Session, payload: Payload, job_id: str, attachments: Attachments, tell: Tell
) -> dict[str, Any]:
    """An evidence packet, which is kept among the files under the job's key."""

    def told(done: int, total: int) -> None:
        tell("Putting cars into the packet", done, total)

    told(0, len(payload["car_ids"]))
    return packets.keep(db, payload, job_id, attachments, told)


# These store nothing while they work, so they must not keep others from writing meanwhile.
LOOKS_ONLY = frozenset({"look-through", "rulebook-effect", "solve-plan", "evidence"})
# What one of them found is stored at the end, in the transaction in which it is marked as done.
KEEPS: dict[str, Callable[[Session, Payload, Stamp, dict[str, Any]], dict[str, Any]]] = {
    "solve-plan": planning.keep,
}
# By whose reach a job goes that somebody asked for. What is not here is about every car there is, and
# whoever asked was held to that when asking.
NEEDS: dict[str, Capability] = {
    "look-through": "bring_in",
    "import": "bring_in",
    "take-back": "bring_in",
    "rulebook-effect": "try_out",
    "solve-plan": "plan",
    "evidence": "read",
}
# These look only, and put a file of their own.
PUTS: dict[str, Callable[[Session, Payload, str, Attachments, Tell], dict[str, Any]]] = {
    "evidence": evidence
}
WORK: dict[str, Work] = {
    "look-through": look_through,
    "import": bring_in,
    "take-back": take_back,
    "refresh-due": refresh_due,
    "rulebook-effect": rulebook_effect,
    "put-in-force": put_in_force,
    "solve-plan": planning.solve,
}

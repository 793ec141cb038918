"""Questions about files: those brought in, and those waiting for a yes."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from itertools import islice

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.errors import NotFound
from app.store import reach
from app.store.derived import FILE_KINDS, ImportRun, Upload


def runs(db: Session, limit: int = 50) -> Sequence[ImportRun]:
    """The files brought in, latest first."""
    found = db.scalars(select(ImportRun).order_by(ImportRun.id.desc()))
    return list(islice((run for run in found if _mine(db, run)), limit))


def run_or_raise(db: Session, import_id: int) -> ImportRun:
    run = db.get(ImportRun, import_id)
    if run is None or not _mine(db, run):
        raise NotFound(f"There is no import with the number {import_id}.")
    return run


def by_content(db: Session, kind: str, sha256: str) -> ImportRun | None:
    """The latest import of this very file that was not taken back."""
    found = db.scalars(
        select(ImportRun)
        .where(
            ImportRun.kind == kind, ImportRun.sha256 == sha256, ImportRun.taken_back_at.is_(None)
        )
        .order_by(ImportRun.id.desc())
    )
    return next((run for run in found if _mine(db, run)), None)


def _mine(db: Session, run: ImportRun) -> bool:
    """Brought in for parties that the session stands for, every one of them."""
    parties = reach.of(db).parties
    return parties is None or (run.parties is not None and set(run.parties) <= parties)


def upload_or_raise(db: Session, upload_id: str, kinds: Collection[str] = FILE_KINDS) -> Upload:
    """A file of one of these kinds that the session's person handed in."""
    upload = db.get(Upload, upload_id)
    if upload is None or upload.kind not in kinds or not reach.asked_by(db, upload.person_id):
        raise NotFound("That file is no longer waiting here. Hand it in again.")
    return upload

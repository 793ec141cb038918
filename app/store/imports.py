"""Questions about files: those brought in, and those waiting for a yes."""

from __future__ import annotations

from collections.abc import Sequence

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.errors import NotFound
from app.store.derived import ImportRun, Upload


def runs(db: Session, limit: int = 50) -> Sequence[ImportRun]:
    """The files brought in, latest first."""
    return db.scalars(select(ImportRun).order_by(ImportRun.id.desc()).limit(limit)).all()


def run_or_raise(db: Session, import_id: int) -> ImportRun:
    run = db.get(ImportRun, import_id)
    if run is None:
        raise NotFound(f"There is no import with the number {import_id}.")
    return run


def by_content(db: Session, kind: str, sha256: str) -> ImportRun | None:
    """The latest import of this very file that was not taken back."""
    return db.scalars(
        select(ImportRun)
        .where(
            ImportRun.kind == kind, ImportRun.sha256 == sha256, ImportRun.taken_back_at.is_(None)
        )
        .order_by(ImportRun.id.desc())
    ).first()


def upload_or_raise(db: Session, upload_id: str) -> Upload:
    upload = db.get(Upload, upload_id)
    if upload is None:
        raise NotFound("That file is no longer waiting here. Hand it in again.")
    return upload

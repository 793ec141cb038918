"""Files handed in on a page, kept until somebody says yes to them or drops them."""

from __future__ import annotations

from datetime import timedelta
from secrets import token_urlsafe
from typing import Literal

from sqlalchemy import delete
from sqlalchemy.orm import Session

from app.actions.stamp import Stamp
from app.files.columns import Kind
from app.store import reach
from app.store.derived import Upload

# Nobody comes back to a file handed in the day before yesterday.
KEPT = timedelta(days=2)


def keep(
    db: Session, kind: Kind | Literal["hand_over"], file_name: str, content: bytes, stamp: Stamp
) -> Upload:
    """Keep a file under a key that nobody can guess, and drop those that were left lying."""
    db.execute(delete(Upload).where(Upload.uploaded_at < stamp.at - KEPT))
    upload = Upload(
        id=token_urlsafe(24),
        kind=kind,
        file_name=file_name[:200],
        content=content,
        uploaded_at=stamp.at,
        person_id=reach.of(db).person_id,
    )
    db.add(upload)
    return upload


def drop(db: Session, upload_id: str) -> None:
    """Forget a file; to drop one twice is no fault."""
    db.execute(delete(Upload).where(Upload.id == upload_id, reach.asked(db, Upload.person_id)))

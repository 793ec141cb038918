"""Whether the bytes of a report's photographs have come: it is signed only when all of them have."""

from __future__ import annotations

from collections.abc import Collection

from sqlalchemy.orm import Session

from app.store import pictures


def lacking(db: Session, report_id: int, digests: Collection[str]) -> list[str]:
    """Those of these photographs of a report that are not whole on the server."""
    return sorted(set(digests) - pictures.sent_of(db, report_id, digests)) if digests else []

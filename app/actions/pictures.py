"""Photographs of cars: which of a report's have come."""

from __future__ import annotations

from collections.abc import Collection

from sqlalchemy.orm import Session

from app.store import pictures


def whole(db: Session, report_id: int, digests: Collection[str]) -> set[str]:
    """Of the sums under which a report names photographs, those whose bytes have all come."""
    return pictures.sent_of(db, report_id, digests)

"""The moment of a change: never before that of an earlier one, though the clock of the machine was moved back.

Else a row could be replaced before it was recorded, and what was known at a moment would change afterwards.
"""

from __future__ import annotations

from datetime import datetime, timedelta

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from app.store.changes import Change

# Work that lasts has the moment at which it began, and is entered when it ends: after others.
LATEST = 200
NEXT = timedelta(microseconds=1)
BEGAN = "record.began"  # by which nothing was recorded


def not_before(db: Session, clock: datetime) -> datetime:
    """What the clock says, or just after the latest change where it says something earlier."""
    recorded = select(Change.at).where(Change.deed != BEGAN)
    last = recorded.order_by(Change.id.desc()).limit(LATEST).subquery()
    latest = db.scalar(select(func.max(last.c.at)))
    return clock if latest is None or latest < clock else latest + NEXT

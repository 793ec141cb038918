"""The lines of the `due` command: stored due items for today, worked out anew for any other day or moment.

Another day has other facts: what happened after it does not count there, and the stored items know
of it.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime
from typing import NamedTuple

from sqlalchemy.orm import Session

from app.actions import looking_back
from app.store import due
from app.store.asked import Standpoint
from app.store.due import DueFilter, DueListRow


class Line(NamedTuple):
    mark: str
    number: int
    owner: str
    item: str
    due_on: date
    days_left: int
    status: str
    citation: str


COLUMNS = Line._fields


@dataclass(frozen=True, slots=True)
class Question:
    """Dated items due on or before `before`, as things stood on `as_of`, as known at a moment (None: now)."""

    before: date
    as_of: date
    soon_days: int
    overdue: bool = False
    owner_id: int | None = None
    known_at: datetime | None = None


def lines(db: Session, asked: Question, today: date) -> Iterator[Line]:
    """Soonest first, then by mark, number and the order of items."""
    for row in _rows(db, asked, today):
        yield Line(*(getattr(row, column) for column in COLUMNS))


def _rows(db: Session, asked: Question, today: date) -> Iterator[DueListRow]:
    wanted = DueFilter(
        as_of=asked.as_of,
        soon_days=asked.soon_days,
        owner_id=asked.owner_id,
        overdue=asked.overdue,
        due_to=asked.before,
    )
    if asked.as_of == today and asked.known_at is None:
        return due.each(db, wanted)
    at = Standpoint(asked.as_of, asked.known_at)
    return looking_back.due_items(db, at, wanted).each()

"""Why stored due items fall due: their reasons are not stored, but worked out anew for the cars that are looked at."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from datetime import date, datetime
from itertools import islice

from sqlalchemy.orm import Session

from app.actions import rulebooks
from app.core.facts import Due, Reason
from app.store import facts
from app.store.due import DueListRow

# Rows for whose cars the facts are read at once; what is made of them is kept that long, some 20 kilobytes a car.
BATCH = 250
MOVED = (
    "The rules or the record moved since this list was worked out, or the day did: as of {day} it is {state}{on}. "
    "The list follows when it is worked out again"
)


def told(
    db: Session, rows: Sequence[DueListRow], today: date, known_at: datetime | None = None
) -> list[DueListRow]:
    """These rows with their reasons, by the rules in force for each car, as known at a moment (None: now)."""
    programme = rulebooks.in_force(db, known_at)
    records = facts.load(db, sorted({row.car_id for row in rows}), today, known_at)
    found = {
        (car_id, due.item): due
        for car_id, record in records.items()
        for due in programme.whole_answer(record, today).answer.items
    }
    return [
        replace(row, reasons=_reasons(row, found.get((row.car_id, row.item)), today))
        for row in rows
    ]


def each_told(
    db: Session, rows: Iterable[DueListRow], today: date, known_at: datetime | None = None
) -> Iterator[DueListRow]:
    """The same for a list of any length, some at a time."""
    waiting = iter(rows)
    while some := list(islice(waiting, BATCH)):
        yield from told(db, some, today, known_at)


def _reasons(row: DueListRow, due: Due | None, today: date) -> tuple[Reason, ...]:
    """The reasons; before them, that the list is behind, where it is."""
    if due is None:
        return ()
    if (due.state, due.due_on) == (row.state, row.due_on):
        return due.reasons
    on = f", {due.due_on}" if due.due_on else ""
    behind = MOVED.format(day=today, state=due.state.replace("_", " "), on=on)
    return (Reason(behind), *due.reasons)

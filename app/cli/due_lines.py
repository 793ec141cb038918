"""The lines of the `due` command: stored due items for today, counted anew for any other day.

Another day has other facts: what happened after it does not count there, and the stored items know
of it.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from typing import NamedTuple

from sqlalchemy.orm import Session

from app.actions import rulebooks
from app.actions.rulebooks import Programme
from app.core.facts import ITEMS, Due
from app.core.status import days_left, state_on
from app.store import cars, due, facts
from app.store.due import DueFilter
from app.store.facts import CarRecord

CARS_AT_ONCE = 500


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
    """Dated items due on or before `before`, as things stood on `as_of`."""

    before: date
    as_of: date
    soon_days: int
    overdue: bool = False
    owner_id: int | None = None


def lines(db: Session, asked: Question, today: date) -> Iterator[Line]:
    """Soonest first, then by mark, number and the order of items."""
    return _stored(db, asked) if asked.as_of == today else iter(_counted(db, asked))


def _stored(db: Session, asked: Question) -> Iterator[Line]:
    wanted = DueFilter(
        as_of=asked.as_of,
        soon_days=asked.soon_days,
        owner_id=asked.owner_id,
        overdue=asked.overdue,
        due_to=asked.before,
    )
    for row in due.each(db, wanted):
        yield Line(*(getattr(row, column) for column in COLUMNS))


def _counted(db: Session, asked: Question) -> list[Line]:
    owners, programme = cars.party_names(db), rulebooks.in_force(db)
    every = cars.all_ids(db)
    found: list[Line] = []
    for first in range(0, len(every), CARS_AT_ONCE):
        ids = every[first : first + CARS_AT_ONCE]
        for record in facts.load(db, ids, asked.as_of).values():
            if _meant(record, asked):
                found += _lines_of(record, owners[record.owner_id], asked, programme)
    return sorted(found, key=_place)


def _meant(record: CarRecord, asked: Question) -> bool:
    """In service on that day, under the owner asked for, and already built."""
    built = record.car.built_on
    return (
        record.standing == "in_service"
        and asked.owner_id in (None, record.owner_id)
        and (built is None or built <= asked.as_of)
    )


def _lines_of(
    record: CarRecord, owner: str, asked: Question, programme: Programme
) -> Iterator[Line]:
    for item in programme.whole_answer(record, asked.as_of).answer.items:
        left = days_left(item.due_on, asked.as_of)
        if item.due_on is None or left is None or item.due_on > asked.before:
            continue
        status = state_on(item.state, item.due_on, asked.as_of, asked.soon_days)
        if not asked.overdue or status in ("overdue", "due_now"):
            car = record.car
            yield Line(
                car.mark, car.number, owner, item.item, item.due_on, left, status, _citation(item)
            )


def _citation(item: Due) -> str:
    return next((reason.citation for reason in item.reasons if reason.citation), "")


def _place(line: Line) -> tuple[date, str, int, int]:
    return line.due_on, line.mark, line.number, ITEMS.index(line.item)

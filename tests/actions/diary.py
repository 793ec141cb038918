"""A diary of what the program answered when, kept while a clock moves on, and compared with what it says of then."""

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, time, timedelta
from typing import Any

from sqlalchemy.orm import Session

from app.actions import looking_back, rulebooks
from app.actions.stamp import Stamp
from app.errors import NotFound
from app.store import cars, due, facts
from app.store.asked import Standpoint
from app.store.cars import RegisterFilter
from app.store.due import DueFilter
from app.store.paging import Page

SOON = 180
ALL = RegisterFilter(standing="all")


@dataclass(frozen=True)
class Entry:
    """What was answered on a day, by all that was known at a moment."""

    at: Standpoint
    answers: dict[int, Any]
    items: list[Any]
    undated: list[Any]
    register: list[Any]


@dataclass
class Diary:
    """Changes are made through `moment`, whose clock only moves forward; `keep` writes the answers down."""

    db: Session
    now: datetime = datetime(2026, 1, 5, 9, tzinfo=UTC)
    entries: list[Entry] = field(default_factory=list)

    @property
    def stamp(self) -> Stamp:
        return Stamp("Ida Example", self.now, self.now.date())

    def after(self, days: int = 0, minutes: int = 1) -> Stamp:
        """Let time go by; on each day between, the answers of its noon are kept."""
        then = self.now + timedelta(days=days, minutes=minutes)
        for ahead in range(1, days + 1):
            noon = datetime.combine(self.now.date() + timedelta(days=ahead), time(12), UTC)
            if self.now < noon < then:
                self.keep(noon)
        self.now = then
        return self.stamp

    def keep(self, moment: datetime | None = None) -> None:
        """Write down what the program answers now; it does so from the facts and from what is stored."""
        moment = moment or self.now
        day = moment.date()
        self.entries.append(
            Entry(Standpoint(day, moment), _answers(self.db, day), *_stored(self.db, day))
        )

    def check(self) -> None:
        """Ask for every entry again: each answer is what it was."""
        for entry in self.entries:
            assert _answers_then(self.db, entry) == entry.answers, entry.at
            assert _lists_then(self.db, entry.at) == (
                entry.items,
                entry.undated,
                entry.register,
            ), entry.at
            assert not _disagreeing(entry), entry.at


def _answers(db: Session, day: date) -> dict[int, Any]:
    """By car the whole answer with its reasons, as the car's page and the API ask for it now."""
    programme = rulebooks.in_force(db)
    return {
        key: programme.whole_answer(record, day)
        for key, record in facts.load(db, cars.all_ids(db), day).items()
    }


def _answers_then(db: Session, entry: Entry) -> dict[int, Any]:
    programme = rulebooks.in_force(db, entry.at.known_at)
    found = {}
    for key in cars.all_ids(db):
        try:
            record = looking_back.record_of(db, key, entry.at)
        except NotFound:
            continue
        found[key] = programme.whole_answer(record, entry.at.as_of)
    return found


def _filters(day: date) -> tuple[DueFilter, DueFilter]:
    every = DueFilter(day, SOON, listed_only=False)
    return every, replace(every, status="unknown")


def _stored(db: Session, day: date) -> tuple[list[Any], ...]:
    """The stored lists, of all cars, seen from a day."""
    dated, undated = _filters(day)
    # A car whose file was taken back stays in the table of cars, without a fact to its name.
    register = [
        row for row in cars.register(db, ALL, None, 500).rows if row.standing != "withdrawn"
    ]
    return list(due.each(db, dated)), list(due.each(db, undated)), register


def _lists_then(db: Session, at: Standpoint) -> tuple[list[Any], ...]:
    dated, undated = _filters(at.as_of)
    return (
        list(looking_back.due_items(db, at, dated).each()),
        list(looking_back.due_items(db, at, undated).each()),
        list(looking_back.register(db, at, ALL).each()),
    )


def _disagreeing(entry: Entry) -> list[Any]:
    """Rows of the list that are not what the car's own answer says."""
    told = {
        (key, item.item): item
        for key, whole in entry.answers.items()
        for item in whole.answer.items
    }
    return [
        row
        for row in entry.items
        if (row.state, row.due_on, row.basis_on, row.interval_months, row.confidence)
        != _said(told[row.car_id, row.item])
    ]


def _said(item: Any) -> tuple[Any, ...]:
    return item.state, item.due_on, item.basis_on, item.interval_months, item.confidence


def all_pages(page: Callable[[str | None, int], Page[Any]], limit: int) -> list[Any]:
    """Every row of a list, page by page."""
    rows, after = [], None
    while True:
        found = page(after, limit)
        rows += found.rows
        if found.next_after is None:
            return rows
        after = found.next_after

"""The morning list: what changed since a day; what is overdue, due soon, due now, or cannot be dated. Read alone.

Its parts are due lists by another filter, and what moved by what was recorded (`store.due_before`).
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from itertools import islice
from typing import Literal, get_args

from sqlalchemy.orm import Session

from app.actions.reasons import each_told, told
from app.core.facts import Status
from app.store import due, due_before, due_counts, watching
from app.store.due import DueFilter, DueListRow
from app.store.due_before import Moved
from app.store.paging import Page
from app.store.watching import ListShown

Listed = Literal["passed", "nearing", "overdue", "due_now", "within", "unknown"]
Part = Literal["passed", "moved", "nearing", "overdue", "due_now", "within", "unknown"]
PARTS: tuple[Part, ...] = get_args(Part)
LISTED: tuple[Listed, ...] = get_args(Listed)
# What changed since the day, and how things stand.
CHANGES: tuple[Part, ...] = ("passed", "moved", "nearing")
STANDING: tuple[Listed, ...] = ("overdue", "within", "due_now", "unknown")
_STATUS: Mapping[Listed, Status] = {
    "passed": "overdue", "nearing": "soon", "overdue": "overdue", "within": "soon",
    "due_now": "due_now", "unknown": "unknown",
}  # fmt: skip
# Beyond it a count of what moved would take longer than it is worth.
MOST_COUNTED = 10_000


@dataclass(frozen=True, slots=True)
class View:
    """What is looked at: as of the filter's day, how it changed since the beginning of `since`.

    The filter's `soon_days` are the days that are looked ahead.
    """

    seen: DueFilter
    since: date

    def of(self, part: Listed) -> DueFilter:
        """The due list that this part is."""
        seen = replace(self.seen, status=_STATUS[part])
        if part == "passed":
            return replace(seen, due_from=self.since)
        if part == "nearing":
            # What was within so many days when `since` began was seen then.
            first = self.since + timedelta(days=seen.soon_days + 1)
            return replace(seen, due_from=first)
        return seen


def view(seen: DueFilter, since: date | None = None) -> View:
    """Since yesterday, where nothing else is said."""
    return View(seen, since or seen.as_of - timedelta(days=1))


def count(db: Session, looked: View, part: Part) -> int:
    """How many lines a part has; of what moved at most MOST_COUNTED."""
    if part == "moved":
        return due_before.count_moved(db, looked.seen, looked.since, MOST_COUNTED)
    return due_counts.count(db, looked.of(part))


def counts(db: Session, looked: View) -> tuple[dict[Part, int], int]:
    """The same of every part; and how many lines of what stands are set aside as seen."""
    listed = due_counts.counts_and_aside(db, [looked.of(part) for part in LISTED])
    by_part = dict(zip(LISTED, listed, strict=True))
    numbers: dict[Part, int] = {part: number for part, (number, _) in by_part.items()}
    aside = sum(by_part[part][1] for part in STANDING)
    return numbers | {"moved": count(db, looked, "moved")}, aside


def first_lines(db: Session, looked: View, limit: int) -> dict[Listed, Page[DueListRow]]:
    """The first lines of every part but what moved, with their reasons."""
    first = due.first_pages(db, [looked.of(part) for part in LISTED], limit)
    pages = dict(zip(LISTED, first, strict=True))
    every = [row for page in pages.values() for row in page.rows]
    rows = iter(told(db, every, looked.seen.as_of))
    return {
        part: replace(page, rows=tuple(islice(rows, len(page.rows))))
        for part, page in pages.items()
    }


def lines(
    db: Session, looked: View, part: Listed, after: str | None = None, limit: int = 50
) -> Page[DueListRow]:
    """A page of a part, each line with its reasons."""
    found = due.page(db, looked.of(part), after, limit)
    return replace(found, rows=tuple(told(db, found.rows, looked.seen.as_of)))


def moved(
    db: Session, looked: View, count: int, after: str | None = None, limit: int = 50
) -> Page[Moved]:
    """A page of what moved by what was recorded, of which there are so many."""
    return due_before.moved(db, looked.seen, looked.since, count, after, limit)


def every_line(db: Session, looked: View, part: Listed) -> Iterator[DueListRow]:
    """All of a part, with reasons: what a file holds."""
    return each_told(db, due.each(db, looked.of(part)), looked.seen.as_of)


Counts = dict[Listed, int]


def by_owner(db: Session, looked: View) -> list[tuple[int, str, Counts]]:
    """By owner, in the order of their names, how many lines each standing part has."""
    listed = due_counts.by_owner(db, [looked.of(part) for part in STANDING])
    found = dict(zip(STANDING, listed, strict=True))
    owners = {owner for each in found.values() for owner in each}
    return [
        (key, name, {part: found[part].get((key, name), 0) for part in STANDING})
        for key, name in sorted(owners, key=lambda owner: (owner[1], owner[0]))
    ]


def by_person(
    db: Session, looked: View, lists: Sequence[ListShown]
) -> list[tuple[int, str, Counts]]:
    """The same by who answers for it, as these saved lists say; a line may have several."""
    answering = {(each.answers or "", each.row.answers_id or 0) for each in lists}
    people = sorted(each for each in answering if each[1])
    views = [replace(looked, seen=answered_by(looked.seen, key, lists)) for _, key in people]
    asked = [mine.of(part) for mine in views for part in STANDING]
    numbers = iter(due_counts.counts(db, asked) if asked else ())
    return [(key, name, {part: next(numbers) for part in STANDING}) for name, key in people]


def answered_by(seen: DueFilter, person_id: int, lists: Sequence[ListShown]) -> DueFilter:
    """What the filter keeps of what this person answers for."""
    return replace(seen, lists=watching.answered_for(lists, person_id, _bare(seen)))


def on_list(db: Session, seen: DueFilter, list_id: int) -> DueFilter:
    """What the filter keeps of a saved list that the session's person sees."""
    asked = watching.list_or_raise(db, list_id).asked
    return replace(seen, lists=(watching.filter_of(asked, _bare(seen)),))


def _bare(seen: DueFilter) -> DueFilter:
    """A filter of the same day that keeps everything."""
    return DueFilter(seen.as_of, seen.soon_days)

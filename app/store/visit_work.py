"""What visits are planned for, and what of that was done while they lasted."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from app.core.months import month_end
from app.core.orders import ITEM as DIRECTIVE
from app.core.owed import REPLACED_BY
from app.store.derived import DueRow
from app.store.directives import DirectiveClosing, DirectiveMatch
from app.store.events import split
from app.store.plans import VisitWork
from app.store.tables import EventRow
from app.store.visits import END, VisitStep

# Fewer than an engine takes as values of one statement.
AT_ONCE = 5_000


@dataclass(frozen=True, slots=True)
class WorkShown:
    """A due item that a visit is planned for; done on the day on which it passed between sent and released.

    `due_on` is as known when it was planned, `due_now` and `citation` as the item stands now.
    """

    item: str
    due_on: date | None
    done_on: date | None
    event_id: int | None
    citation: str = ""
    due_now: date | None = None

    @property
    def moved(self) -> bool:
        """Whether it is still to be done, and falls due on another day than it did when it was planned."""
        return self.done_on is None and self.due_now != self.due_on


def work_of(db: Session, visit_ids: Sequence[int]) -> dict[int, list[WorkShown]]:
    """What each of these visits is planned for, and what of it was done while it lasted.

    Of events only those count that nothing replaced; the latest about an item decides, so one that
    failed after it had passed is not done. Directives are done once the last that is open on the car
    was closed. For visits that the caller reaches.
    """
    found: dict[int, list[WorkShown]] = {}
    for part in in_parts(visit_ids):
        windows, planned = _windows(db, part), _planned_work(db, part)
        cars = {row.car_id for row, _, _ in planned}
        events, closed = _events_since(db, cars, windows), _directives_closed(db, cars)
        for row, citation, due_now in planned:
            window = windows.get(row.visit_id)
            if row.item == DIRECTIVE:
                done = None if due_now else _last_in(window, closed.get(row.car_id, ()))
            else:
                done = _done(row.item, window, events.get(row.car_id, ()))
            on, event_id = done or (None, None)
            shown = WorkShown(row.item, row.due_on, on, event_id, citation or "", due_now)
            found.setdefault(row.visit_id, []).append(shown)
    return found


Items = tuple[str, ...]


def open_and_done(db: Session, visit_ids: Sequence[int]) -> dict[int, tuple[Items, Items]]:
    """The due items that each of these visits is still to do, and those done in it."""
    return {
        visit_id: (
            tuple(each.item for each in work if each.done_on is None),
            tuple(each.item for each in work if each.done_on is not None),
        )
        for visit_id, work in work_of(db, visit_ids).items()
    }


Window = tuple[date, date]
Done = tuple[date, int | None]


def _windows(db: Session, visit_ids: Sequence[int]) -> dict[int, Window]:
    """From when to when an inspection is of a visit, for those whose car was sent."""
    return {
        visit_id: (days["sent"], days.get(END, date.max))
        for visit_id, days in days_of(db, visit_ids).items()
        if "sent" in days
    }


def _planned_work(
    db: Session, visit_ids: Sequence[int]
) -> list[tuple[VisitWork, str | None, date | None]]:
    query = (
        select(VisitWork, DueRow.citation, DueRow.due_on)
        .outerjoin(
            DueRow, (DueRow.car_id == VisitWork.car_id) & (DueRow.item == VisitWork.item)
        )
        .where(VisitWork.visit_id.in_(visit_ids))
        .order_by(VisitWork.id)
    )  # fmt: skip
    return [(work, citation, due_now) for work, citation, due_now in db.execute(query)]


def _events_since(
    db: Session, car_ids: Iterable[int], windows: Mapping[int, Window]
) -> dict[int, list[EventRow]]:
    """What counts of these cars since the first of the windows, in the order in which it happened."""
    found: dict[int, list[EventRow]] = {}
    if not windows:
        return found
    first = min(start for start, _ in windows.values())
    rows = db.scalars(
        select(EventRow)
        .where(
            EventRow.car_id.in_(sorted(car_ids)),
            EventRow.superseded_at.is_(None),
            # Of some only the month is known, whose first day they bear.
            EventRow.happened_on >= first.replace(day=1),
        )
        .order_by(EventRow.happened_on, func.coalesce(EventRow.original_id, EventRow.id))
    )
    for row in rows:
        found.setdefault(row.car_id, []).append(row)
    return found


def _done(item: str, window: Window | None, events: Iterable[EventRow]) -> Done | None:
    done: Done | None = None
    for event in events:
        if window is None or not _falls_in(event, window):
            continue
        names = split(event.items)
        if item in names or REPLACED_BY.get(item) in names:
            done = (event.happened_on, event.id) if event.outcome == "pass" else None
    return done


def _directives_closed(db: Session, car_ids: Collection[int]) -> dict[int, list[date]]:
    """The days on which directives were seen to on these cars."""
    found: dict[int, list[date]] = defaultdict(list)
    query = (
        select(DirectiveMatch.car_id, DirectiveClosing.done_on)
        .join(DirectiveClosing, DirectiveClosing.match_id == DirectiveMatch.id)
        .where(
            DirectiveMatch.car_id.in_(car_ids),
            DirectiveMatch.superseded_at.is_(None),
            DirectiveClosing.superseded_at.is_(None),
        )
    )
    for car_id, day in db.execute(query):
        found[car_id].append(day)
    return found


def _last_in(window: Window | None, days: Iterable[date]) -> Done | None:
    within = [day for day in days if window and window[0] <= day <= window[1]]
    return (max(within), None) if within else None


def _falls_in(event: EventRow, window: Window) -> bool:
    last = month_end(event.happened_on) if event.month_only else event.happened_on
    return last >= window[0] and event.happened_on <= window[1]


def days_of(db: Session, visit_ids: Sequence[int]) -> dict[int, dict[str, date]]:
    found: dict[int, dict[str, date]] = {}
    for part in in_parts(visit_ids):
        rows = db.execute(
            select(VisitStep.visit_id, VisitStep.step, VisitStep.happened_on).where(
                VisitStep.visit_id.in_(part), VisitStep.superseded_at.is_(None)
            )
        )
        for visit_id, step, day in rows:
            found.setdefault(visit_id, {})[step] = day
    return found


def in_parts(keys: Sequence[int]) -> Iterator[Sequence[int]]:
    for first in range(0, len(keys), AT_ONCE):
        yield keys[first : first + AT_ONCE]

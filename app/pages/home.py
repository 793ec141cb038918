"""Home: counts that lead to their lists, what needs action first, and what is being brought in."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta

from fastapi import APIRouter, Request
from fastapi.responses import Response
from sqlalchemy.orm import Session

from app import web
from app.actions.reasons import told
from app.core.facts import Status
from app.core.words import label
from app.pages.jobs import TITLES
from app.pages.tour import tour
from app.store import car_counts, cars, due, due_counts, imports, jobs
from app.store.due import DueFilter, DueListRow
from app.store.tables import IN_RECORD
from app.web.rendering import query

router = APIRouter()

HORIZONS = (30, 90, 180)
URGENT = 10
LATEST = 5


@dataclass(frozen=True, slots=True)
class Count:
    """A number that is a link to the list with as many rows."""

    label: str
    number: int
    address: str
    status: Status | None = None


@router.get("/")
@web.may("read")
def home(
    request: Request, db: web.Db, today: web.Today, settings: web.Configured, viewer: web.Seeing
) -> Response:
    seen = DueFilter(as_of=today, soon_days=settings.soon_days)
    empty = not cars.highest_key_reached(db)
    urgent = _urgent(db, seen)
    return web.page(
        request,
        "home/empty.html" if empty else "home/show.html",
        fleet=_standings(db),
        counts=_due_counts(db, seen),
        urgent=urgent,
        built=cars.built(db, {row.car_id for row in urgent}),
        working=jobs.unfinished(db),
        titles=TITLES,
        runs=imports.runs(db, LATEST),
        tour=tour(request, db, viewer),
    )


def _standings(db: Session) -> list[Count]:
    found = car_counts.standings(db)
    return [
        Count(label(standing), found[standing], f"/fleet{query({'standing': standing})}")
        for standing in IN_RECORD
    ]


def _due_counts(db: Session, seen: DueFilter) -> list[Count]:
    lists = [
        _with_status(seen, "overdue", "/overdue"),
        _with_status(seen, "due_now", "/overdue"),
        *(_within(seen, days) for days in HORIZONS),
        _with_status(seen, "unknown", "/due"),
    ]
    numbers = due_counts.counts(db, [wanted for wanted, _ in lists])
    return [
        replace(shown, number=number) for (_, shown), number in zip(lists, numbers, strict=True)
    ]


def _with_status(seen: DueFilter, status: Status, path: str) -> tuple[DueFilter, Count]:
    """A list, and how its number is shown."""
    shown = Count(label(status), 0, f"{path}{query({'status': status})}", status)
    return replace(seen, status=status), shown


def _within(seen: DueFilter, days: int) -> tuple[DueFilter, Count]:
    last: date = seen.as_of + timedelta(days=days)
    address = f"/due{query({'from': seen.as_of, 'to': last})}"
    return replace(seen, due_from=seen.as_of, due_to=last), Count(f"within {days} days", 0, address)


def _urgent(db: Session, seen: DueFilter) -> Sequence[DueListRow]:
    """The first that are past or owed; with none of those, the first that will fall due."""
    past = due.page(db, replace(seen, overdue=True), limit=URGENT).rows
    return told(db, past or due.page(db, seen, limit=URGENT).rows, seen.as_of)

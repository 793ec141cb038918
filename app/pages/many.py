"""One inspection for many cars at once: all of them or none."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Literal

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse
from sqlalchemy.orm import Session

from app import web
from app.actions import events as actions
from app.actions.changes import NewEvent
from app.actions.reasons import told
from app.core.facts import EVENT_ITEMS
from app.core.months import month_end
from app.errors import Problem
from app.files import days, names
from app.pages import event_form, fleet, forms
from app.pages.changing import Looking, Seen, faults_of, kept
from app.pages.event_form import EventForm
from app.pages.fields import spoken
from app.pages.forms import Entries
from app.pages.moves import Move, moves
from app.store import cars, due
from app.store.bearers import bearers, meant
from app.store.due import DueListRow
from app.store.events import inspected
from app.store.intake import KnownCar
from app.store.names import Name

router = APIRouter()

# What one form may change at once; a longer list is better brought in as a file of events.
MOST = 2_000
LEAD = (
    "The same inspection, on the same day, at the same place. Thickness readings belong to one car, so "
    "they are recorded on its own page. All cars are recorded, or none."
)


@dataclass(frozen=True, slots=True)
class Named:
    """A line of the list: what was typed, and the car it names or what is wrong with it."""

    typed: str
    car_id: int | None
    problem: str


@dataclass(frozen=True, slots=True)
class Chosen:
    """The cars of the form: by name, line by line, or by the filter of the register told in words."""

    lines: Sequence[Named] = ()
    filter_words: str = ""
    filter_ids: Sequence[int] = ()

    @property
    def car_ids(self) -> list[int]:
        found = [line.car_id for line in self.lines if line.car_id is not None]
        return list(dict.fromkeys([*found, *self.filter_ids]))

    @property
    def wrong(self) -> list[Named]:
        return [line for line in self.lines if line.problem]

    @property
    def problem(self) -> str:
        """What keeps the list from being taken as it is; empty when nothing does."""
        if self.wrong:
            return f"{len(self.wrong)} of {len(self.lines)} lines name no car of the register."
        if not self.car_ids:
            return "No car is chosen; want mark and number, one car a line."
        if len(self.car_ids) > MOST:
            return (
                f"{len(self.car_ids)} cars are chosen; at most {MOST} can be recorded at once. "
                f"Filter further, or bring in a file of events."
            )
        return ""


@dataclass(frozen=True, slots=True)
class CarMoves:
    """A car and what moved on it."""

    car_id: int
    name: str
    moves: Sequence[Move]


@router.get("/record")
@web.may("record_work")
def many_form(request: Request, db: web.Db) -> HTMLResponse:
    chosen = _by_filter(request, db)
    return _shown(request, event_form.blank_for_many(), chosen)


@router.post("/record")
@web.may("record_work")
def record_for_many(
    request: Request, posted: web.Posted, db: web.Db, looking: Looking
) -> HTMLResponse:
    typed = forms.typed(posted)
    event, entries = event_form.read_event(typed)
    chosen = _chosen(request, db, Entries(typed), looking.stamp.today)
    if chosen.problem:
        entries = entries.wrong({"names": chosen.problem})
    if "check" in posted:
        return _shown(request, Entries(typed), chosen, looked="yes")
    if event is None or chosen.problem:
        return _shown(request, entries, chosen, 422)
    moved = _record(db, chosen.car_ids, event, looking)
    if isinstance(moved, Problem):
        entries = event_form.beside(faults_of(moved), entries)
        return _shown(request, entries, chosen, 422)
    outcome = event.outcome if inspected(event.items) else None
    return web.page(request, "many/done.html", cars=moved, event=event, outcome=outcome)


def _record(
    db: Session, car_ids: Sequence[int], event: NewEvent, looking: Seen
) -> list[CarMoves] | Problem:
    event = actions.under_own_key(db, car_ids, event)
    before = {car_id: _due(db, car_id, looking) for car_id in car_ids}
    stopped = kept(db, lambda: actions.record_event_for_many(db, car_ids, event, looking.stamp))
    if isinstance(stopped, Problem):
        return stopped
    found = []
    for car_id in car_ids:
        car = cars.car_or_raise(db, car_id)
        all_moves = moves(before[car_id], _due(db, car_id, looking))
        moved = [move for move in all_moves if move.moved]
        found.append(CarMoves(car_id, f"{car.mark} {car.number}", moved))
    return found


def _due(db: Session, car_id: int, looking: Seen) -> list[DueListRow]:
    today = looking.stamp.today
    return told(db, due.for_car(db, car_id, today, looking.soon_days), today)


def _chosen(request: Request, db: Session, entries: Entries, today: date) -> Chosen:
    filtered = _by_filter(request, db)
    lines = [line.strip() for line in entries.text("names").splitlines() if line.strip()]
    read = {line: _read(line) for line in lines}
    borne = bearers(db, {name for name in read.values() if not isinstance(name, str)})
    first, last = _between(entries, today)
    named = [
        Named(line, None, name)
        if isinstance(name, str)
        else _named(line, name, meant(borne[name], first, last, today))
        for line, name in ((line, read[line]) for line in lines)
    ]
    return Chosen(named, filtered.filter_words, filtered.filter_ids)


def _read(line: str) -> Name | str:
    """Mark and number, or what is wrong with the line."""
    try:
        return names.mark_and_number(line)
    except ValueError as wrong:
        return forms.as_sentence(str(wrong))


def _between(entries: Entries, today: date) -> tuple[date, date]:
    """The days that the names are meant on: those of the inspection, as far as its day can be read."""
    try:
        day = days.day_or_month(entries.text("happened_on"))
    except ValueError:
        return today, today
    return day.on, month_end(day.on) if day.month_only else day.on


def _named(line: str, name: Name, found: list[KnownCar]) -> Named:
    called = f"{name[0]} {name[1]}"
    if not found:
        return Named(line, None, f"{called} is not in the register.")
    if len(found) > 1:
        told = " and ".join(f"the one that is {each.name} today" for each in found)
        problem = f"{called} was borne by {len(found)} cars then or since, {told}: record it on the car’s page."
        return Named(line, None, problem)
    return Named(line, found[0].id, "")


def _by_filter(request: Request, db: Session) -> Chosen:
    """The cars of the register's filter, when the address has one."""
    if not request.query_params:
        return Chosen()
    wanted = fleet.wanted(request, db)
    wanted.asked.refuse()
    page = cars.register(db, replace(wanted.filter, whole_only=True), limit=MOST + 1)
    return Chosen((), wanted.in_words(), [row.id for row in page.rows])


def _shown(
    request: Request,
    entries: Entries,
    chosen: Chosen,
    status: int = 200,
    looked: Literal["yes", ""] = "",
) -> HTMLResponse:
    query = f"?{request.url.query}" if request.url.query else ""
    form = EventForm(
        "Record for many cars", LEAD, f"/record{query}", "Record for all of them", entries,
        spoken(EVENT_ITEMS), {}, with_readings=False,
    )  # fmt: skip
    return web.page(request, "many/form.html", status, form=form, chosen=chosen, looked=looked)

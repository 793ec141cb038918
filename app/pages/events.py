"""Recording an inspection or a change to a car, correcting it, withdrawing it."""

from __future__ import annotations

from datetime import date

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse
from sqlalchemy.orm import Session

from app import web
from app.actions import events as actions
from app.actions import rulebooks
from app.actions.readings import design_thickness
from app.pages import event_form, fields, forms
from app.pages.changing import Done, Looking, Made, attempt, changed
from app.pages.event_form import EventForm, Judge
from app.pages.facts import FactForm
from app.pages.fields import Group
from app.pages.forms import Entries
from app.store import cars, events, facts
from app.store.events import EventShown
from app.store.tables import Car, EventRow
from app.web.rendering import day_or_month

router = APIRouter()

RECORD = "What a report says of one day. What passed moves its due dates; what failed is due now."
CORRECT = "A new record takes the place of this one. Both stay in the car’s history."
WITHDRAW = (Group("Why", (fields.WHY,)),)


def judge(db: Session, car: Car, today: date, only: frozenset[str] | None = None) -> Judge:
    """What readings of this car are judged against, as its tank is known today.

    With `only` whoever asks answers for these items alone, and nothing of the tank is told.
    """
    record = facts.load(db, [car.id], today)[car.id]
    rulebook = rulebooks.in_force(db).of(record.owner_id).rulebook
    if only is not None:
        return Judge.of(record.car, rulebook, {}, {}, only)
    design = design_thickness(db, car)
    last = events.last_readings(db, car.id)
    return Judge.of(record.car, rulebook, design, last)


@router.get("/cars/{car_id}/events/new")
@web.may("record_work")
def inspection_form(
    request: Request,
    car_id: web.Key,
    db: web.Db,
    looking: Looking,
    viewer: web.Seeing,
    item: str = "",
) -> HTMLResponse:
    """The empty form; `item` is ticked already where it can be inspected."""
    car, only = cars.part_or_raise(db, car_id)
    against = judge(db, car, looking.stamp.today, only)
    entries = event_form.blank(viewer.prefers.length)
    if item in dict(against.inspections):
        entries = entries.more({"items": item})
    return _shown(request, car, _new(car, entries, against))


@router.post("/cars/{car_id}/events")
@web.may("record_work")
def record_inspection(
    request: Request, car_id: web.Key, posted: web.Posted, db: web.Db, looking: Looking
) -> HTMLResponse:
    car, only = cars.part_or_raise(db, car_id)
    against = judge(db, car, looking.stamp.today, only)
    if "more" in posted:
        return _shown(request, car, _new(car, _longer(posted), against))
    event, entries = event_form.read_event(forms.typed(posted))
    if event is None:
        return _shown(request, car, _new(car, entries, against), 422)
    event = actions.under_own_key(db, [car_id], event)
    made = attempt(
        db, car_id, looking, lambda: actions.record_event(db, car_id, event, looking.stamp)
    )
    if isinstance(made, list):
        entries = event_form.beside(made, entries)
        return _shown(request, car, _new(car, entries, against), 422)
    return changed(request, db, car_id, _recorded("Recorded", made))


@router.get("/cars/{car_id}/verdict")
@web.may("record_work")
def reading_verdict(
    request: Request, car_id: web.Key, row: int, db: web.Db, looking: Looking
) -> HTMLResponse:
    """One reading of a form not yet sent, judged at once."""
    car = cars.car_or_raise(db, car_id)
    asked = request.query_params
    entries = Entries({name: asked.getlist(name) for name in asked})
    against = judge(db, car, looking.stamp.today)
    verdict = against.verdict(entries, row)
    last = against.last.get(entries.text(f"readings.{row}.zone"))
    return web.partial(request, "events/_verdict.html", verdict=verdict, last=last)


@router.get("/events/{event_id}/correct")
@web.may("record_work")
def correction_form(
    request: Request, event_id: web.Key, db: web.Db, looking: Looking
) -> HTMLResponse:
    event, car, only = _event(db, event_id)
    against = judge(db, car, looking.stamp.today, only)
    form = _correcting(event, event_form.of_event(event), against, _newest(db, event.row))
    return _shown(request, car, form)


@router.post("/events/{event_id}/correct")
@web.may("record_work")
def correct(
    request: Request, event_id: web.Key, posted: web.Posted, db: web.Db, looking: Looking
) -> HTMLResponse:
    event, car, only = _event(db, event_id)
    against = judge(db, car, looking.stamp.today, only)
    if "more" in posted:
        return _shown(request, car, _correcting(event, _longer(posted), against))
    new, entries = event_form.read_event(forms.typed(posted))
    if new is None:
        return _shown(request, car, _correcting(event, entries, against), 422)
    new = actions.under_own_key(db, [car.id], new)
    made = attempt(
        db, car.id, looking, lambda: actions.correct_event(db, event_id, new, looking.stamp)
    )
    if isinstance(made, list):
        entries = event_form.beside(made, entries)
        form = _correcting(event, entries, against, _newest(db, event.row))
        return _shown(request, car, form, 422)
    return changed(request, db, car.id, _recorded("Corrected", made))


@router.get("/events/{event_id}/withdraw")
@web.may("record_work")
def withdrawal_form(request: Request, event_id: web.Key, db: web.Db) -> HTMLResponse:
    event, car, _ = _event(db, event_id)
    return _withdrawing(request, event, car, Entries())


@router.post("/events/{event_id}/withdraw")
@web.may("record_work")
def withdraw(
    request: Request, event_id: web.Key, posted: web.Posted, db: web.Db, looking: Looking
) -> HTMLResponse:
    event, car, _ = _event(db, event_id)
    values, entries = forms.read((fields.WHY,), forms.typed(posted))
    if entries.problems:
        return _withdrawing(request, event, car, entries, 422)
    made = attempt(
        db, car.id, looking,
        lambda: actions.withdraw_event(db, event_id, values["reason"], looking.stamp),
    )  # fmt: skip
    if isinstance(made, list):
        entries = entries.wrong(forms.beside(made, values))
        return _withdrawing(request, event, car, entries, 422)
    sentence = f"The record of {_day(event.row)} no longer counts; it stays in the history."
    return changed(request, db, car.id, Done("Withdrawn", sentence, made.moved))


def _event(db: Session, event_id: int) -> tuple[EventShown, Car, frozenset[str] | None]:
    """An event to be corrected or withdrawn, its car, and the items of it that are reached (None: all)."""
    row = actions.changeable_or_raise(db, event_id)
    shown = EventShown(row, events.readings(db, [event_id]).get(event_id, ()), None, None)
    return shown, *cars.part_or_raise(db, row.car_id)


def _newest(db: Session, row: EventRow) -> int | None:
    """The event at the end of the corrections of this one; None when it was not corrected."""
    newest = None
    while (later := events.corrected_by(db, row.id)) is not None:
        newest, row = later.id, later
    return newest


def _longer(posted: web.Sent) -> Entries:
    return event_form.more_rows(Entries(forms.typed(posted)))


def _new(car: Car, entries: Entries, against: Judge) -> EventForm:
    return EventForm(
        "Record an inspection", RECORD, f"/cars/{car.id}/events", "Record", entries,
        against.inspections, against.verdicts(entries), with_readings=against.judges,
        with_changes=against.only is None, last=against.last,
    )  # fmt: skip


def _correcting(
    event: EventShown, entries: Entries, against: Judge, newest: int | None = None
) -> EventForm:
    return EventForm(
        f"Correct the record of {_day(event.row)}", CORRECT, f"/events/{event.row.id}/correct",
        "Record the correction", entries, against.inspections, against.verdicts(entries),
        newest=newest, with_readings=against.judges, with_changes=against.only is None,
        last=against.last,
    )  # fmt: skip


def _shown(request: Request, car: Car, form: EventForm, status: int = 200) -> HTMLResponse:
    return web.page(request, "events/form.html", status, car=car, form=form)


def _withdrawing(
    request: Request, event: EventShown, car: Car, entries: Entries, status: int = 200
) -> HTMLResponse:
    lead = (
        "Use this when the record should never have been made. If it holds a mistake, correct it: "
        "a correction keeps what was right."
    )
    form = FactForm(
        f"Withdraw the record of {_day(event.row)}", lead, f"/events/{event.row.id}/withdraw",
        WITHDRAW, entries, "Withdraw", None, "",
    )  # fmt: skip
    return web.page(request, "facts/form.html", status, car=car, form=form)


def _recorded(title: str, made: Made[EventRow]) -> Done:
    row = made.given
    links = (
        (f"/events/{row.id}/correct", "Correct it"),
        (f"/events/{row.id}/withdraw", "Withdraw it"),
    )
    return Done(title, f"What happened on {_day(row)} is on record.", made.moved, links)


def _day(row: EventRow) -> str:
    return day_or_month(row.happened_on, row.month_only)

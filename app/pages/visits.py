"""One visit to a shop: planned, sent, arrived, released, cancelled; each step noted on a form of its own."""

from __future__ import annotations

from datetime import date
from typing import Literal

from fastapi import APIRouter, Request
from fastapi.responses import Response
from sqlalchemy.orm import Session

from app import web
from app.actions import visits as actions
from app.core.words import words
from app.errors import Problem
from app.files import cells, days
from app.pages import fields, forms
from app.pages.changing import Looking, Seen, faults_of, kept_of_car
from app.pages.facts import FactForm
from app.pages.fields import Group
from app.pages.forms import Entries, Field
from app.pages.visit_lists import lines
from app.store import cars, visit_work, visiting
from app.store.tables import Car
from app.store.visits import Visit

router = APIRouter()

Step = Literal["arrived", "released"]
SENDING = (
    Field("shop", "Shop", cells.text, "Its people reach all of the car until it is released", "suggest", (), True),
    Field("sent_on", "Sent on", days.day, "", "day", (), True),
    Field("instructions", "What is to be done", cells.notes, "The owner’s written instructions", "notes"),
)  # fmt: skip
ON = (Field("on", "On", days.day, "", "day", (), True),)
TITLES: dict[str, str] = {
    "sent": "Sent to the shop",
    "arrived": "Arrived at the shop",
    "released": "Released from the shop",
}
LEADS: dict[str, str] = {
    "sent": "The day on which the car was sent on its planned visit. From then on the shop’s people reach all of it.",
    "arrived": "The day on which the shop had the car.",
    "released": "The day on which the shop let the car go. From then on its people reach it no longer.",
}
SAVED = {
    "sent": "That the car was sent is recorded.",
    "arrived": "The arrival is recorded.",
    "released": "The release is recorded.",
    "cancelled": "The visit is cancelled.",
}
CAUTION = (
    "Before anybody enters the tank or loosens a fitting, the site’s own procedures for entry, "
    "lock-out and purging apply."
)


@router.get("/visits/{visit_id}")
@web.may("read")
def visit(request: Request, visit_id: web.Key, db: web.Db, today: web.Today) -> Response:
    shown = visiting.one(db, visit_id)
    [line] = lines(db, [shown], today)
    return web.page(
        request,
        "visits/show.html",
        line=line,
        noted=next(
            each for each in visiting.history(db, shown.car_id) if each.visit.id == visit_id
        ),
        saved=SAVED.get(request.query_params.get("saved", ""), ""),
        caution=CAUTION,
    )


@router.get("/cars/{car_id}/visits/new")
@web.may("record_facts")
def sending_form(request: Request, car_id: web.Key, db: web.Db, today: web.Today) -> Response:
    car = cars.car_or_raise(db, car_id)
    planned = next(iter(visiting.planned_of(db, car_id)), None)
    told = {"shop": planned.shop, "instructions": planned.instructions} if planned else {}
    return _sending(request, db, car, forms.filled({"sent_on": today, **told}))


@router.post("/cars/{car_id}/visits")
@web.may("record_facts")
def send(
    request: Request, car_id: web.Key, posted: web.Posted, db: web.Db, looking: Looking
) -> Response:
    car = cars.car_or_raise(db, car_id)
    values, entries = forms.read(SENDING, forms.typed(posted))
    if entries.problems:
        return _sending(request, db, car, entries, 422)
    sending = actions.Sending(values["shop"], values["sent_on"], values["instructions"] or "")
    made = kept_of_car(
        db, car_id, looking, lambda: actions.send(db, car_id, sending, looking.stamp)
    )
    if isinstance(made, Problem):
        entries = entries.wrong(forms.beside(faults_of(made), values))
        return _sending(request, db, car, entries, 422)
    return web.see_other("/visits")


@router.get("/visits/{visit_id}/undo/{step}")
@web.may("record_work")
def undoing_form(request: Request, visit_id: web.Key, step: str, db: web.Db) -> Response:
    return _undoing(request, db, visiting.visit_or_raise(db, visit_id), step, Entries())


@router.post("/visits/{visit_id}/undo/{step}")
@web.may("record_work")
def undo(
    request: Request, visit_id: web.Key, step: str, posted: web.Posted, db: web.Db, looking: Looking
) -> Response:
    visit = visiting.visit_or_raise(db, visit_id)
    values, entries = forms.read((fields.WHY,), forms.typed(posted))
    if entries.problems:
        return _undoing(request, db, visit, step, entries, 422)
    made = kept_of_car(
        db, visit.car_id, looking,
        lambda: actions.undo(db, visit_id, step, values["reason"], looking.stamp),
    )  # fmt: skip
    if isinstance(made, Problem):
        entries = entries.wrong(forms.beside(faults_of(made), values))
        return _undoing(request, db, visit, step, entries, 422)
    return web.see_other("/visits")


@router.get("/visits/{visit_id}/cancel")
@web.may("plan")
def cancelling_form(request: Request, visit_id: web.Key, db: web.Db) -> Response:
    return _cancelling(request, db, visiting.visit_or_raise(db, visit_id), Entries())


@router.post("/visits/{visit_id}/cancel")
@web.may("plan")
def cancel(
    request: Request, visit_id: web.Key, posted: web.Posted, db: web.Db, looking: Looking
) -> Response:
    visit = visiting.visit_or_raise(db, visit_id)
    values, entries = forms.read((fields.WHY,), forms.typed(posted))
    if entries.problems:
        return _cancelling(request, db, visit, entries, 422)
    made = kept_of_car(
        db, visit.car_id, looking,
        lambda: actions.cancel(db, visit_id, values["reason"], looking.stamp),
    )  # fmt: skip
    if isinstance(made, Problem):
        entries = entries.wrong(forms.beside(faults_of(made), values))
        return _cancelling(request, db, visit, entries, 422)
    return web.see_other(f"/visits/{visit_id}?saved=cancelled")


@router.get("/visits/{visit_id}/sent")
@web.may("plan")
def sent_form(request: Request, visit_id: web.Key, db: web.Db, today: web.Today) -> Response:
    visit = visiting.visit_or_raise(db, visit_id)
    return _stepping(request, db, visit, "sent", forms.filled({"on": today}))


@router.post("/visits/{visit_id}/sent")
@web.may("plan")
def note_sent(
    request: Request, visit_id: web.Key, posted: web.Posted, db: web.Db, looking: Looking
) -> Response:
    return _noted(request, db, visit_id, "sent", posted, looking)


@router.get("/visits/{visit_id}/{step}")
@web.may("record_work")
def step_form(
    request: Request, visit_id: web.Key, step: Step, db: web.Db, today: web.Today
) -> Response:
    visit = visiting.visit_or_raise(db, visit_id)
    return _stepping(request, db, visit, step, forms.filled({"on": today}))


@router.post("/visits/{visit_id}/{step}")
@web.may("record_work")
def note_step(
    request: Request,
    visit_id: web.Key,
    step: Step,
    posted: web.Posted,
    db: web.Db,
    looking: Looking,
) -> Response:
    return _noted(request, db, visit_id, step, posted, looking)


def _noted(
    request: Request, db: Session, visit_id: int, step: str, posted: web.Sent, looking: Seen
) -> Response:
    visit = visiting.visit_or_raise(db, visit_id)
    values, entries = forms.read(ON, forms.typed(posted))
    if entries.problems:
        return _stepping(request, db, visit, step, entries, 422)
    day: date = values["on"]
    made = kept_of_car(
        db, visit.car_id, looking, lambda: actions.step(db, visit_id, step, day, looking.stamp)
    )
    if isinstance(made, Problem):
        entries = entries.wrong(forms.beside(faults_of(made), values))
        return _stepping(request, db, visit, step, entries, 422)
    return web.see_other(_after(db, visit, step))


def _after(db: Session, visit: Visit, step: str) -> str:
    """The visit, where whoever noted the step still reaches it: a shop does not once it released the car."""
    if step == "sent" or cars.reached(db, visit.car_id):
        return f"/visits/{visit.id}?saved={step}"
    return "/visits"


def _sending(
    request: Request, db: Session, car: Car, entries: Entries, status: int = 200
) -> Response:
    asked = (fields.with_choices(SENDING[0], tuple(visiting.shops(db))), *SENDING[1:])
    form = FactForm(
        "Send to a shop",
        "From the day it is sent until it is released, the shop’s people can look into the car’s "
        "record and record their work.",
        f"/cars/{car.id}/visits", (Group("The visit", asked),), entries, "Send", None, CAUTION,
    )  # fmt: skip
    return web.page(request, "facts/form.html", status, car=car, form=form)


def _stepping(
    request: Request, db: Session, visit: Visit, step: str, entries: Entries, status: int = 200
) -> Response:
    caution = {"sent": CAUTION, "released": _left(db, visit)}.get(step, "")
    form = FactForm(
        TITLES[step], LEADS[step], f"/visits/{visit.id}/{step}", (Group("When", ON),), entries,
        "Record", None, caution,
    )  # fmt: skip
    car = cars.car_or_raise(db, visit.car_id)
    return web.page(request, "facts/form.html", status, car=car, form=form)


def _left(db: Session, visit: Visit) -> str:
    """What a release would leave undone, as a sentence."""
    work = visit_work.work_of(db, [visit.id]).get(visit.id, ())
    left = [words(each.item) for each in work if each.done_on is None]
    if not left:
        return ""
    return (
        f"Not done yet: {', '.join(left)}. If the car is released so, that stays open and goes back "
        "into planning."
    )


def _cancelling(
    request: Request, db: Session, visit: Visit, entries: Entries, status: int = 200
) -> Response:
    form = FactForm(
        "Cancel a planned visit",
        "The car stays where it is, and the due items of the visit go back into planning.",
        f"/visits/{visit.id}/cancel", (Group("Why", (fields.WHY,)),), entries, "Cancel the visit",
        None, "",
    )  # fmt: skip
    car = cars.car_or_raise(db, visit.car_id)
    return web.page(request, "facts/form.html", status, car=car, form=form)


def _undoing(
    request: Request, db: Session, visit: Visit, step: str, entries: Entries, status: int = 200
) -> Response:
    form = FactForm(
        "Undo a step of a visit",
        "Use this when it was noted by mistake. It stays in the history, with who undid it and why.",
        f"/visits/{visit.id}/undo/{step}", (Group("Why", (fields.WHY,)),), entries, "Undo", None, "",
    )  # fmt: skip
    car = cars.car_or_raise(db, visit.car_id)
    return web.page(request, "facts/form.html", status, car=car, form=form)

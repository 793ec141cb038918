"""Undoing by new rows: bringing back what was withdrawn, and moving a component to the car that it was put on."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse
from sqlalchemy.orm import Session

from app import web
from app.actions import cars as car_actions
from app.actions import components as component_actions
from app.actions import events as event_actions
from app.actions.facts import fact_or_raise
from app.errors import Refused
from app.files import cells
from app.pages import fields, forms
from app.pages.changing import Done, Looking, Seen, attempt, changed
from app.pages.fact_history import called
from app.pages.facts import FactForm
from app.pages.fields import Group
from app.pages.forms import Entries, Field
from app.store import bearers, cars, components
from app.store.names import read_name
from app.store.tables import Car

router = APIRouter()

BRINGING = (
    "Use this when it was withdrawn by mistake. A new record says the same as the one that was withdrawn; "
    "both stay in the history."
)
MOVING = (
    "Use this when it was recorded on the wrong car. Here it never was; there it counts as put on, taken "
    "off and changed on the same days."
)
OTHER_CAR = (
    Group(
        "The right car",
        (Field("car", "Car", cells.text, "Mark and number of the car it was put on", "line", (), True),
         fields.WHY),
    ),
)  # fmt: skip
ASKED = tuple(field for group in OTHER_CAR for field in group.fields)


@router.get("/events/{event_id}/bring-back")
@web.may("record_work")
def event_form(request: Request, event_id: web.Key, db: web.Db) -> HTMLResponse:
    return _asking(request, db, "event", event_actions.changeable_or_raise(db, event_id))


@router.post("/events/{event_id}/bring-back")
@web.may("record_work")
def bring_event_back(
    request: Request, event_id: web.Key, db: web.Db, looking: Looking, posted: web.Posted
) -> HTMLResponse:
    row = event_actions.changeable_or_raise(db, event_id)
    act = event_actions.bring_back_event
    return _done(
        request, db, "event", row, looking, posted, lambda: act(db, event_id, looking.stamp)
    )


@router.get("/facts/{table}/{row_id}/bring-back")
@web.may("record_facts")
def fact_form(request: Request, table: str, row_id: web.Key, db: web.Db) -> HTMLResponse:
    return _asking(request, db, table, fact_or_raise(db, table, row_id))


@router.post("/facts/{table}/{row_id}/bring-back")
@web.may("record_facts")
def bring_fact_back(
    request: Request, table: str, row_id: web.Key, db: web.Db, looking: Looking, posted: web.Posted
) -> HTMLResponse:
    row = fact_or_raise(db, table, row_id)
    act = car_actions.bring_back_fact
    return _done(
        request, db, table, row, looking, posted, lambda: act(db, table, row_id, looking.stamp)
    )


@router.get("/installations/{installation_id}/bring-back")
@web.may("record_work")
def installation_form(request: Request, installation_id: web.Key, db: web.Db) -> HTMLResponse:
    row = components.installation_or_raise(db, installation_id)
    return _asking(request, db, "component", row)


@router.post("/installations/{installation_id}/bring-back")
@web.may("record_work")
def bring_installation_back(
    request: Request,
    installation_id: web.Key,
    db: web.Db,
    looking: Looking,
    posted: web.Posted,
) -> HTMLResponse:
    row = components.installation_or_raise(db, installation_id)
    act = component_actions.bring_back
    return _done(
        request, db, "component", row, looking, posted,
        lambda: act(db, installation_id, looking.stamp),
    )  # fmt: skip


@router.get("/installations/{installation_id}/other-car")
@web.may("record_work")
def other_car_form(request: Request, installation_id: web.Key, db: web.Db) -> HTMLResponse:
    car_id = components.installation_or_raise(db, installation_id).car_id
    return _moving(request, cars.car_or_raise(db, car_id), Entries())


@router.post("/installations/{installation_id}/other-car")
@web.may("record_work")
def move_to_other_car(
    request: Request,
    installation_id: web.Key,
    db: web.Db,
    looking: Looking,
    posted: web.Posted,
) -> HTMLResponse:
    car = cars.car_or_raise(db, components.installation_or_raise(db, installation_id).car_id)
    values, entries = forms.read(ASKED, forms.typed(posted))
    if entries.problems:
        return _moving(request, car, entries, 422)

    def act() -> Any:
        other = _named(db, values["car"])
        return component_actions.correct_car(
            db, installation_id, other.id, values["reason"], looking.stamp
        )

    made = attempt(db, car.id, looking, act)
    if isinstance(made, list):
        return _moving(request, car, entries.wrong(forms.beside(made, values)), 422)
    other = cars.car_or_raise(db, made.given.car_id)
    links = ((f"/cars/{other.id}", f"{other.mark} {other.number}"),)
    done = Done("Moved", "It counts on the other car, with its changes.", made.moved, links)
    return changed(request, db, car.id, done)


def _named(db: Session, text: str) -> Car:
    name = read_name(text)
    found = bearers.all_named(db, [name]).get(name, ())
    if len(found) != 1:
        raise Refused(f"There is not one car named {text!r} in your reach. Give mark and number.")
    return cars.car_or_raise(db, found[0])


def _done(
    request: Request, db: Session, table: str, row: Any, looking: Seen, posted: web.Sent,
    act: Callable[[], object],
) -> HTMLResponse:  # fmt: skip
    made = attempt(db, row.car_id, looking, act)
    if isinstance(made, list):
        entries = Entries(forms.typed(posted)).wrong(forms.beside(made, ()))
        return _asking(request, db, table, row, entries, 422)
    done = Done("Brought back", "It counts again; both records stay in the history.", made.moved)
    return changed(request, db, row.car_id, done)


def _asking(
    request: Request,
    db: Session,
    table: str,
    row: Any,
    entries: Entries | None = None,
    status: int = 200,
) -> HTMLResponse:
    form = FactForm(
        "Bring back what was withdrawn", f"{called(table, row)} {BRINGING}", request.url.path, (), entries or Entries(),
        "Bring it back", None, "",
    )  # fmt: skip
    car, _ = cars.part_or_raise(db, row.car_id)
    return web.page(request, "facts/form.html", status, car=car, form=form)


def _moving(request: Request, car: Car, entries: Entries, status: int = 200) -> HTMLResponse:
    form = FactForm(
        "Move a component to another car", MOVING, request.url.path, OTHER_CAR, entries,
        "Record the correction", None, "",
    )  # fmt: skip
    return web.page(request, "facts/form.html", status, car=car, form=form)

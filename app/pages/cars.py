"""The page of a car, and adding one to the register."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse
from sqlalchemy.orm import Session

from app import web
from app.actions import cars as actions
from app.actions.car_checks import checks
from app.actions.changes import CarDetails, NewCar, NewName, NewOwnership, NewService
from app.actions.reasons import told
from app.actions.standpoint import Lookback
from app.core.directive_words import OUTCOMES
from app.errors import Problem
from app.files.drawings import WIDTH
from app.pages import fields, forms
from app.pages.car_part import part
from app.pages.car_view import seen_from, view
from app.pages.changing import Done, Looking, Seen, changed, faults_of, kept
from app.pages.facts import FactForm, stated, with_suggestions
from app.pages.fields import Group
from app.pages.forms import Entries, Field
from app.pages.looking_back import Back
from app.pages.moves import moves
from app.store import cars, directive_list, due, reach, reports, told_orders, visiting
from app.store.directive_list import MatchFilter
from app.store.tables import Car

router = APIRouter()

GROUPS = (
    Group("Mark and number", fields.NAME),
    Group("Owner", fields.OWNERSHIP),
    Group("Specification", fields.SPECIFICATION),
    Group("Tank", fields.TANK),
    Group("The owner’s design minimum", fields.MINIMA),
    Group("Lading, when it has one", fields.optional(fields.LADING)),
)
FIELDS: tuple[Field, ...] = tuple(each for group in GROUPS for each in group.fields)
LEAD = (
    "Only mark, number, specification and owner are needed. What is not known is taken on the safe "
    "side, and the car’s page says what is missing."
)


@router.get("/cars/new")
@web.may("record_facts")
def new_car_form(request: Request, db: web.Db) -> HTMLResponse:
    return _shown(request, db, Entries())


@router.post("/cars")
@web.may("record_facts")
def add_car(request: Request, posted: web.Posted, db: web.Db, looking: Looking) -> HTMLResponse:
    values, entries = forms.read(FIELDS, forms.typed(posted))
    if entries.problems:
        return _shown(request, db, entries, 422)
    car = kept(db, lambda: actions.add_car(db, _new_car(stated(values)), looking.stamp))
    if isinstance(car, Problem):
        faults = faults_of(car)
        named = {fault.path: fault.path.rpartition(".")[2] for fault in faults}
        return _shown(request, db, entries.wrong(forms.beside(faults, values, named)), 422)
    today = looking.stamp.today
    items = told(db, due.for_car(db, car.id, today, looking.soon_days), today)
    done = Done("Added to the register", "These are its due items.", moves([], items))
    return changed(request, db, car.id, done)


@router.get("/cars/{car_id}")
@web.may("read", looks_back=True)
def car_page(
    request: Request, car_id: web.Key, db: web.Db, looking: Looking, back: Back
) -> HTMLResponse:
    """The car today; or as of a day, as known at a moment, when there is nothing to record.

    Whoever answers for its lining or equipment alone is shown that, as it is today.
    """
    car, items = cars.part_or_raise(db, car_id)
    if items is not None:
        return _part_page(request, db, car, items, looking, back)
    shown = view(db, car_id, looking, back)
    return web.page(
        request,
        "cars/show.html",
        car=shown.car,
        view=shown,
        checks=checks(db, shown.record, shown.mounted, seen_from(looking, back)),
        width=WIDTH,
        back=back,
        own=cars.owned(db, car),
        theirs_until=reach.since_sent(db, car_id),
        visits=() if back else visiting.history(db, car_id),
        reports=() if back else reports.of_car(db, car_id),
        directives=() if back else directive_list.of_car(db, car_id, _from(looking)),
        told_orders=() if back else told_orders.of_car(db, car_id),
        outcomes=OUTCOMES,
    )


def _from(looking: Seen) -> MatchFilter:
    return MatchFilter(looking.stamp.today, looking.soon_days)


def _part_page(
    request: Request,
    db: Session,
    car: Car,
    items: frozenset[str],
    looking: Seen,
    back: Lookback | None,
) -> HTMLResponse:
    if back:
        raise cars.unknown(car.id)
    return web.page(request, "cars/part.html", car=car, view=part(db, car, items, looking))


def _new_car(values: dict[str, Any]) -> NewCar:
    def of(asked: tuple[Field, ...]) -> dict[str, Any]:
        return {each.name: values[each.name] for each in asked if each.name in values}

    details = (*fields.SPECIFICATION, *fields.TANK, *fields.MINIMA)
    lading = of(fields.LADING)
    return NewCar(
        NewName(**of(fields.NAME)),
        NewOwnership(**of(fields.OWNERSHIP)),
        CarDetails(**of(details)),
        service=NewService(**lading) if "commodity" in lading else None,
    )


def _shown(request: Request, db: Session, entries: Entries, status: int = 200) -> HTMLResponse:
    form = FactForm(
        "Add a car", LEAD, "/cars", with_suggestions(db, GROUPS), entries, "Add", None,
        "A wrong fact here makes a wrong date. Take it from the certificate of construction.",
    )  # fmt: skip
    return web.page(request, "facts/form.html", status, car=None, form=form)

"""Work at a car, online and without scripts: finding it, what is due of it and how, recording one item.

`/field` starts the tablet's program where scripts run; the same first page stands beside it where they do not.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import Response
from sqlalchemy.orm import Session

from app import web
from app.actions import events as actions
from app.actions.pack import instruction
from app.actions.qualifications import qualification_warnings
from app.actions.reasons import told
from app.core.facts import EVENT_ITEMS
from app.core.words import words
from app.errors import NotFound, Refused
from app.pages import event_form, fields, forms
from app.pages.changing import Done, Looking, Seen, attempt
from app.pages.event_form import EventForm, Judge
from app.pages.events import judge
from app.pages.forms import Entries
from app.rules.field_work import field_work
from app.store import cars, due, facilities, instructions, visiting
from app.store.cars import RegisterFilter
from app.store.due import DueFilter, DueListRow
from app.store.names import read_prefix
from app.store.tables import Car
from app.web import field_program  # noqa: F401  templates know its addresses by it

router = APIRouter()

AT_ONCE = 40
# Items at which somebody measures the tank; of others it would be a spot check out of place.
MEASURED = ("visual", "structural_integrity", "thickness", "lining")


@dataclass(frozen=True, slots=True)
class AtCar:
    """A car at which somebody stands, and what its readings are judged against."""

    car: Car
    against: Judge
    item: str
    viewer_id: int


@router.get("/field")
@web.may("record_work")
def field(request: Request, db: web.Db, looking: Looking, q: str = "") -> Response:
    return web.page(request, "field/index.html", **_work(db, looking, q))


@router.get("/field/today")
@web.may("record_work")
def today(request: Request, db: web.Db, looking: Looking, q: str = "") -> Response:
    return web.page(request, "field/today.html", **_work(db, looking, q))


@router.get("/field/cars/{car_id}")
@web.may("record_work")
def at_car(request: Request, car_id: web.Key, db: web.Db, looking: Looking) -> Response:
    car, only = cars.part_or_raise(db, car_id)
    day = looking.stamp.today
    possible = {item for item, _ in judge(db, car, day, only).inspections}
    items = told(db, due.for_car(db, car_id, day, looking.soon_days), day)
    return web.page(
        request,
        "field/car.html",
        car=car,
        owner=cars.party_names(db)[car.owner_id],
        items=items,
        possible=possible,
        visit=visiting.open_of(db, car_id) if only is None else None,
    )


@router.get("/field/cars/{car_id}/{item}")
@web.may("record_work")
def item_form(
    request: Request,
    car_id: web.Key,
    item: str,
    db: web.Db,
    looking: Looking,
    viewer: web.Seeing,
) -> Response:
    at = _at(db, car_id, item, looking, viewer.person_id)
    blank = event_form.blank() if item in MEASURED else event_form.blank_for_many()
    started = blank.more({"happened_on": str(looking.stamp.today), "inspector": viewer.name})
    return _shown(request, db, at, started, looking)


@router.post("/field/cars/{car_id}/{item}")
@web.may("record_work")
def record_item(
    request: Request,
    car_id: web.Key,
    item: str,
    posted: web.Posted,
    db: web.Db,
    looking: Looking,
    viewer: web.Seeing,
) -> Response:
    at = _at(db, car_id, item, looking, viewer.person_id)
    typed: dict[str, Any] = {**forms.typed(posted), "items": [item], "opens": []}
    if "more" in posted:
        return _shown(request, db, at, event_form.more_rows(Entries(typed)), looking)
    event, entries = event_form.read_event(typed)
    if event is None:
        return _shown(request, db, at, entries, looking, 422)
    event = actions.under_own_key(db, [car_id], event)
    made = attempt(
        db, car_id, looking, lambda: actions.record_event(db, car_id, event, looking.stamp)
    )
    if isinstance(made, list):
        return _shown(request, db, at, event_form.beside(made, entries), looking, 422)
    done = Done(
        "Recorded", f"What was done on {event.happened_on} is on record: {words(item)}.", made.moved
    )
    return web.page(request, "field/recorded.html", car=at.car, done=done, event_id=made.given.id)


def _work(db: Session, seen: Seen, q: str) -> dict[str, Any]:
    """Cars found by a beginning of mark and number; or those in one's shop, and own ones due now, overdue or soon."""
    if q.strip():
        found, problem = _found(db, q)
        return {"q": q, "found": found, "problem": problem, "visits": (), "overdue": (), "soon": ()}
    day = seen.stamp.today
    mine = set(cars.own_party_names(db))
    visits = [each for each in visiting.going_on(db) if each.shop in mine or not each.own]
    late = DueFilter(day, seen.soon_days, overdue=True)
    soon = replace(late, overdue=False, status="soon")
    return {
        "q": "", "found": None, "problem": "", "visits": visits,
        "overdue": _inspected(db, late),
        "soon": _inspected(db, soon),
    }  # fmt: skip


def _inspected(db: Session, wanted: DueFilter) -> list[DueListRow]:
    """The first rows of a list; last days are counted, so nobody works on them."""
    rows = due.page(db, wanted, limit=2 * AT_ONCE).rows
    return [row for row in rows if row.item in EVENT_ITEMS][:AT_ONCE]


def _found(db: Session, q: str) -> tuple[Sequence[cars.CarListRow], str]:
    try:
        search = read_prefix(q)
    except Refused as wrong:
        return (), str(wrong)
    wanted = RegisterFilter(search=search, once_so_named=cars.once_beginning(db, search))
    return cars.register(db, wanted, limit=AT_ONCE).rows, ""


def _at(db: Session, car_id: int, item: str, seen: Seen, viewer_id: int) -> AtCar:
    """The car and what is judged; NotFound where this item is not inspected on it."""
    car, only = cars.part_or_raise(db, car_id)
    against = judge(db, car, seen.stamp.today, only)
    if item not in EVENT_ITEMS or item not in dict(against.inspections):
        raise NotFound("Nothing of this kind is inspected on this car. Open the car anew.")
    return AtCar(car, against, item, viewer_id)


def _shown(
    request: Request, db: Session, at: AtCar, entries: Entries, seen: Seen, status: int = 200
) -> Response:
    car, item, day = at.car, at.item, seen.stamp.today
    own = instructions.in_force(db, {car.owner_id}, day).get((car.owner_id, item))
    steps = instruction(item, own)
    asked = {step.caution for step in steps.steps}
    measures = item in MEASURED and at.against.judges
    form = EventForm(
        f"Record: {words(item)}", "",
        f"/field/cars/{car.id}/{item}", "Record", entries, (),
        at.against.verdicts(entries) if measures else {}, fields=_fields(db),
        with_readings=measures, with_changes=False, last=at.against.last,
    )  # fmt: skip
    return web.page(
        request,
        "field/item.html",
        status,
        car=car,
        item=item,
        form=form,
        steps=steps,
        cautions=[each for each in field_work().cautions if each.id in asked],
        warnings=qualification_warnings(db, at.viewer_id, [item], day),
    )


def _fields(db: Session) -> tuple[forms.Field, ...]:
    """The fields of a report, with the facilities of one's own to choose from."""
    names = tuple(each.row.name for each in facilities.mine(db))
    return tuple(
        fields.with_choices(replace(each, control="suggest"), names)
        if each.name == "facility"
        else each
        for each in event_form.FIELDS
    )

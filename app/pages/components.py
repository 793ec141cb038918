"""Putting components on a car, taking them off, swapping them, mending what was recorded of that."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse
from sqlalchemy.orm import Session

from app import web
from app.actions import bench, rulebooks
from app.actions import components as actions
from app.actions.changes import NewComponent, NewInstallation
from app.actions.stamp import Stamp
from app.core.relief import Judged, in_words
from app.errors import Fault, NotFound
from app.files import cells, days
from app.pages import fields, forms
from app.pages.changing import Done, Looking, attempt, changed
from app.pages.facts import FactForm, stated
from app.pages.fields import Group
from app.pages.forms import Entries, Field, Typed
from app.store import cars, components
from app.store.tables import Car, Component, Installation

router = APIRouter()
Values = dict[str, Any]

CAUTION = (
    "Work on valves, relief devices and other equipment belongs to a qualified shop: by the owner’s "
    "written instructions, the site’s own procedures and the rule in force."
)
NAMES = ("kind", "maker", "model", "lot", "serial")
PUT_ON, IS_CHANGE = fields.INSTALLED
WHAT = Group("Component", fields.COMPONENT)
DEVICE = Group("For a relief device or valve", fields.DEVICE)
INSTALL = (WHAT, Group("When", fields.INSTALLED), DEVICE)
REMOVE = (
    Group(
        "When",
        (
            Field("removed_on", "Taken off", days.day, "The day", "day", (), True),
            replace(
                IS_CHANGE, hint="Yes records the change, and a leakage test is due (180.509(j))"
            ),
        ),
    ),
)
SWAP = (
    WHAT,
    Group("When", (replace(PUT_ON, label="Swapped", hint="The day; left empty, today"),)),
    DEVICE,
)
# Ticked where a device was left opening outside its tolerance; shown only then.
CONFIRMED = Field("confirmed", "Looked again", cells.yes_or_no)
# Ticked where a relief device is said to be in a place that another has; shown only then.
BESIDE = Field("beside_another", "Both are there", cells.yes_or_no)
CORRECT = (WHAT, Group("When", (PUT_ON,)), DEVICE)
WITHDRAW = (Group("Why", (fields.WHY,)),)


@dataclass(frozen=True, slots=True)
class Act:
    """Something to do with a component on a car: its form, and the action that does it."""

    title: str
    lead: str
    groups: tuple[Group, ...]
    act: Callable[[Session, int, Values, Stamp], object]
    done: str
    filled: bool = False

    @property
    def fields(self) -> tuple[Field, ...]:
        return _asked(self.groups)

    @property
    def judges(self) -> bool:
        return DEVICE in self.groups


def _asked(groups: tuple[Group, ...]) -> tuple[Field, ...]:
    asked = tuple(each for group in groups for each in group.fields)
    return (*asked, CONFIRMED, BESIDE) if DEVICE in groups else asked


def _new(values: Values) -> NewInstallation:
    held = stated(values)
    component = NewComponent(**{name: held.pop(name) for name in NAMES if name in held})
    installed: days.Day | None = held.pop("installed_on", None)
    new = NewInstallation(component=component, **held)
    if installed is None:
        return new
    return replace(new, installed_on=installed.on, installed_month_only=installed.month_only)


ACTS: Mapping[str, Act] = {
    "remove": Act(
        "Take off a component",
        "It stays in the history of the car.",
        REMOVE,
        lambda db, key, values, stamp: actions.remove(
            db, key, values["removed_on"], stamp, is_change=values["is_change"]
        ),
        "It is off the car.",
    ),
    "swap": Act(
        "Swap a component",
        "It comes off, and what you enter takes its place on the same day; a leakage test is due.",
        SWAP,
        lambda db, key, values, stamp: actions.swap(db, key, _new(values), stamp),
        "The other is on the car in its place.",
    ),
    "correct": Act(
        "Correct a component",
        "A new record takes the place of this one; both stay in the history.",
        CORRECT,
        lambda db, key, values, stamp: actions.correct(db, key, _new(values), stamp),
        "The record was replaced.",
        filled=True,
    ),
    "withdraw": Act(
        "Withdraw a component",
        "Use this when it never was on the car. If it came off, take it off instead. If a change was "
        "recorded with it, that event stays and a leakage test stays due: withdraw it too.",
        WITHDRAW,
        lambda db, key, values, stamp: actions.withdraw(db, key, values["reason"], stamp),
        "The record no longer counts; it stays in the history.",
    ),
    "undo-removal": Act(
        "Undo taking a component off",
        "Use this when it never came off: it counts as on the car all along. If a change was "
        "recorded with it, withdraw that event too.",
        WITHDRAW,
        lambda db, key, values, stamp: actions.withdraw_removal(db, key, values["reason"], stamp),
        "It is on the car all along.",
    ),
}


@router.get("/cars/{car_id}/components/new")
@web.may("record_work")
def install_form(request: Request, car_id: web.Key, db: web.Db, viewer: web.Seeing) -> HTMLResponse:
    car = cars.car_or_raise(db, car_id)
    new = {"is_change": True, "pressure_unit": viewer.prefers.pressure}
    return _installing(request, db, car, forms.filled(new))


@router.get("/cars/{car_id}/components/verdict")
@web.may("record_work")
def bench_verdict(request: Request, car_id: web.Key, db: web.Db) -> HTMLResponse:
    """The pressures of a form not yet sent, judged at once."""
    car, asked = cars.car_or_raise(db, car_id), request.query_params
    entries = Entries({name: asked.getlist(name) for name in asked})
    judged = _judged(db, car, entries)
    return web.partial(request, "components/_bench.html", judged=judged, entries=entries)


@router.post("/cars/{car_id}/components")
@web.may("record_work")
def install(
    request: Request, car_id: web.Key, posted: web.Posted, db: web.Db, looking: Looking
) -> HTMLResponse:
    car = cars.car_or_raise(db, car_id)
    values, entries = forms.read(_asked(INSTALL), forms.typed(posted))
    if entries.problems:
        return _installing(request, db, car, entries, status=422)
    new = _new(values)
    made = attempt(db, car_id, looking, lambda: actions.install(db, car_id, new, looking.stamp))
    if isinstance(made, list):
        return _installing(request, db, car, _beside(entries, made, values), status=422)
    told = f"{_name(new.component)} is on the car.{_outside(_judged(db, car, entries))}"
    done = Done("Installed", told, made.moved)
    return changed(request, db, car_id, done)


@router.get("/installations/{installation_id}/{kind}")
@web.may("record_work")
def act_form(
    request: Request, installation_id: web.Key, kind: str, db: web.Db, viewer: web.Seeing
) -> HTMLResponse:
    act, (installation, component, car) = _act(kind), _mounted(db, installation_id)
    held = _on_record(installation, component)
    if not act.filled:
        # What takes its place or takes it off is new: only where and what kind is kept.
        kept = {name: held[name] for name in ("kind", "position")}
        held = kept | {"is_change": True, "pressure_unit": viewer.prefers.pressure}
    return _acting(request, db, car, kind, (installation, component), forms.filled(held))


@router.post("/installations/{installation_id}/{kind}")
@web.may("record_work")
def carry_out(
    request: Request,
    installation_id: web.Key,
    kind: str,
    posted: web.Posted,
    db: web.Db,
    looking: Looking,
) -> HTMLResponse:
    act, (installation, component, car) = _act(kind), _mounted(db, installation_id)
    values, entries = forms.read(act.fields, forms.typed(posted))
    if entries.problems:
        return _acting(request, db, car, kind, (installation, component), entries, 422)
    made = attempt(db, car.id, looking, lambda: act.act(db, installation_id, values, looking.stamp))
    if isinstance(made, list):
        entries = _beside(entries, made, values)
        return _acting(request, db, car, kind, (installation, component), entries, 422)
    judged = _judged(db, car, entries) if act.judges else ()
    done = Done(act.title, f"{_name(component)}: {act.done}{_outside(judged)}", made.moved)
    return changed(request, db, car.id, done)


def _act(kind: str) -> Act:
    if kind not in ACTS:
        raise NotFound(f"A component cannot be asked to {kind!r}; want {', '.join(ACTS)}.")
    return ACTS[kind]


def _mounted(db: Session, installation_id: int) -> tuple[Installation, Component, Car]:
    installation = components.installation_or_raise(db, installation_id)
    component = components.component_of(db, installation)
    return installation, component, cars.car_or_raise(db, installation.car_id)


def _on_record(installation: Installation, component: Component) -> Values:
    """What is recorded, by field."""
    values = {name: getattr(component, name) for name in NAMES}
    for each in (*fields.COMPONENT, *fields.DEVICE):
        values.setdefault(each.name, _held(installation, each))
    day = installation.installed_on
    month = day is not None and installation.installed_month_only
    return values | {"installed_on": f"{day:%Y-%m}" if month else day}


def _held(installation: Installation, each: Field) -> Any:
    if each.measure:
        return installation.as_stated(each.name)
    return getattr(installation, each.name, None)


def _name(component: Component | NewComponent) -> str:
    said = (component.kind.replace("_", " "), component.maker, component.model, component.serial)
    named = " ".join(part for part in said if part)
    return named[:1].upper() + named[1:]


def _judged(db: Session, car: Car, entries: Entries) -> tuple[Judged, ...]:
    """What was typed of a relief device against what it may be; what cannot be read is left out."""
    values, _ = forms.read(fields.DEVICE, entries.typed)
    rulebook = rulebooks.in_force(db).of(car.owner_id).rulebook
    return bench.judged(car.specification, car.built_on, entries.text("kind"), values, rulebook)


def _outside(judged: tuple[Judged, ...]) -> str:
    """A sentence for each pressure outside its range, to follow what was done."""
    return "".join(f" {in_words(each)}." for each in judged if each.verdict == "outside")


def _beside(entries: Entries, faults: list[Fault], values: Typed | Values) -> Entries:
    named = {fault.path: fault.path.rpartition(".")[2] for fault in faults}
    return entries.wrong(forms.beside(faults, values, named))


def _in_units(groups: tuple[Group, ...], entries: Entries) -> tuple[Group, ...]:
    """The fields labelled in the unit in which the form takes a number."""
    return tuple(
        replace(group, fields=tuple(forms.in_its_unit(each, entries) for each in group.fields))
        for group in groups
    )


def _installing(
    request: Request, db: Session, car: Car, entries: Entries, status: int = 200
) -> HTMLResponse:
    lead = (
        "What is on the car, where, and since when. Several relief devices keep each its own date."
    )
    form = FactForm(
        "Install a component", lead, f"/cars/{car.id}/components", _in_units(INSTALL, entries),
        entries, "Record", None, CAUTION,
    )  # fmt: skip
    judged = _judged(db, car, entries)
    return web.page(request, "components/form.html", status, car=car, form=form, judged=judged)


def _acting(
    request: Request,
    db: Session,
    car: Car,
    kind: str,
    mounted: tuple[Installation, Component],
    entries: Entries,
    status: int = 200,
) -> HTMLResponse:
    (installation, component), act = mounted, ACTS[kind]
    lead = f"{_name(component)}, {installation.position or 'position not stated'}. {act.lead}"
    form = FactForm(
        act.title, lead, f"/installations/{installation.id}/{kind}", _in_units(act.groups, entries),
        entries, "Record", None, CAUTION,
    )  # fmt: skip
    if not act.judges:
        return web.page(request, "facts/form.html", status, car=car, form=form)
    judged = _judged(db, car, entries)
    return web.page(request, "components/form.html", status, car=car, form=form, judged=judged)

"""Recording a dated fact of a car: a new row, and those before it stay in its history."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse
from sqlalchemy.orm import Session

from app import web
from app.actions import cars as actions
from app.actions.facts import fact_or_raise
from app.errors import NotFound
from app.pages import fields, forms
from app.pages.changing import Done, Looking, Seen, attempt, changed
from app.pages.fact_forms import FACTS, Fact
from app.pages.fact_history import called
from app.pages.fields import Group
from app.pages.forms import Entries
from app.store import car_counts, cars, ladings
from app.store.cars import Histories
from app.store.columns import BEGINNING, CarFact
from app.store.tables import Car, HoldFact, Lading, Ownership

router = APIRouter()


@dataclass(frozen=True, slots=True)
class Chooser:
    """A list that fills the form: what it is called, what is on it, and what was chosen."""

    label: str
    names: tuple[str, ...]
    chosen: str
    hint: str


@dataclass(frozen=True, slots=True)
class FactForm:
    """What the template of a fact's form shows."""

    title: str
    lead: str
    action: str
    groups: tuple[Group, ...]
    entries: Entries
    button: str
    chooser: Chooser | None
    caution: str

    @property
    def labels(self) -> dict[str, str]:
        return forms.labels(each for group in self.groups for each in group.fields)


@router.get("/cars/{car_id}/facts/{kind}")
@web.may("record_facts")
def fact_form(
    request: Request, car_id: web.Key, kind: str, db: web.Db, looking: Looking, choose: str = ""
) -> HTMLResponse:
    car, fact = cars.car_or_raise(db, car_id), _fact(kind)
    entries = forms.filled(_on_record(fact, cars.histories(db, car_id), looking))
    if kind == "lading" and choose:
        entries = _with_lading(entries, ladings.by_name(db, choose), choose)
    return _shown(request, db, car, kind, entries, choose=choose)


@router.post("/cars/{car_id}/facts/{kind}")
@web.may("record_facts")
def record_fact(
    request: Request, car_id: web.Key, kind: str, posted: web.Posted, db: web.Db, looking: Looking
) -> HTMLResponse:
    car, fact = cars.car_or_raise(db, car_id), _fact(kind)
    values, entries = forms.read(fact.fields, forms.typed(posted))
    if entries.problems:
        return _shown(request, db, car, kind, entries, status=422)
    new = fact.make(**stated(values))
    made = attempt(db, car_id, looking, lambda: fact.act(db, car_id, new, looking.stamp))
    if isinstance(made, list):
        entries = entries.wrong(forms.beside(made, values))
        return _shown(request, db, car, kind, entries, status=422)
    done = Done(fact.title, fact.done + _later(db, car_id, fact, made.given), made.moved)
    return changed(request, db, car_id, done)


@router.get("/facts/{table}/{row_id}/withdraw")
@web.may("record_facts")
def withdrawal_form(request: Request, table: str, row_id: web.Key, db: web.Db) -> HTMLResponse:
    row = fact_or_raise(db, table, row_id)
    return _withdrawing(request, db, table, row, Entries())


@router.post("/facts/{table}/{row_id}/withdraw")
@web.may("record_facts")
def withdraw(
    request: Request, table: str, row_id: web.Key, posted: web.Posted, db: web.Db, looking: Looking
) -> HTMLResponse:
    row = fact_or_raise(db, table, row_id)
    car = cars.car_or_raise(db, row.car_id)
    values, entries = forms.read((fields.WHY,), forms.typed(posted))
    if entries.problems:
        return _withdrawing(request, db, table, row, entries, 422)
    made = attempt(
        db,
        car.id,
        looking,
        lambda: actions.withdraw_fact(db, table, row_id, values["reason"], looking.stamp),
    )
    if isinstance(made, list):
        entries = entries.wrong(forms.beside(made, values))
        return _withdrawing(request, db, table, row, entries, 422)
    sentence = "What was recorded no longer counts; what was before it holds again."
    return changed(request, db, car.id, Done("Withdrawn", sentence, made.moved))


def _withdrawing(
    request: Request, db: Session, table: str, row: CarFact, entries: Entries, status: int = 200
) -> HTMLResponse:
    lead = (
        "Use this when it should never have been recorded, or from another day. It stays in the "
        "history, with who withdrew it and why; what was recorded before it holds again."
    )
    form = FactForm(
        "Withdraw a fact",
        f"{called(table, row)} {lead}",
        request.url.path,
        (Group("Why", (fields.WHY,)),),
        entries,
        "Withdraw",
        None,
        "",
    )
    car = cars.car_or_raise(db, row.car_id)
    return web.page(request, "facts/form.html", status, car=car, form=form)


def stated(values: Mapping[str, Any]) -> dict[str, Any]:
    """What was filled in; an empty field leaves what the change takes for not stated."""
    return {name: value for name, value in values.items() if value is not None}


def _fact(kind: str) -> Fact:
    if kind not in FACTS:
        raise NotFound(f"There is no form for {kind!r}. The car’s page lists those there are.")
    return FACTS[kind]


def _on_record(fact: Fact, histories: Histories, looking: Seen) -> dict[str, Any]:
    """What is in force, by field, with the day from which the new row is to hold."""
    if fact.rows is None or not fact.fills:
        return {"from_on": looking.stamp.today}
    held = next((each.row for each in getattr(histories, fact.rows) if each.in_force), None)
    values = values_of(fact, held, histories.parties) if held else {}
    from_on = held.from_on if held and fact.keeps_from else looking.stamp.today
    needed = any(each.name == "from_on" and each.needed for each in fact.fields)
    return values | {"from_on": None if needed or from_on == BEGINNING else from_on}


def values_of(fact: Fact, row: CarFact, parties: Mapping[int, str]) -> dict[str, Any]:
    """What a row states, by field of its form."""
    values = {each.name: getattr(row, each.name, None) for each in fact.fields}
    if isinstance(row, Ownership):
        values |= {
            name: parties.get(getattr(row, f"{name}_id"))
            for name in ("owner", "lining_owner", "equipment_owner")
        }
    return values


def _with_lading(entries: Entries, lading: Lading | None, choose: str) -> Entries:
    """The form filled from an entry of the list; the rest as it stood."""
    if lading is None:
        return entries.wrong({"": f"{choose!r} is not on the list of ladings. Fill in the form."})
    named = {each.name: getattr(lading, each.name, None) for each in fields.LADING}
    chosen = forms.filled(named | {"commodity": lading.name})
    return replace(entries, typed={**entries.typed, **chosen.typed})


def _later(db: Session, car_id: int, fact: Fact, given: CarFact) -> str:
    """Says when a row from a later day stays in force, so that nobody wonders why nothing moved."""
    rows = getattr(cars.histories(db, car_id), fact.rows) if fact.rows else ()
    held = next((each.row for each in rows if each.in_force), None)
    if held is None or held.id == given.id:
        return ""
    told = f" What was recorded from {held.from_on} on is later and stays in force"
    if isinstance(held, HoldFact):
        told += f": the car is {'' if held.held else 'not '}on hold"
    return f"{told}."


def _shown(
    request: Request,
    db: Session,
    car: Car,
    kind: str,
    entries: Entries,
    choose: str = "",
    status: int = 200,
) -> HTMLResponse:
    fact = FACTS[kind]
    groups = with_suggestions(db, fact.groups) if kind == "owner" else fact.groups
    form = FactForm(
        fact.title, fact.lead, f"/cars/{car.id}/facts/{kind}", groups, entries,
        "Record", _chooser(db, choose) if kind == "lading" else None, fact.caution,
    )  # fmt: skip
    return web.page(request, "facts/form.html", status, car=car, form=form)


def _chooser(db: Session, chosen: str) -> Chooser:
    names = tuple(each.name for each in ladings.all(db))
    return Chooser("From the list of ladings", names, chosen, "Or fill in the form by hand")


def with_suggestions(db: Session, groups: tuple[Group, ...]) -> tuple[Group, ...]:
    parties = tuple(cars.own_party_names(db))
    held = {"region": tuple(car_counts.regions(db))}
    return tuple(
        replace(group, fields=tuple(
            fields.with_choices(each, held.get(each.name, parties)) if each.control == "suggest" else each
            for each in group.fields
        ))
        for group in groups
    )  # fmt: skip

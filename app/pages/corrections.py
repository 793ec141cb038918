"""Correcting a dated fact that was recorded wrongly: its form filled with what it says now."""

from __future__ import annotations

from dataclasses import replace

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse
from sqlalchemy.orm import Session

from app import web
from app.actions import cars as actions
from app.actions.facts import TABLES, fact_or_raise
from app.pages import forms
from app.pages.changing import Done, Looking, attempt, changed
from app.pages.fact_forms import FACTS, Fact
from app.pages.fact_history import KINDS
from app.pages.facts import FactForm, stated, values_of, with_suggestions
from app.pages.fields import Group
from app.pages.forms import Entries
from app.store import cars
from app.store.columns import BEGINNING, CarFact

router = APIRouter()

LEAD = (
    "Use this when it was recorded wrongly. A new record takes the place of this one; both stay in the "
    "history. For what changed on the car since, record the change instead."
)
TITLES = {kind: title for kind, title, *_ in KINDS}
HELD_FROM = "First day on which it held; left empty, from where the record it replaces did"


@router.get("/facts/{table}/{row_id}/correct")
@web.may("record_facts")
def correction_form(request: Request, table: str, row_id: web.Key, db: web.Db) -> HTMLResponse:
    row = fact_or_raise(db, table, row_id)
    values = values_of(_fact(row), row, cars.party_names(db))
    from_on = None if row.from_on == BEGINNING else row.from_on
    return _correcting(request, db, row, forms.filled(values | {"from_on": from_on}))


@router.post("/facts/{table}/{row_id}/correct")
@web.may("record_facts")
def correct(
    request: Request, table: str, row_id: web.Key, posted: web.Posted, db: web.Db, looking: Looking
) -> HTMLResponse:
    row = fact_or_raise(db, table, row_id)
    fact = _fact(row)
    values, entries = forms.read(fact.fields, forms.typed(posted))
    if entries.problems:
        return _correcting(request, db, row, entries, 422)
    new = fact.make(**stated(values))
    made = attempt(
        db, row.car_id, looking,
        lambda: actions.correct_fact(db, table, row_id, new, looking.stamp),
    )  # fmt: skip
    if isinstance(made, list):
        entries = entries.wrong(forms.beside(made, values))
        return _correcting(request, db, row, entries, 422)
    done = Done("Corrected", "The record was replaced.", made.moved)
    return changed(request, db, row.car_id, done)


def _kind(row: CarFact) -> str:
    """What the row states, as its form is called; a conversion is mended as any specification."""
    made = next(made for made, table in TABLES.items() if isinstance(row, table))
    return next(kind for kind, fact in FACTS.items() if fact.make is made)


def _fact(row: CarFact) -> Fact:
    return FACTS[_kind(row)]


def _correcting(
    request: Request, db: Session, row: CarFact, entries: Entries, status: int = 200
) -> HTMLResponse:
    fact, car = _fact(row), cars.car_or_raise(db, row.car_id)
    form = FactForm(
        f"Correct: {TITLES[_kind(row)].lower()}", LEAD, request.url.path,
        with_suggestions(db, tuple(_held_from(group) for group in fact.groups)), entries,
        "Record the correction", None, fact.caution,
    )  # fmt: skip
    return web.page(request, "facts/form.html", status, car=car, form=form)


def _held_from(group: Group) -> Group:
    """The day of a correction is that of the record it replaces, unless another is typed."""
    asked = (
        replace(each, hint=HELD_FROM, needed=False) if each.name == "from_on" else each
        for each in group.fields
    )
    return replace(group, fields=tuple(asked))

"""The list of ladings to choose from: each with what it means for the tank; adding and changing one."""

from __future__ import annotations

from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import Response

from app import web
from app.actions import ladings as actions
from app.actions import rulebooks
from app.actions.changes import NewLading
from app.core.facts import Service
from app.core.lading import Corrosive, corrosive, on_list
from app.core.rule import Rulebook
from app.errors import Problem
from app.pages import fields, forms
from app.pages.changing import faults_of, kept
from app.pages.forms import Entries, Field
from app.store import ladings
from app.store.tables import Lading

router = APIRouter()

# The same facts as on a car's form; only the name is called otherwise.
FIELDS: tuple[Field, ...] = tuple(
    replace(each, name="name", label="Name") if each.name == "commodity" else each
    for each in fields.LADING
    if each.name != "fluorinated_hydrocarbon_only"
)


@dataclass(frozen=True, slots=True)
class Line:
    """An entry, and whether a tank that carries it counts as in a corrosive service."""

    lading: Lading
    listed: bool
    corrosive: Corrosive


@router.get("/ladings")
@web.may("read")
def ladings_list(request: Request, db: web.Db) -> Response:
    rulebook = rulebooks.in_force(db).everyone.rulebook
    lines = [line(each, rulebook) for each in ladings.all(db)]
    saved = request.query_params.get("saved", "")
    return web.page(request, "ladings/list.html", lines=lines, saved=saved)


@router.get("/ladings/new")
@web.may("keep_ladings")
def new_lading(request: Request) -> Response:
    return _form(request, Entries())


@router.post("/ladings/new")
@web.may("keep_ladings")
def add_lading(request: Request, posted: web.Posted, db: web.Db) -> Response:
    return _save(request, posted, db, None)


@router.get("/ladings/{lading_id}")
@web.may("read")
def change_lading(request: Request, lading_id: web.Key, db: web.Db) -> Response:
    lading = ladings.lading_or_raise(db, lading_id)
    stored = {each.name: getattr(lading, each.name) for each in FIELDS}
    return _form(request, forms.filled(stored), lading)


@router.post("/ladings/{lading_id}")
@web.may("keep_ladings")
def save_lading(request: Request, lading_id: web.Key, posted: web.Posted, db: web.Db) -> Response:
    return _save(request, posted, db, ladings.lading_or_raise(db, lading_id))


def _save(request: Request, posted: web.Sent, db: web.Db, lading: Lading | None) -> Response:
    values, entries = forms.read(FIELDS, forms.typed(posted))
    if entries.problems:
        return _form(request, entries, lading, 422)
    new = NewLading(**_stated(values))
    saved = kept(db, lambda: actions.save(db, new, lading.id if lading else None))
    if isinstance(saved, Problem):
        beside = forms.beside(faults_of(saved), values)
        return _form(request, entries.wrong(beside), lading, 422)
    return web.see_other(f"/ladings?saved={saved.id}#lading-{saved.id}")


def _stated(values: dict[str, Any]) -> dict[str, Any]:
    """Without what was left empty where the record wants a word: not stated counts as hazardous."""
    return values | {"hazardous": values["hazardous"] is not False}


def _form(
    request: Request, entries: Entries, lading: Lading | None = None, status: int = 200
) -> Response:
    labels = {each.name: each.label for each in FIELDS}
    return web.page(
        request,
        "ladings/form.html",
        status,
        lading=lading,
        entries=entries,
        fields=FIELDS,
        labels=labels,
    )


def line(lading: Lading, rulebook: Rulebook) -> Line:
    """An entry with what it means for a tank."""
    rate = lading.corrosion_rate_mil_per_year
    service = Service(
        commodity=lading.name,
        un=lading.un,
        corrosive_or_reactive=lading.corrosive_or_reactive,
        corrosion_rate_mil_per_year=None if rate is None else Fraction(rate),
    )
    listed = on_list(lading.name, rulebook.corrosive)
    return Line(lading, listed, corrosive(service, rulebook))

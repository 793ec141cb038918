"""Owners' own steps for each due item, beside those built in: the list, adding, correcting, withdrawing."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import Response
from sqlalchemy.orm import Session

from app import web
from app.actions import instructions as actions
from app.actions.instructions import NewInstruction, NewStep
from app.core.facts import EVENT_ITEMS
from app.core.words import capitalized, words
from app.errors import Problem
from app.files import cells, days
from app.pages import fields, forms
from app.pages.changing import Looking, faults_of, kept
from app.pages.facts import FactForm
from app.pages.fields import Group
from app.pages.forms import Choice, Entries, Field
from app.rules.field_work import field_work
from app.store import cars, instructions
from app.store.instructions import Instructed

router = APIRouter()

LIST = ("/instructions", "Steps of work")
ITEMS: tuple[Choice, ...] = tuple((item, capitalized(words(item))) for item in EVENT_ITEMS)
MEASURES: tuple[Choice, ...] = (
    ("look", "Look"), ("reading", "Measure thickness"), ("bench", "Bench test"),
    ("lining", "Lining"), ("leak", "Leakage test"), ("number", "Write down a number"),
    ("photograph", "Photograph"),
)  # fmt: skip
HEAD = (
    Field("owner", "Owner", cells.text, "On whose cars it holds", "suggest", (), True),
    Field("item", "Due item", forms.one_of(ITEMS), "", "choice", ITEMS, True),
    Field("from_on", "From", days.day, "First day on which it holds", "day", (), True),
    Field("edition", "Document", cells.text, "What you call the written instruction"),
    Field(
        "in_place_of_built_in", "In place of the built-in steps", cells.yes_or_no,
        "Else they stand behind the built-in ones", "tick",
    ),
)  # fmt: skip
STEP = (
    Field("look_at", "What is looked at", cells.text, "", "line", (), True),
    Field("spot", "Where", cells.text),
    Field("measure", "What is done", forms.one_of(MEASURES), "", "choice", MEASURES, True),
    Field("unit", "Unit", cells.text, "Of a number, such as in or psig"),
    Field("acceptance", "Acceptable when", cells.notes, "", "notes"),
    Field("caution", "Caution before it", cells.notes, "", "notes"),
    Field("source", "Rests on", cells.text, "A citation, or nothing"),
)
SAVED = {
    "recorded": "The steps were recorded.",
    "withdrawn": "The steps count no longer; they stay below.",
    "back": "The steps count again.",
}


@dataclass(frozen=True, slots=True)
class StepsForm:
    """What the template of the form shows."""

    title: str
    action: str
    button: str
    entries: Entries
    head: tuple[Field, ...]

    step = STEP

    @property
    def rows(self) -> range:
        return self.entries.rows("steps")

    @property
    def labels(self) -> dict[str, str]:
        found = forms.labels(self.head)
        for row in self.rows:
            of_row = forms.labels(STEP, f"steps.{row}.")
            found |= {name: f"Step {row + 1}, {said.lower()}" for name, said in of_row.items()}
        return found


@router.get("/instructions")
@web.may("read")
def listed(request: Request, db: web.Db) -> Response:
    found = instructions.mine(db)
    return web.page(
        request,
        "instructions/list.html",
        found=[each for each in found if each.row.superseded_at is None],
        withdrawn=[each for each in found if each.withdrawal],
        items=ITEMS,
        names=dict(ITEMS),
        work=field_work(),
        measures=dict(MEASURES),
        titles={each.id: each.title for each in field_work().cautions},
        saved=SAVED.get(request.query_params.get("saved", "")),
    )


@router.get("/instructions/new")
@web.may("record_facts")
def new(request: Request, db: web.Db, today: web.Today, item: str = "") -> Response:
    names = cars.own_party_names(db)
    owner = names[0] if len(names) == 1 else None
    chosen = item if item in EVENT_ITEMS else None
    entries = forms.filled({"owner": owner, "item": chosen, "from_on": today})
    return _form(request, db, "/instructions", _with_step(entries))


@router.post("/instructions")
@web.may("record_facts")
def add(request: Request, posted: web.Posted, db: web.Db, looking: Looking) -> Response:
    return _saved(
        request, db, "/instructions", posted, lambda new: actions.record(db, new, looking.stamp)
    )


@router.get("/instructions/{instruction_id}/correct")
@web.may("record_facts")
def correct_form(request: Request, instruction_id: web.Key, db: web.Db) -> Response:
    shown = instructions.one_or_raise(db, instruction_id)
    return _form(request, db, f"/instructions/{instruction_id}/correct", _stated(shown))


@router.post("/instructions/{instruction_id}/correct")
@web.may("record_facts")
def correct(
    request: Request, instruction_id: web.Key, posted: web.Posted, db: web.Db, looking: Looking
) -> Response:
    instructions.one_or_raise(db, instruction_id)
    return _saved(
        request, db, f"/instructions/{instruction_id}/correct", posted,
        lambda new: actions.correct(db, instruction_id, new, looking.stamp),
    )  # fmt: skip


@router.get("/instructions/{instruction_id}/withdraw")
@web.may("record_facts")
def withdraw_form(request: Request, instruction_id: web.Key, db: web.Db) -> Response:
    return _withdrawing(request, instructions.one_or_raise(db, instruction_id), Entries())


@router.post("/instructions/{instruction_id}/withdraw")
@web.may("record_facts")
def withdraw(
    request: Request, instruction_id: web.Key, posted: web.Posted, db: web.Db, looking: Looking
) -> Response:
    shown = instructions.one_or_raise(db, instruction_id)
    values, entries = forms.read((fields.WHY,), forms.typed(posted))
    if entries.problems:
        return _withdrawing(request, shown, entries, 422)
    made = kept(db, lambda: actions.withdraw(db, instruction_id, values["reason"], looking.stamp))
    if isinstance(made, Problem):
        entries = entries.wrong(forms.beside(faults_of(made), values))
        return _withdrawing(request, shown, entries, 422)
    return web.see_other("/instructions?saved=withdrawn")


@router.post("/instructions/{instruction_id}/bring-back")
@web.may("record_facts")
def bring_back(instruction_id: web.Key, db: web.Db, looking: Looking) -> Response:
    actions.bring_back(db, instruction_id, looking.stamp)
    return web.see_other("/instructions?saved=back")


def _saved(
    request: Request,
    db: Session,
    action: str,
    posted: web.Sent,
    save: Callable[[NewInstruction], object],
) -> Response:
    entries = Entries(forms.typed(posted))
    if "more" in posted:
        return _form(request, db, action, _with_step(entries))
    if "without" in posted:
        return _form(request, db, action, _without(entries, posted.one("without")))
    new, entries = _read(entries)
    if new is None:
        return _form(request, db, action, entries, 422)
    made = kept(db, lambda: save(new))
    if isinstance(made, Problem):
        known = [*(each.name for each in HEAD), *entries.typed]
        entries = entries.wrong(forms.beside(faults_of(made), known))
        return _form(request, db, action, entries, 422)
    return web.see_other("/instructions?saved=recorded")


def _read(entries: Entries) -> tuple[NewInstruction | None, Entries]:
    """What was typed; None, and the form with its problems, when it cannot be taken. Empty rows are left out."""
    entries = _with_rows(entries, [row for row in _rows(entries) if _says(row)])
    values, entries = forms.read(HEAD, entries.typed)
    steps = []
    for place in entries.rows("steps"):
        step, read = forms.read(STEP, entries.typed, f"steps.{place}.")
        entries = entries.wrong(read.problems)
        steps.append({name: value or "" for name, value in step.items()})
    if not steps:
        entries = _with_step(entries).wrong({"steps.0.look_at": "Say at least one step."})
    if entries.problems:
        return None, entries
    instead = bool(values.pop("in_place_of_built_in"))
    edition = values.pop("edition") or ""
    new = NewInstruction(
        **values, edition=edition, in_place_of_built_in=instead,
        steps=tuple(NewStep(**step) for step in steps),
    )  # fmt: skip
    return new, entries


Row = Mapping[str, list[str]]


def _rows(entries: Entries) -> list[Row]:
    """The values of each row of the form."""
    return [
        {each.name: list(entries.chosen(f"steps.{row}.{each.name}")) for each in STEP}
        for row in entries.rows("steps")
    ]


def _says(row: Row) -> bool:
    return any(value.strip() for name, held in row.items() for value in held if name != "measure")


def _with_rows(entries: Entries, rows: list[Row]) -> Entries:
    """The form with these rows in place of its own, numbered anew."""
    typed = {name: held for name, held in entries.typed.items() if not name.startswith("steps.")}
    for place, row in enumerate(rows):
        typed |= {f"steps.{place}.{name}": held for name, held in row.items()}
    return Entries(typed)


def _with_step(entries: Entries) -> Entries:
    place = len(entries.rows("steps"))
    return entries.more({f"steps.{place}.look_at": "", f"steps.{place}.measure": "look"})


def _without(entries: Entries, place: str) -> Entries:
    return _with_rows(
        entries, [row for number, row in enumerate(_rows(entries)) if str(number) != place]
    )


def _stated(shown: Instructed) -> Entries:
    """The form filled with what was recorded, to be corrected."""
    said = actions.said_by(shown)
    values: dict[str, Any] = {each.name: getattr(said, each.name) for each in HEAD}
    for place, step in enumerate(said.steps):
        values |= {f"steps.{place}.{each.name}": getattr(step, each.name) for each in STEP}
    return forms.filled(values)


def _form(
    request: Request, db: Session, action: str, entries: Entries, status: int = 200
) -> Response:
    owner = fields.with_choices(HEAD[0], tuple(cars.own_party_names(db)))
    adding = action == LIST[0]
    form = StepsForm(
        "Add an owner’s steps" if adding else "Correct an owner’s steps", action,
        "Record" if adding else "Record the correction", entries, (owner, *HEAD[1:]),
    )  # fmt: skip
    return web.page(request, "instructions/form.html", status, form=form)


def _withdrawing(
    request: Request, shown: Instructed, entries: Entries, status: int = 200
) -> Response:
    item = dict(ITEMS)[shown.row.item]
    form = FactForm(
        f"Withdraw the steps of {shown.owner}: {item}",
        "Use this when they should hold no longer. What held before holds again, else the built-in steps.",
        f"/instructions/{shown.row.id}/withdraw", (Group("Why", (fields.WHY,)),), entries,
        "Withdraw", None, "",
    )  # fmt: skip
    return web.page(request, "reference/form.html", status, form=form, crumb=LIST)

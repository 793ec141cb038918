"""A new directive: what was ordered, a condition with what it finds while it is written, and freezing that."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import Response
from sqlalchemy.orm import Session

from app import web
from app.actions import directives as actions
from app.actions.directives import NewDirective, Preview, Term
from app.core.component_kinds import COMPONENT_KINDS
from app.core.directive import Condition
from app.core.directive_words import FIELDS, ORDERED_BY
from app.errors import Problem, Refused
from app.files import cells, days
from app.files.columns import MATERIALS
from app.pages import fields, forms
from app.pages.changing import Looking, faults_of, kept
from app.pages.fields import Group, with_choices
from app.pages.forms import Entries, Field
from app.store import cars, facilities, intake, ladings
from app.store.directive_matching import Matched

router = APIRouter()

# Of a preview; all of them are frozen.
SHOWN = 25


def _text(name: str, hint: str = "", control: forms.Control = "line") -> Field:
    return Field(name, FIELDS[name], cells.text, hint, control)


def _day(name: str, label: str, hint: str = "", *, needed: bool = False) -> Field:
    return Field(name, label, days.day, hint, "day", (), needed)


def _tick(name: str, label: str, hint: str = "") -> Field:
    return Field(name, label, cells.yes_or_no, hint, "tick")


def _choice(
    name: str, label: str, choices: Sequence[forms.Choice], hint: str = "", *, needed: bool = False
) -> Field:
    return Field(name, label, forms.one_of(choices), hint, "choice", tuple(choices), needed)


ORDER = (
    _choice("ordered_by", "Ordered by", tuple(ORDERED_BY.items()), needed=True),
    Field("orderer", "Their name", cells.text, "Of at most 50 characters", "line", (), True),
    Field("number", "Number", cells.text, "What the order is called by", "line", (), True),
    Field("title", "Title", cells.text, "What it is about, in a line", "line", (), True),
    _day("ordered_on", "Ordered on", needed=True),
    Field("what", "What is to be done", cells.notes, "", "notes", (), True),
    Field("caution", "Caution", cells.notes, "Shown wherever the order is", "notes"),
)
OF_CARS = (
    _text("specification", "As it begins: DOT 111, or 112J340W"),
    _text("design", "Number of its drawing or approval"),
    _text("builder"),
    _day("built_from", FIELDS["built_from"]),
    _day("built_to", FIELDS["built_to"], "That day included"),
    _choice("material", FIELDS["material"], fields.same(MATERIALS)),
    _text("un", "Such as UN1789"),
    _text("lading", "By its name", "suggest"),
    _text("owner", "", "suggest"),
    _text("lining", "Its kind, such as rubber"),
)
OF_COMPONENTS = (
    _choice(
        "kind", FIELDS["kind"], fields.spoken(COMPONENT_KINDS), "Without one, it is about cars"
    ),
    _text("maker"),
    _text("model"),
    _text("lot"),
    _text("serial_from", "The same letters in front of both: AB100"),
    _text("serial_to", "That one included"),
)
FREEZING = (
    # Not `as_of`: by that an address looks back.
    _day(
        "fleet_on",
        "The fleet as it was on",
        "The cars that matched on this day are frozen",
        needed=True,
    ),
    _tick("takes_later", "Also cars that come to match later"),
    _tick("takes_by_hand", "Also those of which it cannot be told, to be looked at by hand"),
)
_DAYS = cells.whole(0, actions.MOST_DAYS, "a number of days")
TERM = (
    _day("due_on", "Due on", "Either a day"),
    Field(
        "due_days", "Or days after it was found", _DAYS, "For cars that come later too", "number"
    ),
    _tick(
        "forbids_loading",
        "Overdue, the car may not be loaded",
        "Without it, the loading answer asks for a look",
    ),
)
CONDITION = (*OF_CARS, *OF_COMPONENTS)
# Of its cars what few orders state: folded away until somebody states it.
FURTHER = ("design", "built_from", "built_to", "material", "lining")


@dataclass(frozen=True, slots=True)
class Found:
    """A match of a preview with its car's name."""

    car_id: int
    car: str
    matched: Matched


@dataclass(frozen=True, slots=True)
class Seen:
    """What a condition finds, as the page tells it; or what is wrong with it."""

    preview: Preview | None
    as_of: date
    today: date
    rows: Sequence[Found] = ()
    differing: Sequence[tuple[str, Sequence[Found], int]] = ()
    wrong: str = ""
    shown: int = SHOWN


@router.get("/directives/new")
@web.may("record_facts")
def new(request: Request, db: web.Db, today: web.Today) -> Response:
    started = {
        "party": cars.keeper(db),
        "fleet_on": today,
        "ordered_on": today,
        "takes_later": True,
        "takes_by_hand": True,
    }
    return _form(request, db, forms.filled(started), None)


@router.get("/directives/preview")
@web.may("record_facts")
def preview(request: Request, db: web.Db, today: web.Today) -> Response:
    """What the condition finds, while it is being written."""
    typed = {name: request.query_params.getlist(name) for name in request.query_params}
    return web.partial(request, "directives/_preview.html", seen=_seen(db, typed, today))


@router.post("/directives")
@web.may("record_facts")
def freeze(request: Request, posted: web.Posted, db: web.Db, looking: Looking) -> Response:
    """Freeze it; or, where that is asked for, show the form again with what would be frozen."""
    typed, today = forms.typed(posted), looking.stamp.today
    if posted.one("look"):
        return _form(request, db, Entries(typed), _seen(db, typed, today))
    values, entries = forms.read((*ORDER, *CONDITION, *FREEZING, *TERM), typed)
    if entries.problems:
        return _form(request, db, entries, _seen(db, typed, today), 422)
    party_id = _party(db, typed)
    made = kept(db, lambda: actions.freeze(db, _stated(values, party_id), looking.stamp))
    if isinstance(made, Problem):
        told = forms.beside(faults_of(made), values, {"as_of": "fleet_on"})
        return _form(request, db, entries.wrong(told), _seen(db, typed, today), 422)
    return web.see_other(f"/directives/{made.id}?saved=frozen")


def _stated(values: dict[str, Any], party_id: int) -> NewDirective:
    return NewDirective(
        party_id=party_id,
        term=term_of(values),
        condition=_conditions(values),
        caution=values["caution"] or "",
        takes_later=bool(values["takes_later"]),
        takes_by_hand=bool(values["takes_by_hand"]),
        as_of=values["fleet_on"],
        **{
            name: values[name]
            for name in ("ordered_by", "orderer", "number", "title", "what", "ordered_on")
        },
    )


def term_of(values: dict[str, Any]) -> Term:
    """The term that a form states."""
    return Term(
        values["due_on"],
        values["due_days"],
        bool(values["forbids_loading"]),
        values.get("reason") or "",
    )


def _conditions(values: dict[str, Any]) -> dict[str, Any]:
    return {each.name: values[each.name] for each in CONDITION if values[each.name] is not None}


def _party(db: Session, typed: forms.Typed) -> int:
    """Whose cars it is about: the only company, or the one that was chosen."""
    parties = facilities.own_parties(db)
    chosen = forms.whole(Entries(typed).text("party"))
    return chosen if chosen is not None else parties[0].id if parties else 0


def _seen(db: Session, typed: forms.Typed, today: date) -> Seen:
    values, entries = forms.read((*CONDITION, FREEZING[0]), typed)
    as_of: date = values.get("fleet_on") or today
    wrong = [
        f"{label}: {entries.problems[name]}"
        for name, label in forms.labels((*CONDITION, FREEZING[0])).items()
        if name in entries.problems
    ]
    if wrong:
        return Seen(None, as_of, today, wrong=" ".join(wrong))
    if not _conditions(values):
        return Seen(None, as_of, today)
    try:
        condition = actions.condition_from(_conditions(values))
    except Refused as problem:
        told = (FIELDS.get(each.path, "") + ": " + each.problem for each in faults_of(problem))
        return Seen(None, as_of, today, wrong=" ".join(map(forms.as_sentence, told)))
    return _looked(db, _party(db, typed), condition, min(as_of, today), today)


def _looked(db: Session, party_id: int, condition: Condition, as_of: date, today: date) -> Seen:
    found = actions.preview(db, party_id, condition, as_of, today)
    differing = []
    for text, only in (
        (f"on {as_of}, but not today", found.only_then),
        (f"today, but not on {as_of}", found.only_now),
    ):
        if only:
            differing.append((text, _named(db, only), len(only)))
    return Seen(found, as_of, today, _named(db, found.then), differing)


def _named(db: Session, found: Sequence[Matched]) -> list[Found]:
    """The first of them, with the names of their cars."""
    some = found[:SHOWN]
    names = intake.names_of(db, [each.car_id for each in some])
    return [Found(each.car_id, names[each.car_id], each) for each in some]


def _form(
    request: Request, db: Session, entries: Entries, seen: Seen | None, status: int = 200
) -> Response:
    parties = facilities.own_parties(db)
    lading_names = tuple(each.name for each in ladings.all(db))
    owners = tuple(cars.own_party_names(db))
    suggested = {"lading": lading_names, "owner": owners}
    of_cars = tuple(
        with_choices(each, suggested[each.name]) if each.name in suggested else each
        for each in OF_CARS
    )
    groups = (Group("Its cars", of_cars), Group("A component on them", OF_COMPONENTS))
    return web.page(
        request,
        "directives/new.html",
        status,
        entries=entries,
        order=ORDER,
        groups=groups,
        further=FURTHER,
        further_stated=any(entries.text(name) for name in FURTHER),
        freezing=FREEZING,
        term=TERM,
        parties=parties,
        seen=seen,
        labels=forms.labels((*ORDER, *CONDITION, *FREEZING, *TERM)),
    )

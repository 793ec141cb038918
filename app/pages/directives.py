"""Directives: the list, one with all that it is about, closing what was seen to, files and the report."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Annotated, Any

from fastapi import APIRouter, Depends, Request
from fastapi.responses import Response
from sqlalchemy.orm import Session

from app import web
from app.actions import directives as actions
from app.actions.directives import NewClosing
from app.core import directive_words as in_words
from app.core.words import capitalized
from app.errors import Problem
from app.files import cells, days
from app.files.lists_out import DIRECTIVE
from app.files.tables_out import Value
from app.pages import fields, forms
from app.pages.changing import Looking, faults_of, kept
from app.pages.directive_new import TERM, term_of
from app.pages.exports import Table, as_asked
from app.pages.facts import FactForm
from app.pages.fields import Group
from app.pages.filters import Asked
from app.pages.forms import Entries, Field
from app.store import directive_list
from app.store.directive_list import DirectiveShown, MatchFilter, MatchShown

router = APIRouter()

# Rows of the page of one; all of them are in its files.
SHOWN = 500
CLOSING = (
    Field("done_on", "Done on", days.day, "", "day", (), True),
    Field("result", "What came of it", forms.one_of(tuple(in_words.OUTCOMES.items())), "", "choice",
          tuple(in_words.OUTCOMES.items()), True),
    Field("reference", "Report or event", cells.text, "Its number, or what it is called by"),
    Field("finding", "Note", cells.notes, "What was found", "notes"),
)  # fmt: skip
OTHER_TERM = Field(
    "reason", "Who gave it, and why", cells.notes, "Such as the letter that extends it", "notes", (), True
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Asking:
    """A page that asks before a directive is changed, and what it wants to know."""

    title: str
    legend: str
    lead: str
    fields: tuple[Field, ...]
    button: str


TERMS = Asking(
    "Change the due day",
    "What counts from now on",
    "Another day, or another word about loading, takes the place of what counts. What counted stays on record.",
    (*TERM, OTHER_TERM),
    "Record",
)
WITHDRAWING = Asking(
    "Withdraw a directive",
    "Why",
    "Use this when whoever ordered it withdrew it, or it was recorded by mistake. Nothing is due by it any more; "
    "what was closed stays on record.",
    (fields.WHY,),
    "Withdraw",
)
TAKING_BACK = Asking(
    "Take a closing back",
    "Why",
    "Use this when it was recorded by mistake. It is open again, and the mistake stays on record with your reason.",
    (fields.WHY,),
    "Take it back",
)
STATES = tuple((name, capitalized(text)) for name, text in in_words.STATES.items())
SAVED = {
    "frozen": "The directive was recorded and its cars are frozen.",
    "closed": "What you ticked is closed.",
    "back": "That closing counts no longer; it is open again.",
    "term": "The due day was changed.",
    "withdrawn": "The directive was withdrawn; nothing is due by it any more.",
}


def wanted(
    request: Request, today: web.Today, settings: web.Configured
) -> tuple[Asked, MatchFilter]:
    """Which matches are asked for: the fields as typed, and the filter that they make."""
    asked = Asked.of(request.query_params, ("state",), ("saved",))
    return asked, MatchFilter(today, settings.soon_days, asked.one_of("state", STATES))


Wanted = Annotated[tuple[Asked, MatchFilter], Depends(wanted)]


@router.get("/directives")
@web.may("read")
def directives(request: Request, db: web.Db, today: web.Today) -> Response:
    found = directive_list.all_shown(db, today)
    return web.page(request, "directives/list.html", found=found, ordered_by=in_words.ORDERED_BY)


@router.get("/directives/{directive_id}")
@web.may("read")
def directive(request: Request, directive_id: web.Key, db: web.Db, seen: Wanted) -> Response:
    asked, filter_ = seen
    started = forms.filled({"done_on": filter_.today})
    return _shown(
        request, db, directive_id, asked, filter_, started, 422 if asked.problems else 200
    )


@router.get("/directives/{directive_id}/matches.csv")
@router.get("/directives/{directive_id}/matches.xlsx")
@router.get("/directives/{directive_id}/matches.json")
@web.may("read")
def matches_file(request: Request, directive_id: web.Key, db: web.Db, seen: Wanted) -> Response:
    return as_asked(request, _table(db, directive_id, seen))


@router.get("/directives/{directive_id}/report")
@web.may("read")
def report(request: Request, directive_id: web.Key, db: web.Db, seen: Wanted) -> Response:
    """What was ordered and what came of it, to be printed: every car, whatever the filter."""
    shown = directive_list.one(db, directive_id, seen[1].today)
    rows = directive_list.matches_of(db, directive_id, replace(seen[1], state=None))
    return web.page(
        request,
        "directives/report.html",
        shown=shown,
        rows=rows,
        came=_came(rows),
        **_told(db, shown),
    )


@router.post("/directives/{directive_id}/close")
@web.may("record_work")
def close(
    request: Request,
    directive_id: web.Key,
    posted: web.Posted,
    db: web.Db,
    looking: Looking,
    seen: Wanted,
) -> Response:
    """Close what was ticked; a faulty form is shown again with the ticks."""
    asked, filter_ = seen
    directive_list.one(db, directive_id, filter_.today)
    values, entries = forms.read(CLOSING, forms.typed(posted))
    ticked = [key for text in entries.chosen("match") if (key := forms.whole(text)) is not None]
    if not entries.problems:
        new = NewClosing(
            values["done_on"], values["result"], values["reference"] or "", values["finding"] or ""
        )
        made = kept(db, lambda: actions.close(db, ticked, new, looking.stamp))
        if not isinstance(made, Problem):
            return web.see_other(f"/directives/{directive_id}?saved=closed")
        told = forms.beside(faults_of(made), (*values, "match"), {"outcome": "result"})
        entries = entries.wrong(told)
    return _shown(request, db, directive_id, asked, filter_, entries, 422)


@router.get("/directives/{directive_id}/term")
@web.may("record_facts")
def term_form(request: Request, directive_id: web.Key, db: web.Db) -> Response:
    directive_list.own_or_raise(db, directive_id)
    row = directive_list.term_of(db, directive_id)
    stated = {name: getattr(row, name) for name in ("due_on", "due_days", "forbids_loading")}
    return _asked(request, db, TERMS, directive_id, forms.filled(stated))


@router.post("/directives/{directive_id}/term")
@web.may("record_facts")
def set_term(
    request: Request, directive_id: web.Key, posted: web.Posted, db: web.Db, looking: Looking
) -> Response:
    directive_list.own_or_raise(db, directive_id)
    return _answered(
        request, db, TERMS, directive_id, posted, "term",
        lambda values: actions.set_term(db, directive_id, term_of(values), looking.stamp),
    )  # fmt: skip


@router.get("/directives/{directive_id}/withdraw")
@web.may("record_facts")
def withdraw_form(request: Request, directive_id: web.Key, db: web.Db) -> Response:
    directive_list.own_or_raise(db, directive_id)
    return _asked(request, db, WITHDRAWING, directive_id, Entries())


@router.post("/directives/{directive_id}/withdraw")
@web.may("record_facts")
def withdraw(
    request: Request, directive_id: web.Key, posted: web.Posted, db: web.Db, looking: Looking
) -> Response:
    directive_list.own_or_raise(db, directive_id)
    return _answered(
        request, db, WITHDRAWING, directive_id, posted, "withdrawn",
        lambda values: actions.withdraw(db, directive_id, values["reason"], looking.stamp),
    )  # fmt: skip


@router.get("/closings/{closing_id}/take-back")
@web.may("record_work")
def take_back_form(request: Request, closing_id: web.Key, db: web.Db) -> Response:
    directive_id = directive_list.closing_or_raise(db, closing_id)
    return _asked(request, db, TAKING_BACK, directive_id, Entries())


@router.post("/closings/{closing_id}/take-back")
@web.may("record_work")
def take_back(
    request: Request, closing_id: web.Key, posted: web.Posted, db: web.Db, looking: Looking
) -> Response:
    directive_id = directive_list.closing_or_raise(db, closing_id)
    return _answered(
        request, db, TAKING_BACK, directive_id, posted, "back",
        lambda values: actions.take_back(db, closing_id, values["reason"], looking.stamp),
    )  # fmt: skip


def _shown(
    request: Request,
    db: Session,
    directive_id: int,
    asked: Asked,
    filter_: MatchFilter,
    entries: Entries,
    status: int,
) -> Response:
    shown = directive_list.one(db, directive_id, filter_.today)
    rows = [] if asked.problems else directive_list.matches_of(db, directive_id, filter_)
    return web.page(
        request,
        "directives/show.html",
        status,
        shown=shown,
        rows=rows[:SHOWN],
        count=len(rows),
        open_rows=any(each.closing is None for each in rows),
        asked=asked.values,
        problems=asked.problems,
        states=STATES,
        entries=entries,
        closing=CLOSING,
        labels=forms.labels(CLOSING) | {"match": "Cars"},
        saved=SAVED.get(request.query_params.get("saved", ""), ""),
        **_told(db, shown),
    )


def _told(db: Session, shown: DirectiveShown) -> dict[str, Any]:
    """The words of a directive."""
    return {
        "condition": in_words.condition_in_words(shown.row.condition),
        "terms": directive_list.terms_of(db, shown.row.id),
        "ordered_by": in_words.ORDERED_BY,
        "outcomes": in_words.OUTCOMES,
        "came_by": in_words.FOUND,
        "why": in_words.why_in_words,
    }


def _came(rows: Sequence[MatchShown]) -> Mapping[str, int]:
    """How many were closed with what."""
    closed = [each.closing.outcome for each in rows if each.closing]
    return {text: closed.count(name) for name, text in in_words.OUTCOMES.items()}


def _table(db: Session, directive_id: int, seen: tuple[Asked, MatchFilter]) -> Table:
    asked, filter_ = seen
    asked.refuse()
    row = directive_list.one(db, directive_id, filter_.today).row
    found = directive_list.matches_of(db, directive_id, filter_)
    name = f"directive-{directive_id}-{filter_.today}"
    return Table(name, "Directive", DIRECTIVE.columns, _cells(row.name, found))


def _cells(name: str, found: Sequence[MatchShown]) -> Iterator[Sequence[Value]]:
    for each in found:
        row, closing = each.row, each.closing
        now = "; ".join(where.name or "another company's car" for where in each.now)
        yield (
            name, each.mark, each.number, each.owner, row.about, in_words.FOUND[row.found],
            row.by_hand, in_words.why_in_words(row.why), each.due_on,
            "closed" if closing else each.standing if each.left else each.status, now if row.component_id else "",
            *((closing.done_on, in_words.OUTCOMES[closing.outcome], closing.reference,
               closing.finding, closing.recorded_by) if closing else (None,) * 5),
        )  # fmt: skip


def _asked(
    request: Request,
    db: Session,
    asking: Asking,
    directive_id: int,
    entries: Entries,
    status: int = 200,
) -> Response:
    """The page that asks; it is sent to the address at which it is."""
    form = FactForm(
        asking.title, asking.lead, request.url.path, (Group(asking.legend, asking.fields),), entries,
        asking.button, None, "",
    )  # fmt: skip
    about = (directive_id, directive_list.name_of(db, directive_id))
    return web.page(request, "directives/confirm.html", status, car=None, form=form, about=about)


def _answered(
    request: Request,
    db: Session,
    asking: Asking,
    directive_id: int,
    posted: web.Sent,
    saved: str,
    change: Callable[[dict[str, Any]], object],
) -> Response:
    """Make the change and go on; a faulty form is shown again."""
    values, entries = forms.read(asking.fields, forms.typed(posted))
    if entries.problems:
        return _asked(request, db, asking, directive_id, entries, 422)
    made = kept(db, lambda: change(values))
    if isinstance(made, Problem):
        wrong = entries.wrong(forms.beside(faults_of(made), values))
        return _asked(request, db, asking, directive_id, wrong, 422)
    return web.see_other(f"/directives/{directive_id}?saved={saved}")

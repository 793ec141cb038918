"""What a person is qualified for, kept by whoever administers a party of theirs."""

from __future__ import annotations

from collections.abc import Callable

from fastapi import APIRouter, Request
from fastapi.responses import Response
from sqlalchemy.orm import Session

from app import web
from app.actions import people
from app.actions import qualifications as actions
from app.actions.people import Office
from app.actions.qualifications import NewQualification
from app.core.steps import LEVELS
from app.errors import Problem
from app.files import cells, days
from app.pages import fields, forms
from app.pages.changing import Looking, faults_of, kept
from app.pages.forms import Choice, Entries, Field
from app.pages.people import Administering
from app.rules.field_work import field_work
from app.store import qualifications

router = APIRouter()

METHODS: tuple[Choice, ...] = tuple(
    (code, f"{code}, {said}") for code, said in field_work().methods.items()
)
FIELDS = (
    Field("method", "Method", forms.one_of(METHODS), "", "choice", METHODS, True),
    Field("level", "Level", forms.one_of(fields.same(LEVELS)), "", "choice", fields.same(LEVELS), True),
    Field("valid_until", "Valid until", days.day, "The last day on which it holds", "day", (), True),
)  # fmt: skip
WITHDRAWAL = (
    Field("qualification", "Qualification", cells.whole(1, web.LARGEST_KEY, "its number"), needed=True),
    fields.WHY,
)  # fmt: skip
SAVED = {
    "recorded": "The qualification was recorded.",
    "withdrawn": "The qualification counts no longer.",
    "back": "The qualification counts again.",
}


@router.get("/people/{person_id}/qualifications")
@web.may("administer")
def listed(request: Request, person_id: web.Key, db: web.Db, office: Administering) -> Response:
    return _page(request, db, office, person_id, Entries())


@router.post("/people/{person_id}/qualifications")
@web.may("administer")
def record(
    request: Request,
    person_id: web.Key,
    posted: web.Posted,
    db: web.Db,
    office: Administering,
    looking: Looking,
) -> Response:
    people.seen_person(db, office, person_id)
    values, entries = forms.read(FIELDS, forms.typed(posted))
    if entries.problems:
        return _page(request, db, office, person_id, entries, 422)
    new = NewQualification(**values)
    return _done(
        request, db, office, person_id, entries, "recorded",
        lambda: actions.record(db, office, person_id, new, looking.stamp),
    )  # fmt: skip


@router.post("/people/{person_id}/qualifications/withdraw")
@web.may("administer")
def withdraw(
    request: Request,
    person_id: web.Key,
    posted: web.Posted,
    db: web.Db,
    office: Administering,
    looking: Looking,
) -> Response:
    people.seen_person(db, office, person_id)
    values, entries = forms.read(WITHDRAWAL, forms.typed(posted))
    if entries.problems:
        return _page(request, db, office, person_id, entries, 422)
    return _done(
        request, db, office, person_id, entries, "withdrawn",
        lambda: actions.withdraw(
            db, office, person_id, values["qualification"], values["reason"], looking.stamp
        ),
    )  # fmt: skip


@router.post("/people/{person_id}/qualifications/bring-back")
@web.may("administer")
def bring_back(
    request: Request,
    person_id: web.Key,
    posted: web.Posted,
    db: web.Db,
    office: Administering,
    looking: Looking,
) -> Response:
    people.seen_person(db, office, person_id)
    values, entries = forms.read(WITHDRAWAL[:1], forms.typed(posted))
    if entries.problems:
        return _page(request, db, office, person_id, entries, 422)
    return _done(
        request, db, office, person_id, entries, "back",
        lambda: actions.bring_back(db, office, person_id, values["qualification"], looking.stamp),
    )  # fmt: skip


def _done(
    request: Request,
    db: Session,
    office: Office,
    person_id: int,
    entries: Entries,
    saved: str,
    change: Callable[[], object],
) -> Response:
    made = kept(db, change)
    if isinstance(made, Problem):
        names = [each.name for each in FIELDS]
        entries = entries.wrong(forms.beside(faults_of(made), names))
        return _page(request, db, office, person_id, entries, 422)
    return web.see_other(f"/people/{person_id}/qualifications?saved={saved}")


def _page(
    request: Request,
    db: Session,
    office: Office,
    person_id: int,
    entries: Entries,
    status: int = 200,
) -> Response:
    return web.page(
        request,
        "people/qualifications.html",
        status,
        person=people.seen_person(db, office, person_id),
        held=qualifications.counting(db, person_id),
        withdrawn=qualifications.withdrawn(db, person_id),
        methods=field_work().methods,
        fields=FIELDS,
        labels=forms.labels((*FIELDS, *WITHDRAWAL)),
        entries=entries,
        saved=SAVED.get(request.query_params.get("saved", "")),
    )

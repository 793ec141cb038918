"""Findings of audits: the list of those open, a new one, one with its steps, closing it and opening it again."""

from __future__ import annotations

from datetime import date, timedelta

from fastapi import APIRouter, Request
from fastapi.responses import Response
from sqlalchemy.orm import Session

from app import web
from app.actions import audits as actions
from app.actions.audits import NewFinding, NewStep
from app.errors import NotFound, Problem
from app.files import cells, days
from app.pages import forms
from app.pages.audits import SEVERITY_WORDS
from app.pages.changing import Looking, Seen, faults_of, kept
from app.pages.forms import Entries, Field
from app.store import auditing
from app.store.audits import Audit, Step

router = APIRouter()

# What people usually give one another to mend something: common practice, no source.
USUAL_DAYS = 30
FIELDS = (
    Field("what", "What is wrong", cells.notes, "", "notes", (), True),
    Field("severity", "How bad it is", forms.one_of(tuple(SEVERITY_WORDS.items())), "", "choice",
          tuple(SEVERITY_WORDS.items()), True),
    Field("due_on", "To be mended by", days.day, "Not needed for a remark", "day"),
    Field("responsible", "Who sees to it", cells.text, "Not needed for a remark"),
)  # fmt: skip
CLOSING = (
    Field("done_on", "Mended on", days.day, "", "day", (), True),
    Field("said", "What was done", cells.notes, "", "notes", (), True),
    Field("evidence", "Where the proof of it is", cells.notes,
          "A report, a photograph, a paper by its number", "notes", (), True),
)  # fmt: skip
OPENING = (Field("said", "Why it is open again", cells.notes, "", "notes", (), True),)
STATES = (("open", "Open"), ("closed", "Closed"), ("late", "Open and late"), ("all", "All"))


@router.get("/audits/findings")
@web.may("record_work")
def listed(request: Request, db: web.Db, today: web.Today) -> Response:
    state = request.query_params.get("state", "open")
    if state not in dict(STATES):
        raise NotFound("There is no such state of a finding. Want open, closed, late or all.")
    every = auditing.findings(db)
    kept_by = {
        "all": lambda _: True, "open": lambda each: each.open, "closed": lambda each: not each.open,
        "late": lambda each: each.late(today),
    }  # fmt: skip
    return web.page(
        request, "audits/findings.html", findings=list(filter(kept_by[state], every)), some=bool(every),
        state=state, states=STATES, severities=SEVERITY_WORDS, today=today,
    )  # fmt: skip


@router.get("/audits/{audit_id}/findings/new")
@web.may("record_work")
def new(request: Request, audit_id: web.Key, db: web.Db, looking: Looking) -> Response:
    audit = auditing.audit_or_raise(db, audit_id)
    asked = {
        name: [text] for name, text in request.query_params.items() if name in ("car", "point")
    }
    started = forms.filled({"due_on": looking.stamp.today + timedelta(days=USUAL_DAYS)})
    return _form(request, db, audit, Entries({**started.typed, **asked}))


@router.post("/audits/{audit_id}/findings")
@web.may("record_work")
def find(
    request: Request, audit_id: web.Key, posted: web.Posted, db: web.Db, looking: Looking
) -> Response:
    audit = auditing.audit_or_raise(db, audit_id)
    values, entries = forms.read(FIELDS, forms.typed(posted))
    if entries.problems:
        return _form(request, db, audit, entries, 422)
    wanted = NewFinding(
        values["what"], values["severity"], values["due_on"], values["responsible"] or "",
        forms.whole(posted.one("car")), posted.one("point") or None,
    )  # fmt: skip
    made = kept(db, lambda: actions.find(db, audit_id, wanted, looking.stamp))
    if isinstance(made, Problem):
        said = forms.beside(faults_of(made), values)
        return _form(request, db, audit, entries.wrong(said), 422)
    return web.see_other(f"/audits/findings/{made.id}?saved=found")


def _form(
    request: Request, db: Session, audit: Audit, entries: Entries, status: int = 200
) -> Response:
    key = forms.whole(entries.text("car"))
    points = {each.id: each for each in actions.points_of(audit)}
    return web.page(
        request, "audits/finding_new.html", status, audit=audit, form=entries, fields=FIELDS,
        car=auditing.drawn_car_or_raise(db, key)[1] if key else None,
        point=points.get(entries.text("point")),
    )  # fmt: skip


@router.get("/audits/findings/{finding_id}")
@web.may("record_work")
def show(request: Request, finding_id: web.Key, db: web.Db, today: web.Today) -> Response:
    return _page(request, db, finding_id, forms.filled({"done_on": today}), today)


@router.post("/audits/findings/{finding_id}/close")
@web.may("record_work")
def close(
    request: Request, finding_id: web.Key, posted: web.Posted, db: web.Db, looking: Looking
) -> Response:
    return _stepped(request, db, finding_id, "closed", posted, looking)


@router.post("/audits/findings/{finding_id}/reopen")
@web.may("record_work")
def reopen(
    request: Request, finding_id: web.Key, posted: web.Posted, db: web.Db, looking: Looking
) -> Response:
    return _stepped(request, db, finding_id, "reopened", posted, looking)


def _stepped(
    request: Request, db: Session, finding_id: int, step: Step, posted: web.Sent, looking: Seen
) -> Response:
    auditing.finding_or_raise(db, finding_id)
    fields = CLOSING if step == "closed" else OPENING
    values, entries = forms.read(fields, forms.typed(posted))
    if entries.problems:
        return _page(request, db, finding_id, entries, looking.stamp.today, 422)
    new = NewStep(step, values["said"], values.get("evidence") or "", values.get("done_on"))
    made = kept(db, lambda: actions.take_step(db, finding_id, new, looking.stamp))
    if isinstance(made, Problem):
        entries = entries.wrong(forms.beside(faults_of(made), values))
        return _page(request, db, finding_id, entries, looking.stamp.today, 422)
    return web.see_other(f"/audits/findings/{finding_id}?saved={step}")


SAVED = {
    "found": "The finding is recorded.",
    "closed": "The finding is closed.",
    "reopened": "The finding is open again.",
}


def _page(
    request: Request, db: Session, finding_id: int, entries: Entries, today: date, status: int = 200
) -> Response:
    found = auditing.finding_or_raise(db, finding_id)
    points = {each.id: each for each in actions.points_of(found.audit)}
    return web.page(
        request, "audits/finding.html", status, found=found, form=entries,
        point=points.get(found.row.point or ""), severities=SEVERITY_WORDS, today=today,
        closing=CLOSING, opening=OPENING, saved=SAVED.get(request.query_params.get("saved", ""), ""),
    )  # fmt: skip

"""Shop plans: the list, a new one with what it will be about, its versions, and two of them compared."""

from __future__ import annotations

from datetime import date
from typing import Annotated, Any

from fastapi import APIRouter, Query, Request
from fastapi.responses import Response
from sqlalchemy.orm import Session

from app import jobs, web
from app.actions import plans as actions
from app.actions.plans import Opened
from app.core.facts import VISIT_ITEMS
from app.core.plan.demand import MOST_MONTHS, Selection, first_of_next, in_words
from app.core.plan.problem import Visit, by_name
from app.core.plan.revise import Comparison, compare
from app.core.plan.stated import differing
from app.core.words import capitalized, label
from app.errors import Conflict, Problem, Refused
from app.pages import forms
from app.pages.basis_words import told
from app.pages.changing import Looking, Seen, faults_of
from app.pages.choices import choices
from app.pages.forms import Entries
from app.pages.plan_basis import MONTH, planning_party
from app.pages.plan_view import by_kind, figures
from app.store import facilities, planning
from app.store import jobs as job_rows
from app.store.plans import Plan

router = APIRouter()

SECONDS = (
    (20, "20 seconds"),
    (60, "1 minute"),
    (300, "5 minutes"),
    (600, "10 minutes"),
    (3600, "1 hour"),
)
MONTHS = 36
MOST_COMPARED = 500
# A plan that begins later than so many years from now is surely a slip.
YEARS_AHEAD = 10


@router.get("/plans")
@web.may("plan")
def listed(request: Request, db: web.Db) -> Response:
    return web.page(
        request, "plans/list.html", plans=planning.plans(db), kept=planning.basis_row(db),
        going=_going(db),
    )  # fmt: skip


def _going(db: Session, plan_id: int | None = None) -> list[Any]:
    """Searches that are waiting or going on."""
    return [
        job for job in job_rows.unfinished(db)
        if job.kind == "solve-plan" and plan_id in (None, job.payload["plan_id"])
    ]  # fmt: skip


@router.get("/plans/new")
@web.may("plan")
def new(request: Request, db: web.Db, looking: Looking) -> Response:
    """The form; with the months in the address, what the plan would be about."""
    started = {
        "first_month": first_of_next(looking.stamp.today),
        "months": str(MONTHS),
        "seconds": "60",
        "party": str(planning.usual_party(db)),
    }
    asked = {name: [text] for name, text in request.query_params.items()}
    return _form(request, db, Entries({**forms.filled(started).typed, **asked}), looking)


@router.post("/plans")
@web.may("plan")
def make(request: Request, posted: web.Posted, db: web.Db, looking: Looking) -> Response:
    entries = Entries(forms.typed(posted))
    selection, problems = _selection(entries, looking.stamp.today)
    if problems:
        return _form(request, db, entries.wrong(problems), looking, 422)
    try:
        plan = actions.make(
            db, planning_party(db, posted), posted.one("name"), selection, looking.stamp
        )
        _must_be_something(db, selection)
    except Problem as problem:
        db.rollback()
        said = forms.beside(faults_of(problem), ("name", "months", "first_month"))
        return _form(request, db, entries.wrong(said), looking, 422)
    return ask_to_solve(db, plan, looking, "As solved first", posted.one("seconds"))


def _must_be_something(db: Session, selection: Selection, plan_id: int | None = None) -> None:
    asked = actions.problem_now(db, selection, actions.basis_of(db), plan_id)
    if not asked.basis.shops:
        raise Conflict("The standards name no shop yet. Add the shops under “Standards” first.")
    if not asked.problem.cars:
        raise Conflict(
            "Nothing falls due within these months for these cars that has no visit yet, so there is nothing to plan."
        )


def _selection(entries: Entries, today: date) -> tuple[Selection, dict[str, str]]:
    problems: dict[str, str] = {}
    last = f"{today.year + YEARS_AHEAD}-12"
    first, months = entries.text("first_month").strip(), entries.text("months").strip()
    if not MONTH.fullmatch(first):
        problems["first_month"] = f"“{first}”: want a month such as 2027-01."
    elif first > last:
        problems["first_month"] = f"“{first}” is far off: want a month until {last}."
    many = forms.whole(months)
    if many is None or not 1 <= many <= MOST_MONTHS:
        problems["months"] = f"“{months}”: want a number of months from 1 to {MOST_MONTHS}."
    return Selection(
        first, many or 1, forms.whole(entries.text("owner")), entries.text("region") or None,
        tuple(item for item in entries.chosen("item") if item in VISIT_ITEMS),
    ), problems  # fmt: skip


def _form(
    request: Request, db: Session, entries: Entries, looking: Seen, status: int = 200
) -> Response:
    selection, problems = _selection(entries, looking.stamp.today)
    asked = None if problems else actions.problem_now(db, selection, actions.basis_of(db))
    given = choices(request, db)
    return web.page(
        request, "plans/new.html", status, form=entries.wrong(problems), asked=asked, owners=given.owners,
        regions=given.regions, parties=facilities.own_parties(db), seconds=SECONDS,
        items=[(item, capitalized(label(item))) for item in VISIT_ITEMS], kept=planning.basis_row(db),
        jobs=sum(len(car.jobs) for car in asked.problem.cars) if asked else 0,
        needed=sum(job.days for car in asked.problem.cars for job in car.jobs) if asked else 0,
        there_are=sum(sum(shop.capacity_days) for shop in asked.problem.shops) if asked else 0,
        party_choices=[(party.id, party.name) for party in facilities.own_parties(db)],
        remarks=by_kind(asked.remarks) if asked else (),
        past=selection.first_month < f"{looking.stamp.today:%Y-%m}",
    )  # fmt: skip


def ask_to_solve(
    db: Session, plan: Plan, looking: Seen, name: str, seconds: str,
    parent_id: int | None = None, extra: dict[str, Any] | None = None, carry_id: int | None = None,
) -> Response:  # fmt: skip
    limit = forms.whole(seconds) or 60
    payload = {
        "plan_id": plan.id, "name": name[:200], "seconds": max(1, min(limit, SECONDS[-1][0])),
        "parent_id": parent_id, "extra": extra, "carry_id": carry_id,
    }  # fmt: skip
    return web.see_other(f"/jobs/{jobs.ask(db, 'solve-plan', payload, looking.stamp.by)}")


@router.get("/plans/{plan_id}")
@web.may("plan")
def show(request: Request, plan_id: web.Key, db: web.Db) -> Response:
    plan = planning.plan_or_raise(db, plan_id)
    versions = [actions.opened(db, row.id) for row in planning.versions(db, plan_id)]
    accepted = planning.accepted(db, plan_id)
    since = {
        at.row.id: actions.changed_since(db, at, accepted.recorded_at)
        for at in versions
        if accepted and accepted.version_id == at.row.id
    }
    return web.page(
        request, "plans/show.html", since=since, plan=plan, selection=actions.selection_of(plan),
        versions=[(at, figures(at)) for at in versions], accepted=accepted, seconds=SECONDS,
        going=_going(db, plan_id), names={at.row.id: at.row.name for at in versions},
        carrying=[at for at in versions if at.draft.locked or at.draft.notes or _forbids(at)],
    )  # fmt: skip


def _forbids(at: Opened) -> bool:
    return any(car.forbid for car in at.draft.problem.cars)


@router.post("/plans/{plan_id}/solve")
@web.may("plan")
def solve(plan_id: web.Key, posted: web.Posted, db: web.Db, looking: Looking) -> Response:
    """A version from the fleet and the standards as they are now."""
    plan = planning.plan_or_raise(db, plan_id)
    _must_be_something(db, actions.selection_of(plan), plan_id)
    name = posted.one("name").strip() or f"As of {looking.stamp.today}"
    return ask_to_solve(
        db, plan, looking, name, posted.one("seconds"), carry_id=_carrying(db, plan, posted)
    )


def _carrying(db: Session, plan: Plan, posted: web.Sent) -> int | None:
    """The version of this plan whose locks and the like are taken over; None where none is to be."""
    asked = forms.whole(posted.one("carry"))
    if asked is not None and planning.version_or_raise(db, asked).plan_id != plan.id:
        raise Refused("That version is not of this plan.")
    return asked


Version = Annotated[int | None, Query(ge=1)]


@router.get("/plans/{plan_id}/compare")
@web.may("plan")
def compared(
    request: Request, plan_id: web.Key, db: web.Db, before: Version = None, after: Version = None
) -> Response:
    plan = planning.plan_or_raise(db, plan_id)
    if before is None or after is None:  # the plan's page asks which two
        return web.see_other(f"/plans/{plan_id}")
    first, second = actions.opened(db, before), actions.opened(db, after)
    if {first.plan.id, second.plan.id} != {plan_id}:
        raise Refused("Those versions are not both of this plan.")
    found = compare(first.draft, second.draft)
    differ = differing(first.content.basis, second.content.basis)
    return web.page(
        request, "plans/compare.html", plan=plan, first=first, second=second,
        before=figures(first), after=figures(second), found=found,
        moved=_moved(first, second, found)[:MOST_COMPARED], most=MOST_COMPARED,
        differ=told(differ), one_measure=not any(each.of_costs for each in differ),
    )  # fmt: skip


def _moved(first: Opened, second: Opened, found: Comparison) -> list[dict[str, Any]]:
    return [
        {
            "car": name, "car_id": second.content.cars[name],
            "before": [_told(first, visit) for visit in before],
            "after": [_told(second, visit) for visit in after],
        }
        for name, before, after in found.moved
    ]  # fmt: skip


def _told(at: Opened, visit: Visit) -> dict[str, Any]:
    jobs_of = by_name(next(car for car in at.draft.problem.cars if car.name == visit.car).jobs)
    late = max(visit.month - jobs_of[name].latest for name in visit.jobs) if visit.jobs else 0
    return {
        "shop": visit.shop, "month": at.draft.problem.month(visit.month), "late": max(0, late),
        "work": ", ".join(in_words(name) for name in visit.jobs),
    }  # fmt: skip

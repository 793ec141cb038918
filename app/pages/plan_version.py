"""One version of a plan: the shop calendar, a month, a car with reasons; changing by hand, solving again, accepting."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import partial
from math import isfinite
from typing import Annotated, Any, get_args

from fastapi import APIRouter, Query, Request
from fastapi.responses import Response
from sqlalchemy.orm import Session

from app import web
from app.actions import accepting
from app.actions import plans as actions
from app.actions.plans import Asked, Opened
from app.core.plan.accounts import total_cost
from app.core.plan.contradictions import contradictions
from app.core.plan.demand import in_words
from app.core.plan.problem import ordinal
from app.core.plan.revise import CannotChange, Change, Kind, around_locked, counting
from app.core.plan.stated import differing
from app.errors import Conflict, NotFound, Refused
from app.files import lists_out
from app.pages import forms
from app.pages.changing import Looking
from app.pages.exports import Table, as_asked
from app.pages.plan_basis import MONTH
from app.pages.plan_view import (
    by_kind,
    calendar,
    car_shown,
    cell,
    figures,
    left_shown,
    price_at,
    prices,
    visit_shown,
    visits_in,
)
from app.pages.plans import SECONDS, ask_to_solve
from app.store import planning

router = APIRouter(prefix="/plans/versions")

MOST_LEFT = 200
MOST_WRONG = 50
KINDS = get_args(Kind)
Shop = Annotated[str, Query(max_length=200)]
Month = Annotated[str, Query(pattern=MONTH.pattern)]


@router.get("/{version_id}.csv")
@router.get("/{version_id}.xlsx")
@router.get("/{version_id}.json")
@web.may("plan")
def version_file(request: Request, version_id: web.Key, db: web.Db) -> Response:
    return as_asked(request, _table(actions.opened(db, version_id)))


def _table(at: Opened) -> Table:
    name = f"plan-{at.plan.id}-version-{at.row.id}"
    return Table(name, "Visits", lists_out.PLAN.columns, _cells(at))


def _cells(at: Opened) -> Iterator[Sequence[Any]]:
    cars = {car.name: car for car in at.draft.problem.cars}
    for visit in sorted(at.draft.visits, key=lambda it: (it.month, it.shop, it.car)):
        shown = visit_shown(at, cars[visit.car], visit)
        parts = shown.parts
        yield (
            shown.car, shown.shop, shown.month, "; ".join(each.words for each in shown.work), shown.days,
            min((each.latest for each in shown.work), default=""),
            max((each.months_late for each in shown.work), default=0), shown.locked,
            parts.visit, parts.move, parts.early, parts.late,
        )  # fmt: skip


@router.get("/{version_id}")
@web.may("plan")
def show(request: Request, version_id: web.Key, db: web.Db) -> Response:
    at = actions.opened(db, version_id)
    told, accepted = figures(at), planning.accepted(db, at.plan.id)
    if accepted and accepted.version_id != version_id:
        accepted = None
    differ = _differ(db, at)
    return web.page(
        request, "plans/version.html", at=at, told=told, years=calendar(at),
        left=left_shown(at, MOST_LEFT), left_count=told.left, accepted=accepted,
        since=actions.changed_since(db, at, accepted.recorded_at) if accepted else 0,
        changes=_in_words(at), seconds=SECONDS, remarks=by_kind(at.content.remarks),
        differ=differ, no_longer=actions.no_longer(db, at) if differ else (),
    )  # fmt: skip


def _differ(db: Session, at: Opened) -> int:
    """At how many places the standards of today are others than those that a version was made by."""
    return len(differing(at.content.basis, actions.basis_of(db)))


def _in_words(at: Opened) -> list[str]:
    """What was changed by hand and counts, the latest first."""
    return [_said(at, change) for change in reversed(counting(at.changes))]


def _said(at: Opened, change: Change) -> str:
    problem = at.draft.problem
    month = problem.month(change.month) if change.month is not None else ""
    there = (
        f"{change.shop} in {problem.month(change.to_month)}"
        if change.to_month is not None
        else change.shop
    )
    match change.kind:
        case "move":
            return f"{change.car}: moved from {month} to {there}"
        case "place":
            return f"{change.car}: {in_words(change.job or '')} placed at {there}"
        case "take_out":
            return f"{change.car}: visit of {month} taken out"
        case "note":
            return f"{change.car}: what the shop is to read was written"
        case "lock" | "unlock":
            return f"{change.car}: visit of {month} {change.kind}ed"
    return f"{change.car}: {there} {'forbidden' if change.kind == 'forbid' else 'allowed again'}"


@router.get("/{version_id}/month")
@web.may("plan")
def month(request: Request, version_id: web.Key, db: web.Db, shop: Shop, month: Month) -> Response:
    at = actions.opened(db, version_id)
    number = ordinal(month) - ordinal(at.draft.problem.first_month)
    found = cell(at, shop, number)
    if found is None:
        raise NotFound(f"This plan has no {shop} in {month}.")
    return web.page(
        request, "plans/month.html", at=at, cell=found, visits=visits_in(at, shop, number),
        told=figures(at), places=_places(at), seconds=SECONDS,
    )  # fmt: skip


def _places(at: Opened) -> dict[str, Sequence[str]]:
    """What can be chosen in the form of a move."""
    problem = at.draft.problem
    return {
        "shops": [shop.code for shop in problem.shops],
        "months": [problem.month(number) for number in range(problem.months)],
    }


@router.get("/{version_id}/cars/{car_id}")
@web.may("plan")
def car(request: Request, version_id: web.Key, car_id: web.Key, db: web.Db) -> Response:
    return _car(request, actions.opened(db, version_id), car_id)


def _car(
    request: Request, at: Opened, car_id: int, trouble: str = "", status: int = 200
) -> Response:
    name = next((name for name, key in at.content.cars.items() if key == car_id), "")
    try:
        shown = car_shown(at, name)
    except CannotChange as cannot:
        raise NotFound("This car is not in this plan.") from cannot
    return web.page(
        request, "plans/car.html", status, at=at, shown=shown, told=figures(at), trouble=trouble,
        places=_places(at), price=partial(price_at, prices(at)),
        was=_cost(request.query_params.get("was", "")),
    )  # fmt: skip


def _cost(text: str) -> float | None:
    """What it cost before a change, as the address has it; None where that is no number."""
    try:
        return float(text) if isfinite(float(text)) else None
    except ValueError:
        return None


@router.post("/{version_id}/changes")
@web.may("plan")
def change(
    request: Request, version_id: web.Key, posted: web.Posted, db: web.Db, looking: Looking
) -> Response:
    """One change by hand; then the page of the car, with what it did to the cost."""
    at = actions.opened(db, version_id)
    wanted = _change(at, posted)
    before = total_cost(at.accounts)
    try:
        actions.change(db, version_id, wanted, looking.stamp)
    except Conflict as conflict:
        if wanted.car not in at.content.cars:
            raise
        return _car(request, at, at.content.cars[wanted.car], str(conflict), 409)
    if wanted.kind == "undo":
        return web.see_other(f"/plans/versions/{version_id}#changes")
    car_id = at.content.cars[wanted.car]
    return web.see_other(f"/plans/versions/{version_id}/cars/{car_id}?was={before:.2f}#now")


def _change(at: Opened, posted: web.Sent) -> Change:
    kind = posted.one("kind")
    if kind not in KINDS:
        raise Refused(f"“{kind}” is no change of a plan; want one of {', '.join(KINDS)}.")
    if posted.one("place"):  # a shop and a month chosen as one
        month, _, shop = posted.one("place").partition(" ")
    else:
        month, shop = posted.one("to_month"), posted.one("shop")
    return Change(
        kind, posted.one("car"), _number(at, posted.one("month")), shop or None,  # type: ignore[arg-type]
        _number(at, month), posted.one("job") or None, posted.one("text"),
    )  # fmt: skip


def _number(at: Opened, month: str) -> int | None:
    """A month of the plan by its number; None where none is said."""
    if not month:
        return None
    if not MONTH.fullmatch(month):
        raise Refused(f"“{month}”: want a month such as 2027-01.")
    return ordinal(month) - ordinal(at.draft.problem.first_month)


@router.post("/{version_id}/solve")
@web.may("plan")
def solve_again(version_id: web.Key, posted: web.Posted, db: web.Db, looking: Looking) -> Response:
    """Solve around what is locked and forbidden; the result is a version of its own."""
    at = actions.opened(db, version_id)
    problem = around_locked(at.draft)
    found = contradictions(problem, in_words)
    if found:
        raise Conflict(f"{forms.as_sentence(found[0][1])} Unlock it or move it, then solve again.")
    name = posted.one("name").strip() or f"{at.row.name}, solved again"
    return ask_to_solve(db, at.plan, looking, name, posted.one("seconds"), version_id)


@router.post("/{version_id}/price")
@web.may("plan")
def price(version_id: web.Key, posted: web.Posted, db: web.Db, looking: Looking) -> Response:
    """Solve again with one shop day more, to learn what it would save."""
    at = actions.opened(db, version_id)
    number = _number(at, posted.one("month"))
    found = None if number is None else cell(at, posted.one("shop"), number)
    if found is None:
        raise Refused("Choose a shop and a month of this plan.")
    if found.short:
        raise Conflict(
            f"Visits that stood before this plan take {found.short:g} shop days more than {found.shop} has in "
            f"{found.month}. Until those are made up, a day more there gives this plan nothing. "
            "Cancel some of those visits, or give the shop more days."
        )
    extra = {"shop": posted.one("shop"), "month": number, "called": posted.one("month")}
    return ask_to_solve(db, at.plan, looking, at.row.name, posted.one("seconds"), version_id, extra)


@router.get("/{version_id}/fleet")
@web.may("plan")
def against_fleet(request: Request, version_id: web.Key, db: web.Db) -> Response:
    at = actions.opened(db, version_id)
    return web.page(
        request, "plans/fleet.html", at=at, unfit=actions.unfit(db, at), differ=_differ(db, at)
    )


@router.get("/{version_id}/accept")
@web.may("plan")
def before_accepting(
    request: Request, version_id: web.Key, db: web.Db, looking: Looking
) -> Response:
    at = actions.opened(db, version_id)
    now = actions.fleet_now(db, at)
    wrong = accepting.in_the_way(db, at, looking.stamp, now)
    return _accepting(request, db, at, now, wrong, accepting.instructions_before(db, at))


def _accepting(
    request: Request, db: Session, at: Opened, now: Asked,
    wrong: Sequence[str], typed: str, status: int = 200,
) -> Response:  # fmt: skip
    """What accepting would do, and what is in its way."""
    return web.page(
        request, "plans/accept.html", status, at=at, told=figures(at), unfit=actions.fleet_since(at, now),
        accepted=planning.accepted(db, at.plan.id), wrong=wrong[:MOST_WRONG], wrong_count=len(wrong),
        does=accepting.settled(db, at, typed, now).counted(), typed=typed, differ=_differ(db, at),
    )  # fmt: skip


@router.post("/{version_id}/accept")
@web.may("plan")
def accept(
    request: Request, version_id: web.Key, posted: web.Posted, db: web.Db, looking: Looking
) -> Response:
    typed = posted.one("instructions")
    try:
        accepting.accept(db, version_id, typed, looking.stamp)
    except accepting.InTheWay as found:
        at = actions.opened(db, version_id)
        return _accepting(request, db, at, actions.fleet_now(db, at), found.reasons, typed, 409)
    return web.see_other("/visits?state=planned")

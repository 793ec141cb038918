"""Directives: what was ordered, and the cars and components that each is about."""

from __future__ import annotations

from datetime import date
from typing import Any

from pydantic import Field

from app import web
from app.api.exact import can_fail, subject
from app.api.schemas import Out, PageOut
from app.core.facts import Status
from app.store import directive_list
from app.store.directive_list import DirectiveShown, MatchFilter, MatchShown

router = subject("directives")


class DirectiveOut(Out):
    """An order and how far it has come.

    `state` is open, overdue, closed or withdrawn. It is due on `due_on`, or `due_days` after a car was found.
    """

    id: int
    ordered_by: str = Field(examples=["authority"])
    orderer: str
    number: str
    title: str
    what: str
    caution: str
    ordered_on: date
    as_of: date = Field(description="the cars that matched on this day were frozen")
    condition: dict[str, Any] = Field(examples=[{"kind": "relief_valve", "lot": "L12"}])
    due_on: date | None
    due_days: int | None
    forbids_loading: bool
    takes_later: bool
    state: str
    matches: int
    open: int
    overdue: int


class DirectiveMatchOut(Out):
    """A car that it is about, or a component on it; `outcome` and `done_on` are null while it is open."""

    id: int
    car_id: int
    mark: str
    number: int
    component: str | None
    came_by: str = Field(examples=["frozen"])
    by_hand: bool = Field(description="whether it is one cannot be told from the record")
    due_on: date
    status: Status
    now_on: list[str] = Field(description="the cars that the component is on now")
    done_on: date | None
    outcome: str | None
    reference: str | None


class WholeDirectiveOut(DirectiveOut):
    """The order with every match on a car that is reached, by mark and number."""

    rows: list[DirectiveMatchOut]


@router.get("/directives", summary="Directives and how far they have come")
@web.may("read")
def directives(db: web.Db, today: web.Today) -> PageOut[DirectiveOut]:
    """The latest first; one page."""
    rows = [DirectiveOut(**_told(each)) for each in directive_list.all_shown(db, today)]
    return PageOut(rows=rows, next_after=None)


@router.get(
    "/directives/{directive_id}", summary="A directive with its cars", responses=can_fail(404)
)
@web.may("read")
def directive(
    directive_id: web.Key, db: web.Db, today: web.Today, settings: web.Configured
) -> WholeDirectiveOut:
    """With where each component is now; a car of another company has no name there."""
    shown = directive_list.one(db, directive_id, today)
    found = directive_list.matches_of(db, directive_id, MatchFilter(today, settings.soon_days))
    return WholeDirectiveOut(**_told(shown), rows=[_match(each) for each in found])


def _told(shown: DirectiveShown) -> dict[str, Any]:
    row, term, progress = shown.row, shown.term, shown.progress
    names = ("id", "ordered_by", "orderer", "number", "title", "what", "caution", "ordered_on")
    of_row = {name: getattr(row, name) for name in (*names, "as_of", "condition", "takes_later")}
    of_term = {name: getattr(term, name) for name in ("due_on", "due_days", "forbids_loading")}
    counted = {"matches": progress.all, "open": progress.open, "overdue": progress.overdue}
    return of_row | of_term | counted | {"state": shown.state}


def _match(each: MatchShown) -> DirectiveMatchOut:
    row, closing = each.row, each.closing
    return DirectiveMatchOut(
        id=row.id,
        car_id=row.car_id,
        mark=each.mark,
        number=each.number,
        component=row.about if row.component_id else None,
        came_by=row.found,
        by_hand=row.by_hand,
        due_on=each.due_on,
        status=each.status,
        now_on=[where.name for where in each.now],
        done_on=closing.done_on if closing else None,
        outcome=closing.outcome if closing else None,
        reference=closing.reference if closing else None,
    )

"""Solving a shop plan: the search goes on without keeping anybody from writing, and what it found is stored at its end.

The payload: `plan_id`, `name` of the version, `seconds`; `parent_id` of a version to solve again around; `extra`, a
shop and a month with one day more, to learn what that would save, of which no version is kept.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from time import monotonic
from typing import Any

from sqlalchemy.orm import Session

from app.access import EVERYTHING
from app.actions import plans
from app.actions.imports import Tell
from app.actions.plans import Content
from app.actions.stamp import Stamp
from app.answers.planning import solved
from app.core.plan.problem import Problem, Solved
from app.core.plan.revise import around_locked
from app.store import jobs, planning
from app.store.db import read_session, sessions

Payload = Mapping[str, Any]
SECONDS_BETWEEN_LOOKS = 0.5


def solve(db: Session, payload: Payload, stamp: Stamp, tell: Tell) -> dict[str, Any]:
    """What the search found, as the content of a version."""
    tell("Putting the problem together")
    content = _asked(db, payload)
    asked = content.draft()
    problem = _with_a_day(around_locked(asked), payload.get("extra"))
    seconds = float(payload["seconds"])
    began = monotonic()

    def told(bound: float, best: float) -> None:
        gap = 100 * (best - bound) / best if best > 0 else 0.0
        step = f"Best so far {_whole(best)}; no plan costs less than {_whole(max(0.0, bound))} ({gap:.2f} % apart)"
        tell(step, min(int(monotonic() - began), int(seconds)), int(seconds))

    tell("Searching for the cheapest plan", 0, int(seconds))
    found, soonest = solved(problem, seconds, told, _stopped(db, payload["job_id"]))
    return {"content": replace(content, solved=found, soonest=soonest)}


def _whole(cost: float) -> str:
    """As the pages write large numbers."""
    return f"{cost:,.0f}".replace(",", "\u202f")


def _asked(db: Session, payload: Payload) -> Content:
    """What is to be solved, as the content of a version that nothing has solved yet but hand and locks."""
    if payload.get("parent_id") is not None:
        at = plans.opened(db, payload["parent_id"])
        draft = at.draft
        stands = replace(at.content.solved, visits=draft.visits)
        return replace(at.content, problem=draft.problem, solved=stands, locked=draft.locked)
    plan = planning.plan_or_raise(db, payload["plan_id"])
    now = plans.problem_now(db, plans.selection_of(plan), plans.basis_of(db))
    return Content(now.basis, now.problem, now.cars, now.remarks, Solved((), 0.0, 0.0), 0.0)


def _with_a_day(problem: Problem, extra: Mapping[str, Any] | None) -> Problem:
    if extra is None:
        return problem
    shops = tuple(
        replace(
            shop,
            capacity_days=tuple(
                days + (month == extra["month"]) for month, days in enumerate(shop.capacity_days)
            ),
        )
        if shop.code == extra["shop"]
        else shop
        for shop in problem.shops
    )
    return replace(problem, shops=shops)


def _stopped(db: Session, job_id: str) -> Callable[[], bool]:
    """Whether somebody asked for the best so far; looked up beside the search's own session, twice a second at most."""
    factory = sessions(db.get_bind().engine)
    looked, answer = 0.0, False

    def stopped() -> bool:
        nonlocal looked, answer
        if not answer and monotonic() - looked > SECONDS_BETWEEN_LOOKS:
            looked = monotonic()
            with read_session(factory, EVERYTHING) as fresh:
                answer = jobs.asked_to_stop(fresh, job_id)
        return answer

    return stopped


def keep(db: Session, payload: Payload, stamp: Stamp, found: dict[str, Any]) -> dict[str, Any]:
    """Keep what was found as a version; or tell what a day more would save."""
    content: Content = found["content"]
    if payload.get("extra") is not None:
        return _told_of_a_day(db, payload, content)
    version = plans.add_version(
        db, payload["plan_id"], payload["name"], payload.get("parent_id"), content, stamp
    )
    left = plans.unfit(db, plans.opened(db, version.id))
    told = {"plan_id": payload["plan_id"], "version_id": version.id}
    return {**told, "unfit": len(left), "extra": None}


def _told_of_a_day(db: Session, payload: Payload, content: Content) -> dict[str, Any]:
    before = plans.opened(db, payload["parent_id"])
    return {
        "plan_id": payload["plan_id"],
        "version_id": before.row.id,
        "extra": payload["extra"],
        "cost": content.solved.cost,
        "lower_bound": content.solved.lower_bound,
        "before": before.content.solved.cost,
        "before_bound": before.content.solved.lower_bound,
    }

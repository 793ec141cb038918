"""Solving a shop plan: the search goes on without keeping anybody from writing, and what it found is stored at its end.

The payload: `plan_id`, `name` of the version, `seconds`; `parent_id` of a version to solve again around, or, for the
fleet as it is now, `carry_id` of one whose locks, forbids and written instructions are taken over; `extra`, a shop and
a month with one day more, to learn what that would save, of which no version is kept.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass, replace
from time import monotonic
from typing import Any

from sqlalchemy.orm import Session

from app.access import EVERYTHING
from app.actions import plans
from app.actions.imports import Tell
from app.actions.plans import Content
from app.actions.stamp import Stamp
from app.answers.planning import solved
from app.core.plan.carry import carried
from app.core.plan.demand import Remark
from app.core.plan.prices import price_of_a_day
from app.core.plan.problem import Problem, Solved, Visit
from app.core.plan.revise import Draft, around_locked, still_bounded
from app.core.plan.soonest import Soonest
from app.store import jobs, planning
from app.store.db import read_session, sessions

Payload = Mapping[str, Any]
# A shop's code, and a month of the plan by its number.
Extra = Mapping[str, Any]
SECONDS_BETWEEN_LOOKS = 0.5


def solve(db: Session, payload: Payload, stamp: Stamp, tell: Tell) -> dict[str, Any]:
    """What the search found, as the content of a version; or, with `extra`, as what a day more would save."""
    tell("Putting the problem together")
    content = _asked(db, payload)
    draft = content.draft()
    stopped = _stopped(db, payload["job_id"])
    search = _Search(
        around_locked(draft), payload, tell, stopped, draft.visits, content.solved.lower_bound
    )
    if payload.get("extra") is not None:
        return {"price": search.price(payload["extra"])}
    found, soonest = search.best("Searching for the cheapest plan", search.seconds)
    found = _bounded(found, content.solved)
    return {"content": replace(content, solved=found, soonest=soonest)}


@dataclass(frozen=True, slots=True)
class _Search:
    problem: Problem
    payload: Payload
    tell: Tell
    stop: Callable[[], bool]
    # A plan that stands already, as far as it does, and below what no plan of the problem costs.
    known: tuple[Visit, ...]
    proven: float

    @property
    def seconds(self) -> float:
        return float(self.payload["seconds"])

    def best(
        self,
        doing: str,
        seconds: float,
        extra: Extra | None = None,
        known: tuple[Visit, ...] | None = None,
    ) -> tuple[Solved, Soonest]:
        """The best plan found, and soonest due first beside it."""
        began, latest = monotonic(), doing
        proven = self.proven if extra is None else 0.0  # with more days a plan may cost less

        def told(bound: float, best: float) -> None:
            nonlocal latest
            latest = _so_far(min(max(bound, proven), best), best)

        def stop() -> bool:
            """Asked several times a second, so that the seconds go on whatever the search is at."""
            self.tell(latest, min(int(monotonic() - began), int(seconds)), int(seconds))
            return self.stop()

        stop()
        asked = _with_a_day(self.problem, extra)
        return solved(asked, seconds, told, stop, self.known if known is None else known)

    def price(self, extra: Extra) -> dict[str, Any]:
        """What one day more saves, from two searches of the same problem, without the day and with it."""
        without, _ = self.best("Searching without the day", self.seconds / 2)
        more, _ = self.best("Searching with the day", self.seconds / 2, extra, without.visits)
        return asdict(price_of_a_day(without, more))


def _bounded(found: Solved, before: Solved) -> Solved:
    """With the bound that was proven before, and its prices, where that says more."""
    if before.lower_bound <= found.lower_bound:
        return found
    return replace(found, lower_bound=min(before.lower_bound, found.cost), prices=before.prices)


def _so_far(bound: float, best: float) -> str:
    if best > 0 and bound <= 0:
        return f"Best so far {_whole(best)}; what no plan goes below is being worked out"
    gap = 100 * (best - bound) / best if best > 0 else 0.0
    return (
        f"Best so far {_whole(best)}; no plan costs less than {_whole(bound)} ({gap:.2f} % apart)"
    )


def _whole(cost: float) -> str:
    """As the pages write large numbers."""
    return f"{cost:,.0f}".replace(",", "\u202f")


def _asked(db: Session, payload: Payload) -> Content:
    """What is to be solved, as the content of a version that nothing has solved yet but hand and locks."""
    if payload.get("parent_id") is not None:
        at = plans.opened(db, payload["parent_id"])
        draft = at.draft
        stands = replace(at.content.solved, visits=draft.visits)
        if not still_bounded(at.content.draft(), draft):
            stands = replace(stands, lower_bound=0.0)
        return replace(
            at.content, problem=draft.problem, solved=stands, locked=draft.locked, notes=draft.notes
        )
    plan = planning.plan_or_raise(db, payload["plan_id"])
    now = plans.problem_now(db, plans.selection_of(plan), plans.basis_of(db), plan.id)
    draft, lost = _carried(db, payload, now.problem)
    return Content(
        now.basis, draft.problem, now.cars, (*now.remarks, *lost), Solved(draft.visits, 0.0, 0.0),
        Soonest(0.0, 0), draft.locked, draft.notes, now.stands,
    )  # fmt: skip


def _carried(db: Session, payload: Payload, problem: Problem) -> tuple[Draft, list[Remark]]:
    if payload.get("carry_id") is None:
        return Draft(problem, ()), []
    return carried(plans.opened(db, payload["carry_id"]).draft, problem)


def _with_a_day(problem: Problem, extra: Extra | None) -> Problem:
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
    if payload.get("extra") is not None:
        told = {"plan_id": payload["plan_id"], "version_id": payload["parent_id"]}
        return {**told, "extra": payload["extra"], **found["price"]}
    version = plans.add_version(
        db, payload["plan_id"], payload["name"], payload.get("parent_id"), found["content"], stamp
    )
    left = plans.unfit(db, plans.opened(db, version.id))
    told = {"plan_id": payload["plan_id"], "version_id": version.id}
    return {**told, "unfit": len(left), "extra": None}

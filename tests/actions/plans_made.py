"""Plans of a small invented fleet as a planner makes them: solved as jobs, accepted, and what visits came of it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

from sqlalchemy import Engine, select

from app import jobs
from app.actions import accepting, plans
from app.actions.accepting import Accepted
from app.actions.plans import Opened
from app.core.plan.basis import Basis
from app.core.plan.demand import Selection
from app.core.plan.revise import Change
from app.jobs.doing import Doer
from app.store import planning
from app.store.db import sessions, write_session
from app.store.tables import Party
from tests.fixtures.people import beforehand
from tests.pages.fleet_cast import QUILLON, STAMP
from tests.pages.plans_cast import BASIS, fleet, standards

YEAR = Selection("2027-01", 12)


@dataclass
class Planner:
    """Whoever plans a fleet, which is made with the first plan."""

    engine: Engine
    doer: Doer
    basis: Basis = BASIS
    begun: bool = False

    def plan(self, name: str, **otherwise: Any) -> int:
        with beforehand(sessions(self.engine)) as db:
            if not self.begun:
                fleet(db)
                standards(db, self.basis)
                self.begun = True
            party = db.scalars(select(Party).where(Party.name == QUILLON)).one()
            return plans.make(db, party.id, name, replace(YEAR, **otherwise), STAMP).id

    def solve(self, plan_id: int, parent_id: int | None = None, seconds: float = 20) -> int:
        """A version, from the fleet as it is; or around what is locked in another one."""
        payload = {"plan_id": plan_id, "name": "One", "seconds": seconds, "parent_id": parent_id}
        with beforehand(sessions(self.engine)) as db:
            job = jobs.ask(db, "solve-plan", payload, STAMP.by)
        self.doer.do(job)
        with write_session(sessions(self.engine)) as db:
            found = jobs.look(db, job)
            assert found.state == "done", found.error
            return found.result["version_id"]

    def opened(self, version: int) -> Opened:
        with beforehand(sessions(self.engine)) as db:
            return plans.opened(db, version)

    def change(self, version: int, *changes: Change) -> None:
        with beforehand(sessions(self.engine)) as db:
            for change in changes:
                plans.change(db, version, change, STAMP)

    def accept(self, version: int, instructions: str = "") -> Accepted:
        with beforehand(sessions(self.engine)) as db:
            return accepting.accept(db, version, instructions, STAMP)

    def visits(self) -> dict[tuple[int, str], tuple[int, str, frozenset[str]]]:
        """The visits that stand, by car and month: number, shop and work."""
        with beforehand(sessions(self.engine)) as db:
            return {
                (car, each.visit.month): (each.key, each.visit.shop, frozenset(each.visit.items))
                for car, all_of_it in planning.standing(db).items()
                for each in all_of_it
            }

    def wanted(self, version: int) -> dict[tuple[int, str], tuple[str, frozenset[str]]]:
        """What a version wants, in the same shape."""
        at = self.opened(version)
        return {
            (at.content.cars[visit.car], at.draft.problem.month(visit.month)): (
                visit.shop, frozenset(item for job in visit.jobs for item in job.split("+")),
            )
            for visit in at.draft.visits
        }  # fmt: skip

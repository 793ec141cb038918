"""A planner's small invented fleet, standards with two shops, and searches that end at once."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from datetime import date

from fastapi import FastAPI
from sqlalchemy.orm import Session

from app.actions import plans
from app.core.plan.basis import FIRST, Basis, PlanShop
from app.jobs.doing import Doer
from app.store.tables import Party
from tests.fixtures.web import Record, TestClient
from tests.pages.fleet_cast import QUILLON, STAMP, add

NORTH, SOUTH = "North Invented Shop", "South Invented Shop"
SKILLS = ("tank", "lining", "valve", "running gear")
BASIS = replace(
    FIRST,
    shops=(
        PlanShop(NORTH, SKILLS, 40, {}, 1400),
        PlanShop(SOUTH, SKILLS, 40, {"2027-07": 0}, 1900),
    ),
)
CARS = 6


def fleet(db: Session) -> list[int]:
    """Cars whose items fall due ten years after they were built: from April 2027 on, a month apart."""
    return [add(db, "ZQKX", 7001 + at, date(2017, 4 + at, 15)) for at in range(CARS)]


def standards(db: Session, basis: Basis = BASIS) -> None:
    party = db.query(Party).filter(Party.name == QUILLON).one()
    plans.keep_basis(db, party.id, basis, STAMP)


@dataclass
class Planner:
    """Whoever plans, with the searches done as soon as they are asked for."""

    app: FastAPI
    client: TestClient

    def solve(self, address: str, **form: str) -> int:
        """Post a form that asks for a search; the version that comes of it."""
        answer = self.client.post(address, data={"seconds": "20", **form}, follow_redirects=False)
        assert answer.status_code == 303, answer.text[-2000:]
        page = self.done(answer.headers["location"])
        found = re.search(r"/plans/versions/(\d+)", page)
        assert found, page[-2000:]
        return int(found[1])

    def done(self, job: str) -> str:
        with Doer(self.app.state.engine, "UTC") as doer:
            doer.do(job.rsplit("/", 1)[1])
        return self.client.get(job).text

    def plan(self, **form: str) -> int:
        return self.solve(
            "/plans", **{"name": "Spring", "first_month": "2027-01", "months": "12"} | form
        )

    def page(self, version: int, more: str = "") -> str:
        answer = self.client.get(f"/plans/versions/{version}{more}")
        assert answer.status_code == 200, answer.text[-3000:]
        return answer.text

    def change(self, version: int, kind: str, **form: str):
        return self.client.post(f"/plans/versions/{version}/changes", data={"kind": kind, **form})


def planner(app: FastAPI, client: TestClient, record: Record, basis: Basis = BASIS) -> Planner:
    record(fleet)
    record(lambda db: standards(db, basis))
    return Planner(app, client)

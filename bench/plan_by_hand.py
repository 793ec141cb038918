"""How soon the pages of a plan answer when a visit is moved by hand, at 5,000 cars with three jobs each.

The whole program answers, without a network: the change with the page that it leads to, the calendar, a month.
"""

from __future__ import annotations

import argparse
import tempfile
import warnings
from collections.abc import Callable, Sequence
from datetime import UTC, datetime
from pathlib import Path
from statistics import median
from time import perf_counter
from typing import Any

from app.access import EVERYTHING
from app.actions import invitations, plans
from app.actions.invitations import Newcomer
from app.actions.stamp import Stamp
from app.core.plan.basis import FIRST
from app.core.plan.cost import cost
from app.core.plan.demand import Selection
from app.core.plan.problem import Problem, Solved, Visit
from app.core.plan.soonest import Soonest, soonest_due_first
from app.main import create_app
from app.settings import Settings
from app.store.cars import party_anywhere
from app.store.db import write_session
from app.store.migrate import upgrade
from bench.plan_problems import problem

# What is asked for of a visit moved by hand, seconds.
BUDGET = 0.2
TIMES = 9
# A planner's afternoon.
MANY = 80
ROLES = ("planner", "administrator")
ORIGIN = {"Origin": "http://localhost"}
SECRET = "wqzv-7714-gravel-orbit"


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--cars", type=int, default=5_000)
    cars = asked.parse_args().cars
    with tempfile.TemporaryDirectory() as folder:
        url = f"sqlite:///{Path(folder) / 'store.db'}"
        upgrade(url)
        planned = problem(cars, 1)
        version, visits, asking = _prepared(url, planned)
        print(f"{cars:,} cars, {len(visits):,} visits; medians of {TIMES}, budget {BUDGET:g} s")
        for name, ask in _questions(version, _movable(planned, visits), asking):
            ask(0)  # the version is read once
            print(f"  {name:34} {median(_timed(ask, at) for at in range(1, TIMES + 1)):.3f} s")


def _month(number: int) -> str:
    return f"{2027 + number // 12}-{number % 12 + 1:02}"


def _timed(ask: Callable[[int], object], at: int) -> float:
    began = perf_counter()
    ask(at)
    return perf_counter() - began


def _prepared(url: str, planned: Problem) -> tuple[int, tuple[Visit, ...], Any]:
    """A store with one version, made by the plain plan, and somebody who may plan."""
    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", message="Using `httpx` with `starlette.testclient`")
        from fastapi.testclient import TestClient
    app = create_app(Settings(database_url=url, requests_per_minute_person=0))
    now = datetime.now(UTC)
    stamp = Stamp("bench", now, now.date())
    visits = soonest_due_first(planned)
    total = cost(planned, visits)
    with write_session(app.state.sessions, EVERYTHING) as db:
        key = invitations.set_up_link(db, now)
        new = Newcomer("Bench", "bench@bench.invalid", SECRET, SECRET)
        invitations.set_up(db, str(key), new, "Invented Bench Cars", ROLES, now)
        party = party_anywhere(db, "Invented Bench Cars")
        assert party is not None
        plan = plans.make(db, party.id, "Bench", Selection("2027-01", planned.months), stamp)
        keys = {car.name: at for at, car in enumerate(planned.cars, 1)}
        content = plans.Content(
            FIRST, planned, keys, (), Solved(visits, total, total), Soonest(total, 0)
        )
        version = plans.add_version(db, plan.id, "Bench", None, content, stamp).id
    asking = TestClient(app, base_url="http://localhost", headers=ORIGIN)
    asking.post("/sign-in", data={"email": new.email, "password": SECRET})
    return version, visits, asking


def _movable(planned: Problem, visits: Sequence[Visit]) -> list[tuple[Visit, int]]:
    """A visit of each car that can be made a month earlier, and that month."""
    gone = {(visit.car, visit.month) for visit in visits}
    cars = {car.name: car for car in planned.cars}
    found = {
        visit.car: (visit, visit.month - 1)
        for visit in visits
        if visit.month
        and cars[visit.car].may_go(visit.shop, visit.month - 1)
        and (visit.car, visit.month - 1) not in gone
    }
    return list(found.values())


def _questions(
    version: int, movable: Sequence[tuple[Visit, int]], asking: Any
) -> list[tuple[str, Any]]:
    address = f"/plans/versions/{version}"

    def get(more: str = "") -> object:
        answer = asking.get(address + more)
        assert answer.status_code == 200, answer.text
        return answer

    def move(at: int) -> object:
        visit, earlier = movable[at]
        form = {
            "kind": "move",
            "car": visit.car,
            "month": _month(visit.month),
            "shop": visit.shop,
            "to_month": _month(earlier),
        }
        answer = asking.post(f"{address}/changes", data=form)
        assert answer.status_code == 200, answer.text
        return answer

    def move_later(at: int) -> None:
        """At first so many, then one more."""
        for each in range(TIMES + 1, MANY) if at == 0 else [MANY + at]:
            move(each)

    return [
        ("a visit moved, and its page again", move),
        (f"the same after {MANY} moves", move_later),
        ("the shops by months", lambda _: get()),
        ("one month of one shop", lambda _: get("/month?shop=SHOP-1&month=2028-03")),
    ]


if __name__ == "__main__":
    main()

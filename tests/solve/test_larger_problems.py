"""Where no optimum can be gone through: what must hold of any plan and any bound."""

from dataclasses import dataclass, replace
from time import monotonic

import pytest

from app.core.plan.bound import lower_bound
from app.core.plan.check import faults
from app.core.plan.cost import cost
from app.core.plan.soonest import soonest_due_first
from app.solve import search, solve
from bench.plan_problems import problem


@pytest.fixture
def parts(monkeypatch: pytest.MonkeyPatch) -> None:
    """As a fleet of many thousands is planned, with fewer."""
    monkeypatch.setattr(search, "PART", 100)


@pytest.fixture(params=[1, 10_000], ids=["prices of some cars first", "without"])
def asked_first(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> None:
    """Whether some cars are asked first for prices to begin with, as of more cars than here."""
    monkeypatch.setattr(search, "FEW_CARS", request.param)


@dataclass
class Near:
    """Ends a search as soon as its plan is near its bound, however busy the machine is."""

    gap: float
    found: float = 1.0

    def tell(self, bound: float, best: float) -> None:
        self.found = (best - bound) / best

    def stop(self) -> bool:
        return self.found < self.gap


@pytest.mark.usefixtures("asked_first")
@pytest.mark.parametrize("seed", [1, 2])
def test_plan_and_bound_of_two_hundred_cars_stand_before_the_checks(seed: int) -> None:
    asked = problem(200, seed, shops=4, months=24)
    near = Near(0.1)
    solved = solve(asked, 60, near.tell, near.stop)
    assert faults(asked, solved.visits) == []
    assert solved.cost == pytest.approx(cost(asked, solved.visits))
    assert lower_bound(asked, solved.prices) == pytest.approx(solved.lower_bound, rel=1e-3)
    assert solved.lower_bound <= solved.cost < cost(asked, soonest_due_first(asked))
    assert solved.gap < 0.12


@pytest.mark.usefixtures("parts", "asked_first")
def test_a_fleet_planned_in_parts_has_one_plan_and_one_proven_bound() -> None:
    asked = problem(250, 3, shops=3, months=12)
    solved = solve(asked, 4)
    assert faults(asked, solved.visits) == []
    assert lower_bound(asked, solved.prices) == pytest.approx(solved.lower_bound)
    assert solved.lower_bound <= solved.cost < cost(asked, soonest_due_first(asked))


@pytest.mark.parametrize("seconds", [0.001, 0.5])
def test_when_time_is_short_the_best_so_far_is_a_plan(seconds: float) -> None:
    asked = problem(600, 4, shops=6, months=36)
    began = monotonic()
    solved = solve(asked, seconds)
    assert monotonic() - began < seconds + 30  # one step at most is finished first
    assert faults(asked, solved.visits) == []
    assert solved.cost <= cost(asked, soonest_due_first(asked))
    assert 0 <= solved.lower_bound <= solved.cost


def test_what_is_found_costs_no_more_than_a_plan_that_is_known() -> None:
    asked = problem(60, 5, shops=3, months=12)
    good = solve(asked, 10)
    again = solve(asked, 0.0, known=good.visits)
    assert again.cost <= good.cost < solve(asked, 0.0).cost
    fewer = replace(asked, cars=asked.cars[1:])  # of which it is no plan
    assert not faults(fewer, solve(fewer, 0.0, known=good.visits).visits)


def test_whoever_watches_is_told_and_can_end_it() -> None:
    asked = problem(200, 5, shops=4, months=24)
    told: list[tuple[float, float]] = []
    solved = solve(asked, 60, lambda *each: told.append(each), lambda: bool(told))
    assert told
    assert solved.seconds < 30
    assert faults(asked, solved.visits) == []
    assert all(bound <= best for bound, best in told)

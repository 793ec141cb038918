"""The search against the optimum found by going through every plan, and the checks against plans that are none."""

from dataclasses import replace
from math import isclose

import pytest

from app.core.plan.bound import lower_bound
from app.core.plan.check import faults
from app.core.plan.cost import cost, left_out
from app.core.plan.soonest import soonest_due_first
from app.core.plan.why import unplaced
from app.solve import solve
from tests.solve.problems import optimum, small

PORTIONS, IN_EACH = 20, 15


@pytest.mark.parametrize("portion", range(PORTIONS))
def test_the_plan_costs_what_the_best_of_all_plans_does(portion: int) -> None:
    """300 problems in all; each plan stands before the checker, and its bound is proven from prices alone."""
    for seed in range(portion * IN_EACH, (portion + 1) * IN_EACH):
        problem = small(seed)
        solved = solve(problem, 20)
        assert faults(problem, solved.visits) == [], seed
        assert isclose(solved.cost, optimum(problem), abs_tol=1e-6), seed
        assert isclose(solved.cost, cost(problem, solved.visits), abs_tol=1e-9), seed
        assert solved.status == "optimal", seed
        assert lower_bound(problem, solved.prices) <= solved.cost + 1e-6, seed


class Told:
    """Hears bound and best cost."""

    def __init__(self) -> None:
        self.pairs: list[tuple[float, float]] = []

    def __call__(self, bound: float, best: float) -> None:
        self.pairs.append((bound, best))


def test_what_is_told_meanwhile_counts_the_visits_that_stand_as_well() -> None:
    with_fixed = [each for each in map(small, range(60)) if any(car.fixed for car in each.cars)]
    assert with_fixed
    for problem in with_fixed:
        told = Told()
        solved = solve(problem, 20, told)
        assert told.pairs
        assert all(best >= solved.cost - 1e-6 for _, best in told.pairs)
        assert all(bound <= solved.cost + 1e-6 for bound, _ in told.pairs)


@pytest.mark.parametrize("seed", range(40))
def test_what_is_left_has_a_reason_and_is_just_what_no_better_plan_places(seed: int) -> None:
    problem = small(seed, cars=4)
    solved = solve(problem, 20)
    told = unplaced(problem, solved.visits)
    assert [(each.car, each.job) for each in told] == [
        (car.name, job.name) for car, job in left_out(problem, solved.visits)
    ]
    assert all(each.why for each in told)


@pytest.mark.parametrize("seed", range(40))
def test_the_same_problem_gives_the_same_plan(seed: int) -> None:
    problem = small(seed, cars=5, jobs=3, shops=3, months=5)
    assert solve(problem, 20).visits == solve(problem, 20).visits


@pytest.mark.parametrize("seed", range(100))
def test_taking_the_soonest_first_is_a_plan_and_no_better_one(seed: int) -> None:
    problem = small(seed, cars=6, jobs=3, shops=3, months=6)
    visits = soonest_due_first(problem)
    assert faults(problem, visits) == []
    assert cost(problem, visits) >= solve(problem, 20).cost - 1e-6


@pytest.mark.parametrize("seed", range(30))
def test_more_room_or_fewer_cars_never_cost_more(seed: int) -> None:
    problem = small(seed, cars=4, shops=3, months=4)
    roomier = replace(
        problem,
        shops=tuple(
            replace(shop, capacity_days=tuple(days + 2 for days in shop.capacity_days))
            for shop in problem.shops
        ),
    )
    best = solve(problem, 20).cost
    assert solve(roomier, 20).cost <= best + 1e-6
    assert solve(replace(problem, cars=problem.cars[1:]), 20).cost <= best + 1e-6

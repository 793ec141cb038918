"""Work whose place costs no more than leaving it is placed, where there is room, and nothing else moves."""

import pytest

from app.core.plan.check import faults
from app.core.plan.cost import cost, left_out
from app.core.plan.problem import Car, Job, Problem, Shop, Visit
from app.solve.ties import placed_on_a_tie
from tests.solve.problems import small


def problem(unplaced: float, room: float = 5.0) -> Problem:
    jobs = (Job("visual", "tank", 2, 1), Job("thickness", "tank", 2, 1))
    return Problem("2027-01", 2, unplaced, (Shop("NORTH", frozenset({"tank"}), (room,) * 2),), (
        Car("ZQKX 1", 300, {"NORTH": 100}, jobs),
    ))  # fmt: skip


@pytest.mark.parametrize(
    ("unplaced", "room", "left"),
    [(399, 5, 2), (400, 5, 0), (401, 5, 0), (400, 3, 0), (399, 3, 2), (400, 1, 2)],
)
def test_work_is_placed_where_that_costs_no_more_than_leaving_it(unplaced, room, left):
    asked = problem(unplaced, room)
    visits = placed_on_a_tie(asked, ())
    assert faults(asked, visits) == []
    assert sum(1 for _ in left_out(asked, visits)) == left
    assert cost(asked, visits) <= cost(asked, ())


@pytest.mark.parametrize("seed", range(40))
def test_no_visit_is_taken_away_and_no_rule_broken_by_it(seed):
    asked = small(seed)
    fixed = [
        Visit(car.name, each.shop, each.month, each.jobs)
        for car in asked.cars for each in car.fixed
    ]  # fmt: skip
    visits = placed_on_a_tie(asked, fixed)
    assert faults(asked, visits) == []
    assert cost(asked, visits) <= cost(asked, fixed) + 1e-6
    assert {(each.car, each.month) for each in fixed} <= {(each.car, each.month) for each in visits}

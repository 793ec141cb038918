"""Nobody betters a plan by moving one car: told by going through every plan of each car."""

from collections.abc import Sequence

import pytest

from app.core.plan.cost import cost_of_car, days_used
from app.core.plan.problem import Car, Problem, Visit
from app.solve import solve
from bench.plan_problems import problem
from tests.solve.problems import plans_of


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize("seconds", [0.0, 0.3], ids=["no time to search", "little time"])
def test_no_car_alone_could_be_planned_more_cheaply(seed: int, seconds: float) -> None:
    asked = problem(40, seed, shops=3, months=6)
    visits = solve(asked, seconds).visits
    for car in asked.cars:
        own = [each for each in visits if each.car == car.name]
        others = [each for each in visits if each.car != car.name]
        assert cost_of_car(asked, car, own) <= least(asked, car, others) + 1e-6, car.name


def least(asked: Problem, car: Car, others: Sequence[Visit]) -> float:
    """What the car's cheapest plan costs in the room that the others leave."""
    used = days_used(asked, others)
    room = {
        (shop.code, month): days - used.get((shop.code, month), 0.0)
        for shop in asked.shops
        for month, days in enumerate(shop.capacity_days)
    }
    return next(
        cost
        for cost, days in plans_of(asked, car)
        if all(room[at] + 1e-6 >= taken for at, taken in days.items())
    )

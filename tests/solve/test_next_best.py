"""What a car would do without one of its visits, against the optimum found by going through every plan."""

from __future__ import annotations

from dataclasses import replace
from math import isclose

import pytest

from app.answers.planning import next_best
from app.core.plan.cost import cost, days_used
from app.core.plan.problem import Car, Fixed, Forbidden, Job, Problem, Shop, Visit
from app.core.plan.revise import Draft
from app.solve import solve
from tests.solve.problems import optimum, small


def standing(problem: Problem, visits: tuple[Visit, ...], but: str) -> tuple[Car, ...]:
    """The cars with all they do fixed and nothing else to do, but for one."""
    found = []
    for car in problem.cars:
        own = [visit for visit in visits if visit.car == car.name]
        done = {name for visit in own for name in visit.jobs}
        fixed = tuple(Fixed(each.shop, each.month, each.jobs) for each in own)
        jobs = tuple(job for job in car.jobs if job.name in done)
        found.append(car if car.name == but else replace(car, jobs=jobs, fixed=fixed))
    return tuple(found)


@pytest.mark.parametrize("seed", range(25))
def test_the_next_best_is_the_cheapest_of_all_plans_of_the_car_while_the_others_stay(seed):
    problem = small(seed, cars=4)
    visits = solve(problem, 20).visits
    used = days_used(problem, visits)
    for visit in visits:
        cars = standing(problem, visits, visit.car)
        car = next(each for each in cars if each.name == visit.car)
        if any(each.month == visit.month for each in car.fixed):
            continue
        barred = replace(car, forbid=(*car.forbid, Forbidden(visit.shop, visit.month)))
        alone = replace(problem, cars=cars)
        without = replace(alone, cars=tuple(barred if each is car else each for each in cars))
        found = next_best(Draft(problem, visits), car, visit, used)
        assert isclose(found.adds, optimum(without) - cost(alone, visits), abs_tol=1e-6)
        assert all((each.shop, each.month) != (visit.shop, visit.month) for each in found.visits)


def test_a_locked_visit_stays_and_the_one_asked_about_goes():
    problem = small(3, cars=4, jobs=3, months=5)
    visits = solve(problem, 20).visits
    of_car = {each.car: [v for v in visits if v.car == each.car] for each in visits}
    name, own = next((name, own) for name, own in of_car.items() if len(own) > 1)
    car = next(each for each in problem.cars if each.name == name)
    asked, kept = own[0], own[1]
    draft = Draft(problem, visits, frozenset((name, each.month) for each in (asked, kept)))
    found = next_best(draft, car, asked, days_used(problem, visits))
    stay = [each for each in found.visits if (each.shop, each.month) == (kept.shop, kept.month)]
    assert [set(kept.jobs) <= set(each.jobs) for each in stay] == [True]
    assert (asked.shop, asked.month) not in {(each.shop, each.month) for each in found.visits}


def test_work_that_is_cheaper_left_than_done_elsewhere_is_said_to_be_so():
    shops = tuple(Shop(code, frozenset({"tank"}), (9.0, 9.0)) for code in ("NORTH", "SOUTH"))
    car = Car("ZQKX 1", 100, {"NORTH": 10, "SOUTH": 500}, (Job("visual", "tank", 2, 0, 5),))
    problem = Problem("2027-01", 2, 300, shops, (car,))
    visits = solve(problem, 20).visits
    found = next_best(Draft(problem, visits), car, visits[0], days_used(problem, visits))
    assert (found.visits, found.adds) == ((), 190)
    assert found.left == (
        ("visual", "leaving it costs less: 300, where the cheapest place with room, SOUTH in 2027-01, adds 600"),
    )  # fmt: skip


def test_a_shop_that_others_fill_is_said_to_be_full_and_not_to_have_no_days():
    shops = (Shop("NORTH", frozenset({"tank"}), (9.0, 9.0)),)
    cars = tuple(
        Car(f"ZQKX {at}", 100, {"NORTH": 10}, (Job("visual", "tank", 9, 0, 5),)) for at in (1, 2)
    )
    problem = Problem("2027-01", 2, 300, shops, cars)
    visits = tuple(Visit(car.name, "NORTH", at, ("visual",)) for at, car in enumerate(cars))
    found = next_best(Draft(problem, visits), cars[1], visits[1], days_used(problem, visits))
    assert found.left == (
        ("visual", "no room: every shop month in which it could be done is full"),
    )

"""The cheapest visits with prices, beside sums over each job and shop in plain Python."""

from __future__ import annotations

from itertools import chain, combinations

import numpy as np
import pytest

from app.core.plan.problem import Car, Fixed, Forbidden, Job, Problem, Shop
from app.solve.fleet import Batch, fleet_of
from app.solve.pricing import Cheapest, sums_over

MONTHS, SHOPS = 4, ("NORTH", "SOUTH")
PROBLEM = Problem(
    "2027-01",
    MONTHS,
    10_000.0,
    (
        Shop("NORTH", frozenset({"tank", "lining"}), (9.0, 5.0, 0.0, 9.0)),
        Shop("SOUTH", frozenset({"tank"}), (9.0,) * MONTHS),
    ),
    (
        Car("ZQKX 1", 90.0, {"NORTH": 300.0, "SOUTH": 200.0},
            (Job("a", "tank", 4.0, 2, 10.0, None), Job("b", "lining", 3.0, 1, 5.0, 40.0))),
        Car("ZQKX 2", 60.0, {"NORTH": 100.0, "SOUTH": 500.0},
            (Job("a", "tank", 5.0, 3, 7.0, 20.0), Job("b", "tank", 2.0, 0, 5.0, 40.0)),
            earliest=1, forbid=(Forbidden("NORTH", 3),)),
        Car("ZQKX 3", 60.0, {"NORTH": 100.0, "SOUTH": 150.0},
            (Job("a", "tank", 5.0, 3, 7.0, 20.0), Job("b", "tank", 2.0, 0, 5.0, 40.0),
             Job("c", "tank", 1.0, 3, 1.0, 1.0)),
            fixed=(Fixed("SOUTH", 2, ("c",)),)),
    ),
)  # fmt: skip
PRICES = np.array([[1.0, 20.0, 30.0, 0.0], [50.0, 5.0, 0.0, 7.0]])


def _by_hand(car: Car, jobs: tuple[Job, ...], month: int, rooms: dict[str, float]) -> float:
    """The least that a visit in a month costs that does these jobs, where a shop has so much room."""
    found = [np.inf]
    for at, shop in enumerate(PROBLEM.shops):
        of_month = [visit for visit in car.fixed if visit.month == month]
        forbidden = any(
            each.shop == shop.code and each.month in (None, month) for each in car.forbid
        )
        can = shop.code in car.move_cost and all(
            job.skill in shop.does and (job.late_cost is not None or month <= job.latest)
            for job in jobs
        )
        days = sum(job.days for job in jobs)
        there = of_month[0].shop == shop.code if of_month else month >= (car.earliest or 0)
        if can and there and not forbidden and days <= rooms[shop.code]:
            opening = 0.0 if of_month else car.visit_cost + car.move_cost[shop.code]
            found.append(opening + sum(job.cost(month) for job in jobs) + days * PRICES[at, month])
    return min(found)


def _cars() -> list[tuple[Batch, int, Car, tuple[Job, ...]]]:
    return [
        (batch, at, car, tuple(job for name in names for job in car.jobs if job.name == name))
        for batch in fleet_of(PROBLEM).batches
        for at, names in enumerate(batch.jobs)
        for car in [PROBLEM.cars[batch.cars[at]]]
    ]


@pytest.mark.parametrize("month", range(MONTHS))
@pytest.mark.parametrize("of_each_car", [False, True])
def test_a_visit_goes_to_the_shop_where_it_costs_least(month: int, of_each_car: bool) -> None:
    room = fleet_of(PROBLEM).room.reshape(len(SHOPS), MONTHS)
    rooms = dict(zip(SHOPS, room[:, month].tolist(), strict=True))
    for batch, at, car, jobs in _cars():
        given = np.repeat(room[:, :, None], batch.size, axis=2) if of_each_car else room
        found = Cheapest(batch, PRICES, given).in_month(month)[:, at]
        for number, done in _sets(jobs):
            by_hand = _by_hand(car, done, month, rooms) if done else 0.0
            assert found[number] == pytest.approx(by_hand), (car.name, done)


def test_a_car_finds_the_room_that_is_given_to_it_alone() -> None:
    (batch,) = fleet_of(PROBLEM).batches
    room = np.full((len(SHOPS), MONTHS, batch.size), 9.0)
    room[:, :, 1] = 4.0
    found = Cheapest(batch, PRICES, room).in_month(1)
    assert batch.days[0].tolist() == [4.0, 5.0, 5.0]
    assert np.isfinite(found[1]).tolist() == [True, False, True]


def test_sums_are_over_the_jobs_of_each_set() -> None:
    of_jobs = np.array([[1.0, 10.0], [2.0, 20.0], [4.0, 40.0]])
    assert sums_over(of_jobs).T.tolist() == [
        [float(n) for n in range(8)],
        [10.0 * n for n in range(8)],
    ]


def _sets(jobs: tuple[Job, ...]) -> list[tuple[int, tuple[Job, ...]]]:
    numbered = list(enumerate(jobs))
    chosen = chain.from_iterable(combinations(numbered, many) for many in range(len(jobs) + 1))
    return [(sum(1 << at for at, _ in each), tuple(job for _, job in each)) for each in chosen]

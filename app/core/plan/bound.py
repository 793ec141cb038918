"""A lower bound on the cost of any plan, worked out anew from prices alone (Lagrangian relaxation of capacity).

With a price on each day of each shop month, every car may choose as if it were alone, among visits that have room when
nothing but what is fixed is there. What the cars then pay, less what all the days would bring, is never more than the
cost of the cheapest plan, whatever the prices are; so nobody need trust the search that found them.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from math import fsum, inf

from app.core.plan.problem import TOLERANCE, Car, Job, Problem, by_name

Prices = Mapping[str, Sequence[float]]
_Room = Mapping[tuple[str, int], float]


def lower_bound(problem: Problem, prices: Prices) -> float:
    """At most the cost of any plan. A price below 0 counts as 0; a shop that has none is free."""
    room = room_left(problem)
    days = fsum(_price(prices, *at) * left for at, left in room.items())
    least = (_least(problem, car, prices, room) for car in problem.cars)
    return max(0.0, fsum([-days, *least]))


def room_left(problem: Problem) -> dict[tuple[str, int], float]:
    """The days that fixed visits leave, by shop and month."""
    fixed: dict[tuple[str, int], float] = defaultdict(float)
    for car in problem.cars:
        jobs = by_name(car.jobs)
        for visit in car.fixed:
            fixed[visit.shop, visit.month] += sum(jobs[name].days for name in visit.jobs)
    return {
        (shop.code, month): shop.capacity_days[month] - fixed[shop.code, month]
        for shop in problem.shops
        for month in range(problem.months)
    }


def _least(problem: Problem, car: Car, prices: Prices, room: _Room) -> float:
    """The least that a car's visits, jobs and their days at `prices` can cost, month by month over sets of jobs done.

    A set is a whole number whose bit j says that job j is done. A month has at most one visit.
    """
    fixed = car.fixed_jobs()
    jobs = [job for job in car.jobs if problem.must_place(job) and job.name not in fixed]
    best = [0.0] + [inf] * ((1 << len(jobs)) - 1)
    for month in range(problem.months):
        visits = _visits(problem, car, jobs, month, prices, room)
        best = [
            min(cost + visits.get(done & ~before, inf) for before, cost in _within(best, done))
            for done in range(len(best))
        ]
    left = [problem.unplaced_cost * (len(jobs) - done.bit_count()) for done in range(len(best))]
    return _standing(car) + min(cost + more for cost, more in zip(best, left, strict=True))


def _within(best: Sequence[float], done: int) -> list[tuple[int, float]]:
    """The sets within `done`, with what they cost."""
    return [(before, cost) for before, cost in enumerate(best) if before & ~done == 0]


def _standing(car: Car) -> float:
    """What the fixed visits and their jobs cost, which every plan pays."""
    jobs = by_name(car.jobs)
    visits = (car.visit_cost + car.move_cost[visit.shop] for visit in car.fixed)
    return fsum(
        [*visits, *(jobs[name].cost(each.month) for each in car.fixed for name in each.jobs)]
    )


def _visits(
    problem: Problem, car: Car, jobs: Sequence[Job], month: int, prices: Prices, room: _Room
) -> dict[int, float]:
    """By set of jobs, the least that doing just these in a month costs; doing none costs nothing."""
    fixed = {visit.shop for visit in car.fixed if visit.month == month}
    least = {0: 0.0}
    for shop in problem.shops:
        if (fixed and shop.code not in fixed) or (not fixed and not car.may_go(shop.code, month)):
            continue
        able = [at for at, job in enumerate(jobs) if job.skill in shop.does and job.may(month)]
        opened = 0.0 if fixed else car.visit_cost + car.move_cost[shop.code]
        price, left = _price(prices, shop.code, month), room[shop.code, month]
        for chosen in _sets_of(able):
            done = [jobs[at] for at in range(len(jobs)) if chosen >> at & 1]
            days = sum(job.days for job in done)
            if days <= left + TOLERANCE:
                cost = opened + price * days + sum(job.cost(month) for job in done)
                least[chosen] = min(least.get(chosen, inf), cost)
    return least


def _sets_of(able: Sequence[int]) -> list[int]:
    sets = [0]
    for at in able:
        sets += [each | 1 << at for each in sets]
    return sets[1:]


def _price(prices: Prices, shop: str, month: int) -> float:
    return max(0.0, prices[shop][month]) if shop in prices else 0.0

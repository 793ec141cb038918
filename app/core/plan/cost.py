"""What a plan costs, what it leaves undone and how it fills the shops, from its visits alone."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from math import fsum

from app.core.plan.problem import Car, Job, Load, Problem, Visit, by_name


def cost(problem: Problem, visits: Iterable[Visit]) -> float:
    """Every visit's cost and move, every placed job's months early or late, every job left."""
    of_car = visits_by_car(visits)
    return fsum(
        part for car in problem.cars for part in _parts(problem, car, of_car.get(car.name, ()))
    )


def cost_of_car(problem: Problem, car: Car, visits: Iterable[Visit]) -> float:
    """The same of one car, whose visits are all of `visits`."""
    return fsum(_parts(problem, car, visits))


def _parts(problem: Problem, car: Car, visits: Iterable[Visit]) -> Iterator[float]:
    jobs = by_name(car.jobs)
    placed: set[str] = set()
    for visit in visits:
        yield car.visit_cost + car.move_cost[visit.shop]
        for name in visit.jobs:
            yield jobs[name].cost(visit.month)
        placed.update(visit.jobs)
    left = sum(problem.must_place(job) and job.name not in placed for job in car.jobs)
    yield left * problem.unplaced_cost


def left_out(problem: Problem, visits: Iterable[Visit]) -> Iterator[tuple[Car, Job]]:
    """The jobs that no visit does though leaving them costs, in the problem's order."""
    of_car = visits_by_car(visits)
    for car in problem.cars:
        for job in left_of_car(problem, car, of_car.get(car.name, ())):
            yield car, job


def left_of_car(problem: Problem, car: Car, visits: Iterable[Visit]) -> Iterator[Job]:
    """The same of one car, whose visits are all of `visits`."""
    placed = {name for visit in visits for name in visit.jobs}
    for job in car.jobs:
        if problem.must_place(job) and job.name not in placed:
            yield job


def days_used(problem: Problem, visits: Iterable[Visit]) -> dict[tuple[str, int], float]:
    """The days that visits take, by shop and month, where there are any."""
    jobs = {car.name: by_name(car.jobs) for car in problem.cars}
    days: dict[tuple[str, int], list[float]] = defaultdict(list)
    for visit in visits:
        days[visit.shop, visit.month] += (jobs[visit.car][name].days for name in visit.jobs)
    return {at: fsum(each) for at, each in days.items() if each}


def load(problem: Problem, visits: Iterable[Visit]) -> list[Load]:
    """The shop months with work, by shop and then by month."""
    days = days_used(problem, visits)
    return [
        Load(shop.code, month, days[shop.code, month], shop.capacity_days[month])
        for shop in problem.shops
        for month in range(problem.months)
        if (shop.code, month) in days
    ]


def visits_by_car(visits: Iterable[Visit]) -> dict[str, Sequence[Visit]]:
    of_car: dict[str, list[Visit]] = defaultdict(list)
    for visit in visits:
        of_car[visit.car].append(visit)
    return dict(of_car)


def for_other_work(problem: Problem, visits: Iterable[Visit]) -> tuple[int, float]:
    """How many of the visits stand for other work than that of the problem, and what they cost."""
    cars = {car.name: car for car in problem.cars}
    there = [visit for visit in visits if not visit.jobs]
    costs = (cars[each.car].visit_cost + cars[each.car].move_cost[each.shop] for each in there)
    return len(there), sum(costs)

"""Work that is left though placing it costs no more than leaving it: placed, since due work is better done."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import islice

from app.core.plan.choices import Choice, for_left
from app.core.plan.cost import days_used, left_out
from app.core.plan.problem import TOLERANCE, Car, Job, Problem, Visit

# Looking for the places of a job takes some milliseconds, so of a fleet that leaves more than this the rest stays.
MOST_JOBS = 1_000


def placed_on_a_tie(problem: Problem, visits: Sequence[Visit]) -> tuple[Visit, ...]:
    """The visits with every job in the cheapest place that has room, where that costs no more than leaving it."""
    used = days_used(problem, visits)
    of_car: dict[str, list[Visit]] = {}
    for visit in visits:
        of_car.setdefault(visit.car, []).append(visit)
    for car, job in islice(left_out(problem, visits), MOST_JOBS):
        own = of_car.setdefault(car.name, [])
        best = next(
            (each for each in for_left(problem, car, job, own, used) if each.has_room), None
        )
        if best is not None and best.adds <= TOLERANCE:
            of_car[car.name] = _with(own, car, job, best)
            used[best.shop, best.month] = used.get((best.shop, best.month), 0.0) + job.days
    return tuple(visit for car in problem.cars for visit in of_car.get(car.name, ()))


def _with(visits: Sequence[Visit], car: Car, job: Job, place: Choice) -> list[Visit]:
    there = next((each for each in visits if each.month == place.month), None)
    done = (*(there.jobs if there else ()), job.name)
    joined = Visit(car.name, place.shop, place.month, done)
    return sorted(
        [joined, *(each for each in visits if each is not there)], key=lambda it: it.month
    )

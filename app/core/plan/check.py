"""Whether a plan may stand, said from the problem and its visits alone; it shares nothing with the search."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence

from app.core.plan.cost import days_used, visits_by_car
from app.core.plan.problem import TOLERANCE, Car, Problem, Shop, Visit, by_name

_Shops = Mapping[str, Shop]
# How a job is written in a sentence: as whoever asks named it, unless it is known in words.
Called = Callable[[str], str]


def faults(problem: Problem, visits: Sequence[Visit], called: Called = repr) -> list[str]:
    """Every way in which `visits` are no plan for the problem, a sentence each; empty when they are one."""
    cars = {car.name: car for car in problem.cars}
    shops = {shop.code: shop for shop in problem.shops}
    strange = list(_strangers(problem, cars, shops, visits))
    if strange:
        return strange  # what the problem does not know can be held against nothing else
    of_car = visits_by_car(visits)
    found = [
        fault
        for name, car in cars.items()
        for fault in faults_of_car(problem, shops, car, of_car.get(name, ()), called)
    ]
    return found + list(overfull(shops, problem, days_used(problem, visits)))


def _strangers(
    problem: Problem, cars: dict[str, Car], shops: _Shops, visits: Iterable[Visit]
) -> Iterator[str]:
    for visit in visits:
        if visit.car not in cars:
            yield f"no car is named {visit.car!r}"
        elif visit.shop not in shops:
            yield f"{visit.car}: no shop is named {visit.shop!r}"
        elif not 0 <= visit.month < problem.months:
            yield f"{visit.car}: {problem.month(visit.month)} lies outside the horizon"
        elif strange := set(visit.jobs) - set(by_name(cars[visit.car].jobs)):
            yield f"{visit.car}: has no job {sorted(strange)[0]!r}"


def faults_of_car(
    problem: Problem, shops: _Shops, car: Car, visits: Sequence[Visit], called: Called = repr
) -> Iterator[str]:
    """The same of one car, whose visits are all of `visits`, to shops and in months that there are."""
    yield from _twice(problem, car, visits, called)
    yield from _fixed_missing(problem, car, visits)
    for visit in visits:
        told = f"{car.name}: {visit.shop} in {problem.month(visit.month)}"
        if not any((each.shop, each.month) == (visit.shop, visit.month) for each in car.fixed):
            if not visit.jobs:
                yield f"{told} does nothing"
            if why := car.kept_from(visit.shop, visit.month):
                yield f"{told} is {why}"
        yield from _wrong_jobs(shops[visit.shop], car, visit, told, called)


def _wrong_jobs(shop: Shop, car: Car, visit: Visit, told: str, called: Called) -> Iterator[str]:
    jobs = by_name(car.jobs)
    for job in (jobs[name] for name in visit.jobs):
        if job.skill not in shop.does:
            yield f"{told} lacks the skill {job.skill!r} of {called(job.name)}"
        if not job.may(visit.month):
            yield f"{told} is too late for {called(job.name)}"


def _twice(problem: Problem, car: Car, visits: Sequence[Visit], called: Called) -> Iterator[str]:
    for month, times in Counter(visit.month for visit in visits).items():
        if times > 1:
            yield f"{car.name}: {times} visits in {problem.month(month)}"
    for job, times in Counter(job for visit in visits for job in visit.jobs).items():
        if times > 1:
            yield f"{car.name}: {called(job)} is done {times} times"


def _fixed_missing(problem: Problem, car: Car, visits: Sequence[Visit]) -> Iterator[str]:
    standing = {(visit.shop, visit.month): set(visit.jobs) for visit in visits}
    for fixed in car.fixed:
        done = standing.get((fixed.shop, fixed.month))
        if done is None or not set(fixed.jobs) <= done:
            yield f"{car.name}: the fixed visit to {fixed.shop} in {problem.month(fixed.month)} does not stand"


def overfull(
    shops: _Shops, problem: Problem, used: Mapping[tuple[str, int], float]
) -> Iterator[str]:
    """The shop months in which visits take more days than there are."""
    for (code, month), days in sorted(used.items()):
        room = shops[code].capacity_days[month]
        if days > room + TOLERANCE:
            yield f"{code} in {problem.month(month)}: {days:g} days of work, {room:g} there are"

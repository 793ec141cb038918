"""What contradicts within a problem whose fields can each be read: names, fixed visits, and what forbids them."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Mapping

from app.core.plan.check import Called
from app.core.plan.problem import TOLERANCE, Car, Fixed, Job, Problem, Shop, by_name

# Where it stands in the request, and a sentence.
Fault = tuple[tuple[str | int, ...], str]


def contradictions(problem: Problem, called: Called = repr) -> list[Fault]:
    """Every contradiction, in the order of the request; empty when the problem can be solved."""
    shops = {shop.code: shop for shop in problem.shops}
    names = [*_twice("shops", "code", (shop.code for shop in problem.shops))]
    names += _twice("cars", "car", (car.name for car in problem.cars))
    for at, car in enumerate(problem.cars):
        names += (((("cars", at, *path)), told) for path, told in _names_of(car, shops))
    return names or list(_fixed_faults(problem, shops, called))


def _twice(where: str, field: str, names: Iterable[str]) -> Iterator[Fault]:
    seen: set[str] = set()
    for at, name in enumerate(names):
        if name in seen:
            yield (where, at, field), f"the name {name!r} is given twice"
        seen.add(name)


def _names_of(car: Car, shops: Mapping[str, Shop]) -> Iterator[Fault]:
    yield from _twice("jobs", "job", (job.name for job in car.jobs))
    for code in car.move_cost:
        if code not in shops:
            yield ("move_cost", code), f"no shop has the code {code!r}"
    named = [("fixed", at, each.shop) for at, each in enumerate(car.fixed)]
    named += [("forbid", at, each.shop) for at, each in enumerate(car.forbid)]
    for where, at, code in named:
        if code not in shops:
            yield (where, at, "shop"), f"no shop has the code {code!r}"
    jobs = by_name(car.jobs)
    for at, visit in enumerate(car.fixed):
        for name in visit.jobs:
            if name not in jobs:
                yield ("fixed", at, "jobs"), f"the car has no job {name!r}"


def _fixed_faults(problem: Problem, shops: Mapping[str, Shop], called: Called) -> Iterator[Fault]:
    for at, car in enumerate(problem.cars):
        for path, told in _fixed_of(problem, shops, car, called):
            yield ("cars", at, "fixed", *path), f"the fixed visit of {car.name} {told}"
    yield from _overfull(problem, shops)


def _fixed_of(
    problem: Problem, shops: Mapping[str, Shop], car: Car, called: Called
) -> Iterator[Fault]:
    jobs = by_name(car.jobs)
    months = Counter(visit.month for visit in car.fixed)
    done = Counter(name for visit in car.fixed for name in visit.jobs)
    for at, visit in enumerate(car.fixed):
        place = f"to {visit.shop} in {problem.month(visit.month)}"
        if told := _cannot_stand(problem, car, visit):
            yield (at,), f"{place} {told}"
        if months[visit.month] > 1:
            yield (at,), f"{place} is one of {months[visit.month]} in that month; a car makes one"
        for name in visit.jobs:
            if done[name] > 1:
                yield (
                    (at, "jobs"),
                    f"{place} does {called(name)}, which is fixed {done[name]} times",
                )
            if told := _cannot_be_done(problem, shops[visit.shop], visit, jobs[name], called):
                yield (at, "jobs"), f"{place} {told}"


def _cannot_stand(problem: Problem, car: Car, visit: Fixed) -> str:
    if not 0 <= visit.month < problem.months:
        return "lies outside the months that are planned"
    if visit.shop not in car.move_cost:
        return "is to a shop out of its reach: move_cost does not name it"
    if visit.month < (car.earliest or 0):
        return f"is before the earliest month, {problem.month(car.earliest or 0)}"
    return "" if car.may_go(visit.shop, visit.month) else "is forbidden by `forbid`"


def _cannot_be_done(problem: Problem, shop: Shop, visit: Fixed, job: Job, called: Called) -> str:
    if job.skill not in shop.does:
        return f"is to do {called(job.name)}, whose skill {job.skill!r} the shop lacks"
    if not job.may(visit.month):
        return f"is too late for {called(job.name)}, latest {problem.month(job.latest)} and not to be late"
    return ""


def _overfull(problem: Problem, shops: Mapping[str, Shop]) -> Iterator[Fault]:
    """Shop months that fixed visits fill beyond what there is, told at the last visit that they do not hold."""
    used: dict[tuple[str, int], float] = defaultdict(float)
    for at, car in enumerate(problem.cars):
        jobs = by_name(car.jobs)
        for number, visit in enumerate(car.fixed):
            if not 0 <= visit.month < problem.months:
                continue
            used[visit.shop, visit.month] += sum(jobs[name].days for name in visit.jobs)
            days, room = used[visit.shop, visit.month], shops[visit.shop].capacity_days[visit.month]
            if days > room + TOLERANCE:
                where = f"{visit.shop} in {problem.month(visit.month)}"
                told = f"with it {days:g} days are fixed there, {room:g} there are"
                yield (
                    ("cars", at, "fixed", number),
                    f"the fixed visit of {car.name} to {where} needs more than its capacity: {told}",
                )

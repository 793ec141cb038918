"""Where a car's visit could be instead, what that would cost and what stands in its way."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from app.core.plan.cost import cost_of_car, days_used
from app.core.plan.problem import (
    TOLERANCE,
    Car,
    Forbidden,
    Job,
    Problem,
    Shop,
    Visit,
    by_name,
)
from app.core.plan.revise import Draft, around_locked

Used = Mapping[tuple[str, int], float]


@dataclass(frozen=True, slots=True)
class Choice:
    """A shop and a month for a visit: what the car's plan would cost more, and the days that are free there.

    Fewer than none are free where visits take more than there are.
    """

    shop: str
    month: int
    adds: float
    free: float
    days: float

    @property
    def has_room(self) -> bool:
        return self.days <= self.free + TOLERANCE


@dataclass(frozen=True, slots=True)
class Parts:
    """What a visit costs, part by part."""

    visit: float
    move: float
    early: float
    late: float


def parts(car: Car, visit: Visit) -> Parts:
    """The cost of one visit of a car."""
    jobs = [by_name(car.jobs)[name] for name in visit.jobs]
    early = sum(job.cost(visit.month) for job in jobs if visit.month <= job.latest)
    late = sum(job.cost(visit.month) for job in jobs if visit.month > job.latest)
    return Parts(car.visit_cost, car.move_cost[visit.shop], early, late)


def choices(draft: Draft, car: Car, visit: Visit, used: Used) -> list[Choice]:
    """Every other shop and month for the whole visit, the cheapest first; `used` are the days of all visits."""
    others = [each for each in draft.of_car(car.name) if each is not visit]
    jobs = [by_name(car.jobs)[name] for name in visit.jobs]
    days = sum(job.days for job in jobs)
    now = cost_of_car(draft.problem, car, [*others, visit])
    found = []
    for shop, month in _places(draft.problem, car, jobs, {each.month for each in others}):
        if (shop.code, month) == (visit.shop, visit.month):
            continue
        moved = Visit(car.name, shop.code, month, visit.jobs)
        adds = cost_of_car(draft.problem, car, [*others, moved]) - now
        found.append(Choice(shop.code, month, adds, _free(shop, month, used), days))
    return sorted(found, key=lambda each: (each.adds, each.month, each.shop))


def _free(shop: Shop, month: int, used: Used) -> float:
    return shop.capacity_days[month] - shop.short(month) - used.get((shop.code, month), 0.0)


def days_of_others(draft: Draft, car: Car, used: Used) -> Used:
    """The days that visits of the other cars take, where `used` are those of all."""
    own = days_used(replace(draft.problem, cars=(car,)), draft.of_car(car.name))
    return {place: days - own.get(place, 0.0) for place, days in used.items()}


def instead(draft: Draft, car: Car, visit: Visit, others: Used) -> Problem:
    """What the car would do without this visit, as a problem of its own: not there, with the days that others leave."""
    shops = tuple(
        replace(
            shop,
            capacity_days=tuple(
                max(0.0, days - others.get((shop.code, month), 0.0))
                for month, days in enumerate(shop.capacity_days)
            ),
        )
        for shop in draft.problem.shops
    )
    barred = replace(car, forbid=(*car.forbid, Forbidden(visit.shop, visit.month)))
    alone = replace(draft.problem, shops=shops, cars=(barred,))
    locked = draft.locked - {(car.name, visit.month)}
    return around_locked(Draft(alone, tuple(draft.of_car(car.name)), locked))


def _places(
    problem: Problem, car: Car, jobs: Sequence[Job], taken: set[int]
) -> Iterator[tuple[Shop, int]]:
    skills = {job.skill for job in jobs}
    for shop in problem.shops:
        if not skills <= shop.does:
            continue
        for month in range(problem.months):
            free = month not in taken and car.may_go(shop.code, month)
            if free and all(job.may(month) for job in jobs):
                yield shop, month


def for_left(
    problem: Problem, car: Car, job: Job, visits: Sequence[Visit], used: Used
) -> list[Choice]:
    """The same for work that is left: as a visit of its own, or in one that the car makes there anyway."""
    standing = {visit.month: visit for visit in visits}
    now = cost_of_car(problem, car, visits)
    found = []
    for shop in problem.shops:
        if job.skill not in shop.does or shop.code not in car.move_cost:
            continue
        for month in range(problem.months):
            there = standing.get(month)
            if not job.may(month) or (there and there.shop != shop.code):
                continue
            if not there and not car.may_go(shop.code, month):
                continue
            rest = [visit for visit in visits if visit is not there]
            done = (*there.jobs, job.name) if there else (job.name,)
            adds = cost_of_car(problem, car, [*rest, Visit(car.name, shop.code, month, done)]) - now
            found.append(Choice(shop.code, month, adds, _free(shop, month, used), job.days))
    return sorted(found, key=lambda each: (each.adds, each.month, each.shop))


def least_change(problem: Problem, car: Car, job: Job, visits: Sequence[Visit], used: Used) -> str:
    """The least that would have to change for work that is left to have its place, in a sentence."""
    able = [shop for shop in problem.shops if job.skill in shop.does]
    if not able:
        return f"A shop that does {job.skill} work is needed."
    if not any(shop.code in car.move_cost for shop in able):
        names = " or ".join(shop.code for shop in able[:3])
        return f"Give what moving a car of its region to {names} costs."
    places = for_left(problem, car, job, visits, used)
    if not places:
        return _what_would_open(problem, car, job, visits, used)
    if any(place.has_room for place in places):
        best = next(place for place in places if place.has_room)
        moves = "saves" if best.adds < 0 else "adds"
        where = f"{best.shop} in {problem.month(best.month)}"
        return f"Place it at {where}: that {moves} {abs(best.adds):,.0f}."
    return f"{_days_lacking(problem, places)} would do."


def _days_lacking(problem: Problem, places: Sequence[Choice]) -> str:
    """The fewest days more that one of these places without room would have to have."""
    closest = min(places, key=lambda place: (place.days - place.free, place.adds))
    lacking = closest.days - closest.free
    where = f"{closest.shop} in {problem.month(closest.month)}"
    return f"{lacking:g} more shop day{'' if lacking == 1 else 's'} at {where}"


def _what_would_open(
    problem: Problem, car: Car, job: Job, visits: Sequence[Visit], used: Used
) -> str:
    """What would give work a place that has none at all: each thing by itself, with the days that lack even then."""
    own = days_used(replace(problem, cars=(car,)), visits)
    without_own = {at: days - own.get(at, 0.0) for at, days in used.items()}
    tried: tuple[tuple[str, Car, Sequence[Visit], Used], ...] = (
        (
            "allow it one of the shops and months that are forbidden to it",
            replace(car, forbid=()), visits, used,
        ),
        ("let the car go earlier", replace(car, earliest=None), visits, used),
        ("let it be late", _late(car, job), visits, used),
        (
            "move or take out a visit of the car in a month in which it could be done",
            car, (), without_own,
        ),
    )  # fmt: skip
    ways = []
    for way, changed, stand, taken in tried:
        if places := for_left(problem, changed, by_name(changed.jobs)[job.name], stand, taken):
            room = any(place.has_room for place in places)
            ways.append(way if room else f"{way}, with {_days_lacking(problem, places)}")
    told = ", or ".join(ways) or "no one change alone would do"
    return f"Nothing is possible by {problem.month(job.latest)}: {told}."


def _late(car: Car, job: Job) -> Car:
    """The car as if this work might be late."""
    late = replace(job, late_cost=job.late_cost or 0.0)
    return replace(car, jobs=tuple(late if each is job else each for each in car.jobs))

"""Why a job is left out of a plan, in a sentence."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from types import MappingProxyType

from app.core.plan.cost import days_used, left_out, visits_by_car
from app.core.plan.problem import TOLERANCE, Car, Job, Problem, Shop, Unplaced, Visit

ALONE: Mapping[tuple[str, int], float] = MappingProxyType({})


def unplaced(
    problem: Problem, visits: Sequence[Visit], others: Mapping[tuple[str, int], float] = ALONE
) -> list[Unplaced]:
    """The jobs that are left though leaving them costs, each with why; `others` are days that other cars take."""
    own = days_used(problem, visits)
    used = {at: own.get(at, 0.0) + others.get(at, 0.0) for at in own.keys() | others.keys()}
    of_car = visits_by_car(visits)
    return [
        Unplaced(car.name, job.name, why_left(problem, car, job, of_car.get(car.name, ()), used))
        for car, job in left_out(problem, visits)
    ]


def why_left(
    problem: Problem,
    car: Car,
    job: Job,
    visits: Sequence[Visit],
    used: Mapping[tuple[str, int], float],
    by_hand: bool = False,
) -> str:
    """Why a job has no place beside the car's visits; `used` are the days of all visits, by shop and month.

    `by_hand` says that it had its visit before somebody took that away.
    """
    able = [shop for shop in problem.shops if job.skill in shop.does]
    if not able:
        return f"no shop has the skill {job.skill!r}"
    if not car.move_cost:
        return "no shop in reach"
    able = [shop for shop in able if shop.code in car.move_cost]
    if not able:
        return f"no shop with skill {job.skill!r} in reach"
    places = list(_places(problem, car, job, able, visits, used))
    if not places:
        free = replace(car, forbid=())
        if any(True for _ in _places(problem, free, job, able, visits, used)):
            return "every shop and month in which it could be done is forbidden to the car"
        return f"no shop with skill {job.skill!r} in reach {_in_time(problem, car, job)}"
    with_room = [place for place in places if job.days <= place.left + TOLERANCE]
    if not with_room:
        return _no_room(job, places)
    return _with_room(problem, min(with_room, key=lambda place: place.cost), by_hand)


@dataclass(frozen=True, slots=True)
class _Place:
    """A shop and a month, what doing the job there adds, the days it has and those that all visits leave."""

    shop: Shop
    month: int
    cost: float
    days: float
    left: float


def _places(
    problem: Problem,
    car: Car,
    job: Job,
    able: Iterable[Shop],
    visits: Sequence[Visit],
    used: Mapping[tuple[str, int], float],
) -> Iterator[_Place]:
    """Where the job could be done beside the car's visits as they are."""
    standing = {visit.month: visit.shop for visit in visits}
    for shop in able:
        for month in range(problem.months):
            opened = _opening(car, shop, month, standing.get(month))
            if opened is not None and job.may(month):
                days = shop.capacity_days[month]
                left = days - used.get((shop.code, month), 0.0)
                yield _Place(shop, month, opened + job.cost(month), days, left)


def _opening(car: Car, shop: Shop, month: int, standing: str | None) -> float | None:
    """What it costs that the car is there then: nothing where it goes anyway; None where it cannot be there."""
    if standing is not None:
        return 0.0 if standing == shop.code else None
    if car.may_go(shop.code, month):
        return car.visit_cost + car.move_cost[shop.code]
    return None


def _in_time(problem: Problem, car: Car, job: Job) -> str:
    last = f"in time: it is to be done by {problem.month(job.latest)} and may not be late"
    if job.late_cost is not None:
        last = "in any month"
    begins = problem.month(max(0, car.earliest or 0))
    return f"{last}; the car can go from {begins}, less what is forbidden or taken by another visit"


def _no_room(job: Job, places: Sequence[_Place]) -> str:
    days = f"{job.days:g} day{'' if job.days == 1 else 's'}"
    most = max(place.days for place in places)
    if most + TOLERANCE < job.days:
        return f"no room: it takes {days}, no month in reach has more than {most:g} beside visits that stand"
    if max(place.left for place in places) <= TOLERANCE:
        return "no room: every shop month in which it could be done is full"
    return f"no room: it takes {days}, no shop month in which it could be done has that left"


def _with_room(problem: Problem, best: _Place, by_hand: bool) -> str:
    place = f"the cheapest place with room, {best.shop.code} in {problem.month(best.month)},"
    saved = problem.unplaced_cost - best.cost
    if saved > TOLERANCE:
        why = "it was taken out by hand" if by_hand else "the search did not place it in its time"
        return f"{why}, though {place} costs {_amount(saved)} less than leaving it"
    less = "less" if saved < -TOLERANCE else "no more"
    return f"leaving it costs {less}: {_amount(problem.unplaced_cost)}, where {place} adds {_amount(best.cost)}"


def _amount(cost: float) -> str:
    return f"{cost:,.2f}".removesuffix(".00")

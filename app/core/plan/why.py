"""Why a job is left out of a plan, in a sentence."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from app.core.plan.cost import days_used, left_out, visits_by_car
from app.core.plan.problem import TOLERANCE, Car, Job, Problem, Shop, Unplaced, Visit


def unplaced(problem: Problem, visits: Sequence[Visit]) -> list[Unplaced]:
    """The jobs that are left though leaving them costs, each with why."""
    used = days_used(problem, visits)
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
) -> str:
    """Why a job has no place beside the car's visits; `used` are the days of all visits, by shop and month."""
    able = [shop for shop in problem.shops if job.skill in shop.does]
    if not able:
        return f"no shop has the skill {job.skill!r}"
    if not car.move_cost:
        return "no shop in reach"
    able = [shop for shop in able if shop.code in car.move_cost]
    if not able:
        return f"no shop with skill {job.skill!r} in reach"
    places = list(_places(problem, car, job, able, visits))
    if not places:
        return f"no shop with skill {job.skill!r} in reach {_in_time(problem, car, job)}"
    with_room = [
        place
        for place in places
        if used.get((place.shop.code, place.month), 0.0) + job.days
        <= place.shop.capacity_days[place.month] + TOLERANCE
    ]
    if not with_room:
        return _no_room(job, [place.shop.capacity_days[place.month] for place in places])
    return _costs_less(problem, min(with_room, key=lambda place: place.cost))


@dataclass(frozen=True, slots=True)
class _Place:
    shop: Shop
    month: int
    cost: float


def _places(
    problem: Problem, car: Car, job: Job, able: Iterable[Shop], visits: Sequence[Visit]
) -> Iterator[_Place]:
    """Where the job could be done beside the car's visits as they are, and what that would add."""
    standing = {visit.month: visit.shop for visit in visits}
    for shop in able:
        for month in range(problem.months):
            if not job.may(month):
                continue
            if month in standing:
                if standing[month] == shop.code:
                    yield _Place(shop, month, job.cost(month))
            elif car.may_go(shop.code, month):
                opened = car.visit_cost + car.move_cost[shop.code]
                yield _Place(shop, month, opened + job.cost(month))


def _in_time(problem: Problem, car: Car, job: Job) -> str:
    last = f"in time: it is to be done by {problem.month(job.latest)} and may not be late"
    if job.late_cost is not None:
        last = "in any month"
    begins = problem.month(max(0, car.earliest or 0))
    return f"{last}; the car can go from {begins}, less what is forbidden or taken by another visit"


def _no_room(job: Job, rooms: Sequence[float]) -> str:
    if max(rooms) + TOLERANCE < job.days:
        return (
            f"no room: it takes {job.days:g} days, no month in reach has more than {max(rooms):g}"
        )
    return "no room: every shop month in which it could be done is full"


def _costs_less(problem: Problem, best: _Place) -> str:
    where = f"{best.shop.code} in {problem.month(best.month)}"
    return (
        f"leaving it costs less: {problem.unplaced_cost:g}, "
        f"where the cheapest place with room, {where}, adds {best.cost:g}"
    )

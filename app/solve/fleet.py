"""A problem as NumPy columns: cars that have equally many jobs to place stand side by side.

In every array the cars are the last axis. A slot is a shop and a month as one number, shop * months + month;
NOWHERE is the slot of a job that is left out.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from app.core.plan.problem import Car, Job, Problem, Visit

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Flags = npt.NDArray[np.bool_]
NOWHERE = -1
# So many cars, times ways to go from one set of jobs to another, are priced at once: they fit the processor's cache.
AT_ONCE = 14_000


def most_cars(jobs: int) -> int:
    """The cars of a batch whose cars have so many jobs."""
    return max(1, AT_ONCE // int(3**jobs))


@dataclass(frozen=True, slots=True)
class Exceptions:
    """What opening a visit costs in one month where it is not as in other months: by shop and car."""

    shops: Ints
    cars: Ints
    costs: Floats


@dataclass(frozen=True, slots=True)
class Batch:
    """Cars with equally many jobs. Costs are infinite where something may not be.

    opening: visit and move, [shops, cars]; closed: infinite before a car's earliest month, else 0, [months, cars];
    exceptions: by month; in_month: a job's months early or late, [jobs, months, cars];
    at_shop: infinite where the skill is missing, else 0, [jobs, shops, cars]; days: [jobs, cars];
    together: the days of a set of jobs, [sets, cars], where bit j of its number says that it holds job j.
    """

    cars: Ints
    jobs: tuple[tuple[str, ...], ...]
    opening: Floats
    closed: Floats
    exceptions: dict[int, Exceptions]
    in_month: Floats
    at_shop: Floats
    days: Floats
    together: Floats

    @property
    def size(self) -> int:
        return len(self.jobs)

    def opening_in(self, month: int) -> Floats:
        """What going to each shop in a month costs, [shops, cars]."""
        opening: Floats = self.opening + self.closed[month]
        if found := self.exceptions.get(month):
            opening[found.shops, found.cars] = found.costs
        return opening


@dataclass(frozen=True, slots=True)
class Fleet:
    """The whole problem: `room` is what fixed visits leave of each slot's days, `standing` what they cost."""

    problem: Problem
    batches: tuple[Batch, ...]
    room: Floats
    standing: float

    @property
    def slots(self) -> int:
        return len(self.room)


def to_place(problem: Problem, car: Car) -> list[Job]:
    """The jobs somebody must decide on: not fixed, and due inside the horizon."""
    fixed = car.fixed_jobs()
    return [job for job in car.jobs if problem.must_place(job) and job.name not in fixed]


def fleet_of(problem: Problem) -> Fleet:
    groups: dict[int, list[int]] = defaultdict(list)
    for at, car in enumerate(problem.cars):
        if many := len(to_place(problem, car)):
            groups[many].append(at)
    batches = tuple(
        _batch(problem, cars)
        for jobs, group in sorted(groups.items())
        for cars in _by(most_cars(jobs), group)
    )
    return Fleet(problem, batches, *_fixed(problem))


def _by(many: int, cars: Sequence[int]) -> Iterator[Sequence[int]]:
    for first in range(0, len(cars), many):
        yield cars[first : first + many]


def _fixed(problem: Problem) -> tuple[Floats, float]:
    """The room that fixed visits leave, and their cost with that of their jobs."""
    shops = {shop.code: at for at, shop in enumerate(problem.shops)}
    room = np.array([shop.capacity_days for shop in problem.shops], dtype=float)
    room = room.reshape(len(shops), problem.months)
    cost = 0.0
    for car in problem.cars:
        jobs = {job.name: job for job in car.jobs}
        for visit in car.fixed:
            cost += car.visit_cost + car.move_cost[visit.shop]
            for name in visit.jobs:
                cost += jobs[name].cost(visit.month)
                room[shops[visit.shop], visit.month] -= jobs[name].days
    return np.maximum(room, 0.0).ravel(), cost


def _batch(problem: Problem, places: Sequence[int]) -> Batch:
    cars = [problem.cars[at] for at in places]
    jobs = [to_place(problem, car) for car in cars]
    months = np.arange(problem.months)
    days = np.array([[job.days for job in each] for each in jobs]).T.copy()
    opening = [
        [car.visit_cost + car.move_cost.get(shop.code, np.inf) for car in cars]
        for shop in problem.shops
    ]
    earliest = np.array([car.earliest or 0 for car in cars])
    able = [
        [[0.0 if job.skill in shop.does else np.inf for job in each] for each in jobs]
        for shop in problem.shops
    ]
    return Batch(
        np.array(places),
        tuple(tuple(job.name for job in each) for each in jobs),
        np.array(opening, dtype=float).reshape(len(problem.shops), len(cars)),
        np.where(months[:, None] < earliest[None, :], np.inf, 0.0),
        _exceptions(problem, cars),
        _in_month(jobs, months),
        np.array(able, dtype=float)
        .reshape(len(problem.shops), len(cars), -1)
        .transpose(2, 0, 1)
        .copy(),
        days,
        _together(days),
    )


def _together(days: Floats) -> Floats:
    sums = np.zeros((1 << len(days), days.shape[1]))
    for job, each in enumerate(days):
        sums[1 << job : 2 << job] = sums[: 1 << job] + each
    return sums


def some_of(batch: Batch, keep: Ints) -> Batch:
    """The cars of a batch at the places `keep`, in rising order."""
    place = np.full(batch.size, -1)
    place[keep] = np.arange(len(keep))
    exceptions = {
        month: Exceptions(each.shops[kept], place[each.cars[kept]], each.costs[kept])
        for month, each in batch.exceptions.items()
        if len(kept := np.flatnonzero(place[each.cars] >= 0))
    }
    return Batch(
        batch.cars[keep],
        tuple(batch.jobs[at] for at in keep.tolist()),
        batch.opening[:, keep],
        batch.closed[:, keep],
        exceptions,
        batch.in_month[:, :, keep],
        batch.at_shop[:, :, keep],
        batch.days[:, keep],
        batch.together[:, keep],
    )


def packed(batches: Iterable[Batch]) -> list[Batch]:
    """The same cars in as few batches as hold them; those without cars are gone."""
    packs: list[Batch] = []
    for batch in batches:
        last = packs[-1] if packs else None
        if last and _fit(last, batch):
            packs[-1] = _joined(last, batch)
        elif batch.size:
            packs.append(batch)
    return packs


def _fit(one: Batch, other: Batch) -> bool:
    jobs = len(one.days)
    return jobs == len(other.days) and one.size + other.size <= most_cars(jobs)


def _joined(one: Batch, other: Batch) -> Batch:
    exceptions = dict(one.exceptions)
    for month, each in other.exceptions.items():
        moved = Exceptions(each.shops, each.cars + one.size, each.costs)
        first = exceptions.get(month)
        exceptions[month] = _both(first, moved) if first else moved
    return Batch(
        cars=np.concatenate([one.cars, other.cars]),
        jobs=one.jobs + other.jobs,
        opening=_beside(one.opening, other.opening),
        closed=_beside(one.closed, other.closed),
        exceptions=exceptions,
        in_month=_beside(one.in_month, other.in_month),
        at_shop=_beside(one.at_shop, other.at_shop),
        days=_beside(one.days, other.days),
        together=_beside(one.together, other.together),
    )


def _beside(one: Floats, other: Floats) -> Floats:
    return np.concatenate([one, other], axis=-1)


def _both(one: Exceptions, other: Exceptions) -> Exceptions:
    return Exceptions(
        np.concatenate([one.shops, other.shops]),
        np.concatenate([one.cars, other.cars]),
        np.concatenate([one.costs, other.costs]),
    )


def _in_month(jobs: Sequence[Sequence[Job]], months: Ints) -> Floats:
    latest = np.array([[job.latest for job in each] for each in jobs]).T[:, None, :]
    early = np.array([[job.early_cost for job in each] for each in jobs]).T[:, None, :]
    late = np.array(
        [[np.inf if job.late_cost is None else job.late_cost for job in each] for each in jobs]
    ).T[:, None, :]
    behind = months[None, :, None] - latest
    # A month that is not late costs no lateness, though 0 times infinity is no number.
    lateness = np.where(behind > 0, np.maximum(behind, 1) * late, 0.0)
    cost: Floats = np.maximum(-behind, 0) * early + lateness
    return cost


def _exceptions(problem: Problem, cars: Sequence[Car]) -> dict[int, Exceptions]:
    """Forbidden months, and months of a fixed visit: it costs nothing more there, and nowhere else can be gone."""
    shops = {shop.code: at for at, shop in enumerate(problem.shops)}
    found: dict[int, dict[tuple[int, int], float]] = defaultdict(dict)
    for at, car in enumerate(cars):
        for each in car.forbid:
            for month in range(problem.months) if each.month is None else [each.month]:
                found[month][shops[each.shop], at] = np.inf
        for fixed in car.fixed:
            found[fixed.month] |= {(shop, at): np.inf for shop in shops.values()}
            found[fixed.month][shops[fixed.shop], at] = 0.0
    return {
        month: Exceptions(
            np.array([shop for shop, _ in costs]),
            np.array([car for _, car in costs]),
            np.array(list(costs.values())),
        )
        for month, costs in found.items()
    }


def visits_of(fleet: Fleet, slots: dict[int, Sequence[int]]) -> tuple[Visit, ...]:
    """The plan in which the jobs to place of car number `at` go to `slots[at]`, with all fixed visits."""
    problem = fleet.problem
    visits: list[Visit] = []
    for at, car in enumerate(problem.cars):
        shops = {visit.month: visit.shop for visit in car.fixed}
        done = {visit.month: list(visit.jobs) for visit in car.fixed}
        for job, slot in zip(to_place(problem, car), slots.get(at, ()), strict=True):
            if slot != NOWHERE:
                shop, month = divmod(int(slot), problem.months)
                shops[month] = problem.shops[shop].code
                done.setdefault(month, []).append(job.name)
        visits += (
            Visit(car.name, shops[month], month, tuple(done[month])) for month in sorted(done)
        )
    return tuple(visits)

"""The plan somebody makes who takes the jobs by when they fall due: to compare with, never to recommend."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field

from app.core.plan.problem import TOLERANCE, Car, Job, Problem, Shop, Visit


@dataclass(frozen=True, slots=True)
class Soonest:
    """What that plan costs, and how many jobs it leaves."""

    cost: float
    left: int


@dataclass(slots=True)
class _Open:
    """A visit that may still take work."""

    shop: Shop
    month: int
    jobs: list[str] = field(default_factory=list)


class _Plan:
    def __init__(self, problem: Problem) -> None:
        self.months = problem.months
        self.shops = {shop.code: shop for shop in problem.shops}
        self.room = {shop.code: list(shop.capacity_days) for shop in problem.shops}
        self.visits: dict[str, list[_Open]] = {}
        for car in problem.cars:
            self._stand(car)

    def _stand(self, car: Car) -> None:
        jobs = {job.name: job for job in car.jobs}
        for fixed in car.fixed:
            visit = _Open(self.shops[fixed.shop], fixed.month)
            self.visits.setdefault(car.name, []).append(visit)
            for name in fixed.jobs:
                self._take(visit, jobs[name])

    def _take(self, visit: _Open, job: Job) -> None:
        visit.jobs.append(job.name)
        self.room[visit.shop.code][visit.month] -= job.days

    def _has_room(self, shop: Shop, month: int, job: Job) -> bool:
        return self.room[shop.code][month] + TOLERANCE >= job.days

    def place(self, car: Car, job: Job) -> None:
        visit = self._standing(car, job) or self._new(car, job)
        if visit:
            self._take(visit, job)

    def _standing(self, car: Car, job: Job) -> _Open | None:
        """The visit the car already has at which the job costs least, the soonest of equals."""
        able = [
            visit
            for visit in self.visits.get(car.name, ())
            if job.skill in visit.shop.does
            and job.may(visit.month)
            and self._has_room(visit.shop, visit.month, job)
        ]
        return min(able, key=lambda visit: (job.cost(visit.month), visit.month), default=None)

    def _new(self, car: Car, job: Job) -> _Open | None:
        able = [code for code in car.move_cost if job.skill in self.shops[code].does]
        able.sort(key=lambda code: car.move_cost[code])
        taken = {visit.month for visit in self.visits.get(car.name, ())}
        for month in self._months(job):
            if month in taken:
                continue
            for code in able:
                if self._has_room(self.shops[code], month, job) and car.may_go(code, month):
                    visit = _Open(self.shops[code], month)
                    self.visits.setdefault(car.name, []).append(visit)
                    return visit
        return None

    def _months(self, job: Job) -> Iterator[int]:
        """From the latest month on time back to the first; then, where late is allowed, on from it."""
        yield from range(min(job.latest, self.months - 1), -1, -1)
        if job.late_cost is not None:
            yield from range(max(job.latest + 1, 0), self.months)

    def made(self, cars: Iterable[Car]) -> tuple[Visit, ...]:
        return tuple(
            Visit(car.name, visit.shop.code, visit.month, tuple(visit.jobs))
            for car in cars
            for visit in sorted(self.visits.get(car.name, ()), key=lambda visit: visit.month)
        )


def soonest_due_first(problem: Problem) -> tuple[Visit, ...]:
    """Jobs by latest month, then car, then job, each into a visit the car has, else a new one, else none.

    A new visit goes to the reachable shop of least move cost in the latest month on time that has room, else
    earlier, else later where late is allowed. Work past the horizon is left. Reads no prices and looks never ahead.
    """
    plan = _Plan(problem)
    standing = {car.name: car.fixed_jobs() for car in problem.cars}
    due = [
        (job.latest, car.name, job.name, car, job)
        for car in problem.cars
        for job in car.jobs
        if problem.must_place(job) and job.name not in standing[car.name]
    ]
    for *_, car, job in sorted(due, key=lambda each: each[:3]):
        plan.place(car, job)
    return plan.made(problem.cars)

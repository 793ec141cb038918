"""What a planner locked, forbade and wrote in an earlier version, taken over into a problem put together anew."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from app.core.plan.cost import visits_by_car
from app.core.plan.demand import Remark, items_of
from app.core.plan.problem import TOLERANCE, Car, Forbidden, Problem, Visit, by_name
from app.core.plan.revise import Draft


def carried(before: Draft, problem: Problem) -> tuple[Draft, list[Remark]]:
    """A draft of the problem with what of `before` can still stand, and remarks on what cannot.

    Both are of the same months. A locked visit keeps what is still to be done of its work.
    """
    taking = _Taking(before, problem)
    cars = tuple(taking.car(car) for car in problem.cars)
    notes = {
        name: told for name, told in before.notes.items() if name in {car.name for car in cars}
    }
    locked = frozenset((each.car, each.month) for each in taking.visits)
    draft = Draft(replace(problem, cars=cars), tuple(taking.visits), locked, notes)
    return draft, [Remark("carried", told, (name,)) for name, told in taking.lost]


class _Taking:
    def __init__(self, before: Draft, problem: Problem) -> None:
        self.before = before
        self.forbidden = {car.name: car.forbid for car in before.problem.cars}
        self.of_car = visits_by_car(before.visits)
        self.problem = problem
        self.does = {shop.code: shop.does for shop in problem.shops}
        self.room = {shop.code: list(shop.capacity_days) for shop in problem.shops}
        self.visits: list[Visit] = []
        self.lost: list[tuple[str, str]] = []

    def car(self, car: Car) -> Car:
        """The car with what is forbidden to it; its locked visits are taken over first, which forbid nothing there."""
        stands = {(each.shop, each.month) for each in car.fixed}
        for visit in self._locked(car.name):
            if self._can_stand(car, visit):
                self._take(car, visit)
                stands.add((visit.shop, visit.month))
            else:
                where = f"{visit.shop} in {self.problem.month(visit.month)}"
                self.lost.append(
                    (
                        car.name,
                        f"its locked visit to {where} cannot stand any more, so it is planned anew",
                    )
                )
        own = [each for each in self.forbidden.get(car.name, ()) if each.shop in self.does]
        kept = (each for each in own if each not in car.forbid and not _contradicts(each, stands))
        return replace(car, forbid=(*car.forbid, *kept))

    def _locked(self, name: str) -> Iterator[Visit]:
        """The visits that were locked by hand."""
        for visit in self.of_car.get(name, ()):
            if (name, visit.month) in self.before.locked:
                yield visit

    def _jobs(self, car: Car, visit: Visit) -> tuple[str, ...]:
        """The jobs there are now whose work a visit held."""
        held = set(items_of(visit.jobs))
        return tuple(job.name for job in car.jobs if held.issuperset(items_of([job.name])))

    def _can_stand(self, car: Car, visit: Visit) -> bool:
        jobs = [by_name(car.jobs)[name] for name in self._jobs(car, visit)]
        return (
            bool(jobs)
            and visit.shop in self.does
            and car.may_go(visit.shop, visit.month)
            and all(each.month != visit.month for each in car.fixed)
            and all(job.skill in self.does[visit.shop] and job.may(visit.month) for job in jobs)
            and sum(job.days for job in jobs) <= self.room[visit.shop][visit.month] + TOLERANCE
        )

    def _take(self, car: Car, visit: Visit) -> None:
        jobs = self._jobs(car, visit)
        self.room[visit.shop][visit.month] -= sum(by_name(car.jobs)[name].days for name in jobs)
        self.visits.append(replace(visit, jobs=jobs))


def _contradicts(forbidden: Forbidden, stands: set[tuple[str, int]]) -> bool:
    return any(
        shop == forbidden.shop and forbidden.month in (None, month) for shop, month in stands
    )

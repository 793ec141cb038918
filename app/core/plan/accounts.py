"""What the visits of each car of a plan come to: a change by hand asks anew for the cars alone that it names."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import chain
from math import fsum

from app.core.plan.check import faults_of_car, overfull
from app.core.plan.cost import cost_of_car, left_of_car, visits_by_car
from app.core.plan.demand import in_words, items_of
from app.core.plan.problem import Car, Problem, Shop, Visit, by_name
from app.core.plan.revise import Draft


@dataclass(frozen=True, slots=True)
class Account:
    """Of one car: cost, months late and months of life given away over its jobs, jobs left, what it breaks in words.

    `left_items` are the due items of the jobs left: how they are put together as jobs is another matter in each plan.
    `days` are those that each of its visits takes, by shop and month.
    """

    cost: float
    late: int
    early: int
    left: int
    left_items: int
    visits: int
    faults: tuple[str, ...]
    days: tuple[tuple[tuple[str, int], float], ...]


Accounts = Mapping[str, Account]


def accounts(problem: Problem, visits: Iterable[Visit]) -> Accounts:
    """The account of every car, in the problem's order."""
    of_car, shops = visits_by_car(visits), _shops(problem)
    return {
        car.name: _account(problem, shops, car, of_car.get(car.name, ())) for car in problem.cars
    }


def anew(before: Accounts, draft: Draft, names: Iterable[str]) -> Accounts:
    """The accounts of a draft in which only the cars of these names are otherwise than `before`."""
    changed = set(names)
    if not changed:
        return before
    shops = _shops(draft.problem)
    of_car = visits_by_car(visit for visit in draft.visits if visit.car in changed)
    now = {
        car.name: _account(draft.problem, shops, car, of_car.get(car.name, ()))
        for car in draft.problem.cars
        if car.name in changed
    }
    return {**before, **now}


def _shops(problem: Problem) -> dict[str, Shop]:
    return {shop.code: shop for shop in problem.shops}


def _account(
    problem: Problem, shops: Mapping[str, Shop], car: Car, visits: Sequence[Visit]
) -> Account:
    jobs = by_name(car.jobs)
    left = [job.name for job in left_of_car(problem, car, visits)]
    late = [visit.month - jobs[name].latest for visit in visits for name in visit.jobs]
    return Account(
        cost_of_car(problem, car, visits),
        sum(months for months in late if months > 0),
        -sum(months for months in late if months < 0),
        len(left),
        len(items_of(left)),
        len(visits),
        tuple(faults_of_car(problem, shops, car, visits, in_words)),
        tuple(
            ((visit.shop, visit.month), fsum(jobs[name].days for name in visit.jobs))
            for visit in visits
            if visit.jobs
        ),
    )


def total_cost(found: Accounts) -> float:
    return fsum(each.cost for each in found.values())


def days_of(found: Accounts) -> dict[tuple[str, int], float]:
    """The days that visits take, by shop and month, where there are any."""
    days: dict[tuple[str, int], list[float]] = defaultdict(list)
    for place, taken in chain.from_iterable(each.days for each in found.values()):
        days[place].append(taken)
    return {place: fsum(each) for place, each in days.items()}


def faults_in(problem: Problem, found: Accounts) -> list[str]:
    """What the checker says of the whole plan: of each car, then of each shop month."""
    of_cars = chain.from_iterable(each.faults for each in found.values())
    return [*of_cars, *overfull(_shops(problem), problem, days_of(found))]

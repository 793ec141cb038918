"""Small random problems with everything a problem can hold, and their optimum by going through every plan."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import product
from math import inf
from random import Random

from app.core.plan.contradictions import contradictions
from app.core.plan.problem import Car, Fixed, Forbidden, Job, Problem, Shop

SKILLS = ("tank", "lining", "valve")
# Of a car: the cost of a plan, and the days it takes by shop and month.
Choice = tuple[float, dict[tuple[str, int], float]]


def small(seed: int, cars: int = 5, jobs: int = 3, shops: int = 2, months: int = 4) -> Problem:
    """At most so many of each; costs and days with and without fractions, some of them 0."""
    source = Random(seed)
    yards = tuple(_shop(source, f"SHOP-{at}", months) for at in range(source.randint(1, shops)))
    while True:
        fleet = tuple(
            _car(source, f"ZQKX {at}", yards, source.randint(min(1, seed % 9), jobs), months)
            for at in range(source.randint(cars // 2, cars))
        )
        problem = Problem(
            "2027-11", months, source.choice((0.0, 40.0, 200.0, 500.0, 1e5)), yards, fleet
        )
        if not contradictions(problem):
            return problem


def _shop(source: Random, code: str, months: int) -> Shop:
    does = frozenset(source.sample(SKILLS, source.choice((1, 2, 3, 3))))
    rooms = (0.0, 2.5, 3.0, 4.0, 6.0)
    if source.random() < 0.5:
        return Shop(code, does, (source.choice(rooms),) * months)
    return Shop(code, does, tuple(source.choice(rooms) for _ in range(months)))


def _car(source: Random, name: str, shops: Sequence[Shop], jobs: int, months: int) -> Car:
    moves = {
        shop.code: source.choice((0.0, 10.0, 25.5, 80.0)) for shop in shops if source.random() < 0.9
    }
    work = tuple(_job(source, f"job-{at}", months) for at in range(jobs))
    return Car(
        name,
        source.choice((0.0, 12.0, 30.25)),
        moves,
        work,
        source.choice((None, None, None, -1, 1)),
        _fixed(source, moves, work, months),
        tuple(
            Forbidden(shop.code, source.choice((None, 0, 1)))
            for shop in shops
            if source.random() < 0.15
        ),
    )


def _job(source: Random, name: str, months: int) -> Job:
    return Job(
        name,
        source.choice(SKILLS),
        source.choice((0.5, 1.0, 2.0, 3.0)),
        source.choice((-1, 0, *range(months), *range(months), months)),
        source.choice((0.0, 1.0, 7.5)),
        source.choice((None, None, 0.0, 3.0, 60.0)),
    )


def _fixed(
    source: Random, moves: dict[str, float], jobs: Sequence[Job], months: int
) -> tuple[Fixed, ...]:
    if not moves or source.random() < 0.7:
        return ()
    done = tuple(job.name for job in jobs if source.random() < 0.5)
    return (Fixed(source.choice(list(moves)), source.randrange(months), done),)


def optimum(problem: Problem) -> float:
    """The least cost of any plan, by going through all of them; written apart from the product's own rules."""
    used = {(shop.code, month): 0.0 for shop in problem.shops for month in range(problem.months)}
    room = {
        (shop.code, month): days
        for shop in problem.shops
        for month, days in enumerate(shop.capacity_days)
    }
    return _least(sorted((plans_of(problem, car) for car in problem.cars), key=len), used, room)


def _least(
    left: Sequence[list[Choice]],
    used: dict[tuple[str, int], float],
    room: dict[tuple[str, int], float],
) -> float:
    if not left:
        return 0.0
    best = inf
    for cost, days in left[0]:
        if cost >= best:
            continue
        after = {at: used[at] + days.get(at, 0.0) for at in used}
        if all(after[at] <= room[at] + 1e-9 for at in days):
            best = min(best, cost + _least(left[1:], after, room))
    return best


def plans_of(problem: Problem, car: Car) -> list[Choice]:
    """Every plan of a car that breaks nothing by itself."""
    does = {shop.code: shop.does for shop in problem.shops}
    places = [None, *product(does, range(problem.months))]
    fixed = {(each.shop, each.month) for each in car.fixed}
    where = {name: (each.shop, each.month) for each in car.fixed for name in each.jobs}
    choices: dict[tuple[tuple[tuple[str, int], float], ...], float] = {}
    for chosen in product(
        *([where[job.name]] if job.name in where else places for job in car.jobs)
    ):
        visits = fixed | {at for at in chosen if at is not None}
        if len({month for _, month in visits}) < len(visits):
            continue
        if any(not _may(car, *at) for at in visits - fixed):
            continue
        cost = sum(car.visit_cost + car.move_cost[shop] for shop, _ in visits)
        days: dict[tuple[str, int], float] = {}
        for job, at in zip(car.jobs, chosen, strict=True):
            cost += _cost(problem, job, at, does)
            if at is not None:
                days[at] = days.get(at, 0.0) + job.days
        key = tuple(sorted(days.items()))
        if cost < choices.get(key, inf):
            choices[key] = cost
    return sorted(((cost, dict(key)) for key, cost in choices.items()), key=lambda each: each[0])


def _may(car: Car, shop: str, month: int) -> bool:
    forbidden = any(each.shop == shop and each.month in (None, month) for each in car.forbid)
    return shop in car.move_cost and month >= (car.earliest or 0) and not forbidden


def _cost(
    problem: Problem, job: Job, at: tuple[str, int] | None, does: dict[str, frozenset[str]]
) -> float:
    if at is None:
        return problem.unplaced_cost if job.latest < problem.months else 0.0
    shop, month = at
    if job.skill not in does[shop]:
        return inf
    if month <= job.latest:
        return (job.latest - month) * job.early_cost
    return inf if job.late_cost is None else (month - job.latest) * job.late_cost


def some(many: int, **sizes: int) -> Iterator[Problem]:
    """As many problems, no two from one seed."""
    return (small(seed, **sizes) for seed in range(many))

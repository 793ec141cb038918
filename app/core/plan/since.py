"""What a plan no longer fits, by the fleet and the standards as they are now."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from math import fsum

from app.core.plan.basis import Basis
from app.core.plan.demand import BETWEEN, in_words, items_of
from app.core.plan.problem import TOLERANCE, Car, Job, Problem, Visit, ordinal


@dataclass(frozen=True, slots=True)
class Now:
    """The problem that the fleet is now, and the standards by which it was put together."""

    problem: Problem
    basis: Basis


def differences(
    planned: Problem, visits: Sequence[Visit], now: Now, away: Collection[str] = ()
) -> Iterator[tuple[str, str]]:
    """What a plan's problem and its visits no longer fit: a car or a shop, and a sentence.

    `away` are cars that are in a shop or on their way: what began is as it is, so of their work nothing is told.
    """
    before = {car.name: car for car in planned.cars}
    after = {car.name: car for car in now.problem.cars}
    shift = _shift(planned, now)
    for name, car in before.items():
        if name in away:
            yield name, "is in a shop or on its way there: what has begun stays as it is"
        elif name not in after:
            yield name, "has nothing to be planned any more"
        else:
            yield from ((name, told) for told in _work_since(planned, car, after[name], shift))
    for name in sorted(after.keys() - before.keys()):
        yield name, "is to be planned and is not in the plan"
    yield from _elsewhere(planned, visits, now)
    yield from no_place(planned, visits, now)
    yield from no_room(planned, visits, now)


def _shift(planned: Problem, now: Now) -> int:
    return ordinal(now.problem.first_month) - ordinal(planned.first_month)


def _work_since(planned: Problem, before: Car, after: Car, shift: int) -> Iterator[str]:
    """By item, since standards that changed may put other items together as one job."""
    was, now = _by_item(before), _by_item(after)
    for item in sorted(was.keys() - now.keys()):
        yield f"{in_words(item)} no longer falls due as it was planned"
    for item in sorted(now.keys() - was.keys()):
        yield f"{in_words(item)} falls due and is not in the plan"
    for item in sorted(was.keys() & now.keys()):
        latest = now[item].latest + shift
        if latest != was[item].latest:
            when = "earlier" if latest < was[item].latest else "later"
            yield f"{in_words(item)} falls due {when}: by {planned.month(latest)}"


def _by_item(car: Car) -> dict[str, Job]:
    """The job that each due item is part of."""
    return {item: job for job in car.jobs for item in items_of([job.name])}


@dataclass(frozen=True, slots=True)
class _Open:
    """A visit with the work of it that is still to be done, by item; its month as now counted."""

    car: Car
    shop: str
    month: int
    work: Mapping[str, Job]
    where: str

    @property
    def stands(self) -> str | None:
        """The shop to which a visit that stands takes the car in that month."""
        return next((each.shop for each in self.car.fixed if each.month == self.month), None)


def _still_open(planned: Problem, visits: Iterable[Visit], now: Now) -> Iterator[_Open]:
    shift = _shift(planned, now)
    after = {car.name: (car, _by_item(car)) for car in now.problem.cars}
    for visit in visits:
        car, jobs = after.get(visit.car, (None, {}))
        work = {item: jobs[item] for item in items_of(visit.jobs) if item in jobs}
        if car and work:
            where = f"{visit.shop} in {planned.month(visit.month)}"
            yield _Open(car, visit.shop, visit.month - shift, work, where)


def _elsewhere(planned: Problem, visits: Iterable[Visit], now: Now) -> Iterator[tuple[str, str]]:
    """Visits in a month in which another stands."""
    for each in _still_open(planned, visits, now):
        if each.stands and each.stands != each.shop:
            yield each.car.name, f"goes to {each.stands} in that month, so not to {each.where}"


def no_place(planned: Problem, visits: Iterable[Visit], now: Now) -> Iterator[tuple[str, str]]:
    """Visits whose work cannot be done there any more, or not then: a car and a sentence each, in their order.

    Not those in whose month another visit stands, nor those for which there are too few days.
    """
    visits = tuple(visits)
    for each in _still_open(planned, visits, now):
        yield from ((each.car.name, told) for told in _why_not(each, now))
    for visit in visits:
        gone = [item for item in items_of(visit.jobs) if item not in now.basis.standards]
        if gone:
            where = f"{visit.shop} in {planned.month(visit.month)}"
            told = f"goes to {where} for {_words(gone)}, for which there is no standard any more"
            yield visit.car, told


def _why_not(each: _Open, now: Now) -> Iterator[str]:
    shop = next((shop for shop in now.problem.shops if shop.code == each.shop), None)
    if shop is None:
        yield f"cannot go to {each.where} any more: the standards name no such shop"
        return
    if each.stands is None:
        yield from _out_of_reach(each, now.problem)
    by_skill: dict[str, list[str]] = defaultdict(list)
    for item in each.work:
        by_skill[now.basis.standards[item].skill].append(item)
    for skill, items in by_skill.items():
        if skill not in shop.does:
            done = f"cannot have {_words(items)} done at {each.where} any more"
            yield f"{done}: by the standards that shop does no {skill} work"
    yield from _too_late(each, now)


def _out_of_reach(each: _Open, now: Problem) -> Iterator[str]:
    why = None
    if each.shop not in each.car.move_cost:
        why = "by the standards it is out of reach"
    elif each.month < (each.car.earliest or 0):
        why = f"the car is not free before {now.month(each.car.earliest or 0)}"
    elif not each.car.may_go(each.shop, each.month):
        why = "another visit stands then"
    if why:
        yield f"cannot go to {each.where} any more: {why}"


def _too_late(each: _Open, now: Now) -> Iterator[str]:
    """What is late already when the plan begins may be done at any time."""
    for item, job in each.work.items():
        may_be_late = job.latest < 0 or now.basis.standards[item].late_cost is not None
        if each.month > job.latest and not may_be_late:
            by = now.problem.month(job.latest)
            yield f"goes to {each.where} too late: {_words([item])} is to be done by {by}"


def _words(items: Sequence[str]) -> str:
    return in_words(BETWEEN.join(items))


def no_room(planned: Problem, visits: Iterable[Visit], now: Now) -> Iterator[tuple[str, str]]:
    """Shop months with fewer days left than the visits take whose work is still to be done, by shop and month.

    The days are those that the standards give the work now; shops that they do not name are left to `no_place`.
    """
    days: dict[tuple[str, int], list[float]] = defaultdict(list)
    for each in _still_open(planned, visits, now):
        days[each.shop, each.month] += (now.basis.standards[item].days for item in each.work)
    room = {shop.code: shop.capacity_days for shop in now.problem.shops}
    for (shop, month), taken in sorted(days.items()):
        if shop not in room:
            continue
        left = room[shop][month] if 0 <= month < now.problem.months else 0.0
        if fsum(taken) > left + TOLERANCE:
            told = f"has {left:g} day{'' if left == 1 else 's'} left in {now.problem.month(month)}"
            yield shop, f"{told}, and this version takes {fsum(taken):g}"

"""What a plan no longer fits, by the fleet as it is now."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence

from app.core.plan.cost import days_used
from app.core.plan.demand import in_words, items_of
from app.core.plan.problem import TOLERANCE, Car, Problem, Visit, ordinal


def differences(
    planned: Problem, visits: Sequence[Visit], now: Problem, away: Collection[str] = ()
) -> Iterator[tuple[str, str]]:
    """What a plan's problem and its visits no longer fit: a car or a shop, and a sentence.

    `away` are cars that are in a shop or on their way: what began is as it is, so of their work nothing is told.
    """
    before = {car.name: car for car in planned.cars}
    after = {car.name: car for car in now.cars}
    shift = ordinal(now.first_month) - ordinal(planned.first_month)
    for name, car in before.items():
        if name in away:
            yield name, "is in a shop or on its way there: what has begun stays as it is"
        elif name not in after:
            yield name, "has nothing to be planned any more"
        else:
            yield from ((name, told) for told in _work_since(planned, car, after[name], shift))
    for name in sorted(after.keys() - before.keys()):
        yield name, "is to be planned and is not in the plan"
    yield from _nowhere(planned, visits, after, shift)
    yield from no_room(planned, visits, now)


def _work_since(planned: Problem, before: Car, after: Car, shift: int) -> Iterator[str]:
    """By item, since standards that changed may put other items together as one job."""
    was, now = _latest(before), _latest(after)
    for item in sorted(was.keys() - now.keys()):
        yield f"{in_words(item)} no longer falls due as it was planned"
    for item in sorted(now.keys() - was.keys()):
        yield f"{in_words(item)} falls due and is not in the plan"
    for item in sorted(was.keys() & now.keys()):
        latest = now[item] + shift
        if latest != was[item]:
            when = "earlier" if latest < was[item] else "later"
            yield f"{in_words(item)} falls due {when}: by {planned.month(latest)}"


def _latest(car: Car) -> dict[str, int]:
    return {item: job.latest for job in car.jobs for item in items_of([job.name])}


def _nowhere(
    planned: Problem, visits: Iterable[Visit], after: Mapping[str, Car], shift: int
) -> Iterator[tuple[str, str]]:
    """Visits to where the car cannot go any more, or not in that month."""
    for visit in visits:
        car, month = after.get(visit.car), visit.month - shift
        if car is None or not visit.jobs:
            continue
        standing = next((each for each in car.fixed if each.month == month), None)
        where = f"{visit.shop} in {planned.month(visit.month)}"
        if standing and standing.shop != visit.shop:
            yield visit.car, f"goes to {standing.shop} in that month, so not to {where}"
        elif not standing and not car.may_go(visit.shop, month):
            yield (
                visit.car,
                f"cannot go to {where} any more: out of reach, not free yet, or another visit stands then",
            )


def no_room(planned: Problem, visits: Iterable[Visit], now: Problem) -> Iterator[tuple[str, str]]:
    """Shop months with fewer days left than the visits take whose work is still to be done, by shop and month."""
    shift = ordinal(now.first_month) - ordinal(planned.first_month)
    open_items = {car.name: _latest(car).keys() for car in now.cars}
    still = [
        Visit(each.car, each.shop, each.month, _open(each.jobs, open_items[each.car]))
        for each in visits
        if each.car in open_items
    ]
    room = {shop.code: shop.capacity_days for shop in now.shops}
    for (shop, month), days in sorted(days_used(planned, still).items()):
        at = month - shift
        left = room[shop][at] if shop in room and 0 <= at < now.months else 0.0
        if days > left + TOLERANCE:
            there = f"{left:g} day{'' if left == 1 else 's'} left in {planned.month(month)}"
            yield shop, f"has {there}, and this version takes {days:g}"


def _open(jobs: Iterable[str], items: Collection[str]) -> tuple[str, ...]:
    return tuple(job for job in jobs if any(item in items for item in items_of([job])))

"""The search for the cheapest plan: the relaxed problem, whole columns from it, exchanges, and a proof where it can be.

A fleet too large for one program is planned in parts, each with its share of the room that is left; the prices of the
parts, taken together, prove a bound for the whole.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from concurrent.futures import Executor
from dataclasses import replace
from random import Random
from time import monotonic

import numpy as np

from app.core.plan.check import faults
from app.core.plan.cost import cost
from app.core.plan.problem import Problem, Solved, Visit
from app.core.plan.soonest import soonest_due_first
from app.solve.abreast import helped
from app.solve.alone import best_alone
from app.solve.columns import Column, columns_of
from app.solve.dive import dive
from app.solve.exact import prove
from app.solve.exchange import Exchange
from app.solve.fleet import NOWHERE, Batch, Fleet, Floats, fleet_of, packed, some_of, visits_of
from app.solve.garbage import collected_rarely
from app.solve.relaxed import Relaxation, answers, take
from app.solve.ties import placed_on_a_tie
from app.solve.watch import Found, Tell, Watch, never, nobody, watched

# The most cars that one program plans.
PART = 6_000
# The shares of the time after which the relaxed problem, choosing whole columns from it, and exchanges are cut short;
# the last where no proof is possible.
RELAXED, CHOSEN, EXCHANGED, EXCHANGED_AGAIN = 0.5, 0.75, 0.9, 0.985
# Of a fleet in parts: the shares of the time after which the parts are done, and exchanges over the whole; what is left
# goes into a better bound. Exchanges hold some forty columns a car in memory, so a larger fleet than this has none.
PARTED, EXCHANGED_WHOLE, MOST_EXCHANGED = 0.7, 0.9, 60_000
# With fewer cars than this the relaxed problem is soon solved; with more, one car in so many is asked first for prices
# to begin with, which need be right only so closely, and exchanges are calculated in processes of their own.
FEW_CARS, ONE_IN, ROUGHLY = 1_000, 3, 2e-3
# On the way to a better bound: the share of the step that would close the gap at once, below which it is over.
SMALLEST_STEP = 0.005
# So long may a search that is stopped before it has a plan of its own take for a quick one, as that of a large fleet
# does: it costs about half of what soonest due first does.
SECONDS_TO_FIND = 60.0
# Of the time; in the rest each car is moved to where it costs less by itself, for which there always are some seconds,
# the plan is put together, work placed on ties and its cost worked out anew.
SEARCHING, SECONDS_ALONE = 0.98, 1.0


def solve(
    problem: Problem,
    seconds: float,
    tell: Tell = nobody,
    stop: Callable[[], bool] = never,
    known: Sequence[Visit] = (),
) -> Solved:
    """The cheapest plan found within about `seconds`, and a bound that no plan goes below.

    `tell` is told bound and best cost as they improve; when `stop`, asked several times a second, says so, the best so
    far is given. What is found costs no more than a plan that is `known`, nor does what is told. The same problem gives
    the same plan, where time does not end the search.
    """
    began = monotonic()
    soonest = soonest_due_first(problem)
    first = _cheaper(problem, soonest, known)
    if not problem.shops:  # nowhere to go
        total = cost(problem, first)
        return Solved(first, total, total, monotonic() - began)
    fleet = fleet_of(problem)
    columns = columns_for(fleet, first)
    # Putting the plan together takes about a third of what getting ready took.
    searched = seconds - (monotonic() - began) / 2

    def search(watch: Watch) -> Found:
        return _found(fleet, columns, watch, beside)

    def told(bound: float, best: float) -> None:
        tell(max(0.0, bound + fleet.standing), best + fleet.standing)

    with helped(far=_size(fleet) >= FEW_CARS) as beside, collected_rarely():
        left = seconds * SEARCHING - (monotonic() - began)
        at_first = Found(columns, -np.inf, no_prices(fleet))
        patience = SECONDS_TO_FIND if first is soonest else 0.0
        found = watched(search, left, at_first, told, stop, patience)
        if found.bound == -np.inf:  # it was ended before it had proven anything
            found = replace(found, bound=answers(fleet, fleet.batches, found.prices, fleet.room)[0])
        best = min((found, at_first), key=lambda each: each.cost).columns
        left = 0.0 if stop() else searched - (monotonic() - began)
        best = best_alone(fleet, best, Watch(max(left, SECONDS_ALONE)))
    visits = visits_of(fleet, {column.car: column.slots for column in best})
    visits = placed_on_a_tie(problem, visits)
    total = cost(problem, visits)
    bound = min(max(0.0, found.bound + fleet.standing), total)
    return Solved(visits, total, bound, monotonic() - began, _by_shop(problem, found.prices))


def _cheaper(
    problem: Problem, soonest: tuple[Visit, ...], known: Sequence[Visit]
) -> tuple[Visit, ...]:
    """The known plan where it still is one, and costs less."""
    if not known or faults(problem, known) or cost(problem, known) >= cost(problem, soonest):
        return soonest
    return tuple(known)


def _by_shop(problem: Problem, prices: Floats) -> dict[str, tuple[float, ...]]:
    return {
        shop.code: tuple(each.tolist()) for shop, each in zip(problem.shops, prices, strict=True)
    }


def _found(fleet: Fleet, first: Sequence[Column], watch: Watch, beside: Executor) -> Found:
    if not fleet.batches:
        return Found([], 0.0, no_prices(fleet))
    if _size(fleet) > PART:
        return _in_parts(fleet, first, watch, beside)
    return _whole(fleet, first, watch, beside, _prices_of_some(fleet, first, watch))


def _size(fleet: Fleet) -> int:
    return sum(batch.size for batch in fleet.batches)


def no_prices(fleet: Fleet) -> Floats:
    return np.zeros((len(fleet.problem.shops), fleet.problem.months))


# ---- in one program ----


def _whole(
    fleet: Fleet, first: Sequence[Column], watch: Watch, beside: Executor, prices: Floats | None
) -> Found:
    """`prices` are some to begin with, where there are any."""
    relaxed = Relaxation(fleet, fleet.batches, fleet.room, [*left_out(fleet), *first])
    if prices is not None:
        relaxed.begin_at(prices)
    relaxed.settle(watch.until(RELAXED))
    prices = no_prices(fleet) if relaxed.prices is None else relaxed.prices
    bound = relaxed.bound
    watch.tell(Found(first, bound, prices))
    columns = dive(relaxed, watch.until(CHOSEN))
    found = Found(columns, bound, prices)
    watch.tell(found)
    if watch.over():
        return found
    exchange = Exchange(fleet, fleet.room, columns, prices, beside)
    exchange.improve(watch.until(EXCHANGED), bound)
    before = Found(list(exchange.chosen.values()), bound, prices)
    watch.tell(before)
    found = prove(fleet, before, watch)
    if found.bound == bound and found.columns == before.columns:
        # Nothing came of it, so exchanges have the time that it left.
        exchange.improve(watch.until(EXCHANGED_AGAIN), bound)
        found = replace(found, columns=list(exchange.chosen.values()))
    return found


def _prices_of_some(fleet: Fleet, first: Sequence[Column], watch: Watch) -> Floats | None:
    """The prices at which one car in `ONE_IN` would share as much of the room, found far sooner than those of all."""
    if _size(fleet) < FEW_CARS:
        return None
    some = packed(some_of(batch, np.arange(0, batch.size, ONE_IN)) for batch in fleet.batches)
    part = replace(fleet, batches=tuple(some), room=fleet.room / ONE_IN)
    of_car = {column.car: column for column in first}
    columns = [*left_out(part), *_that_fit(part, of_car)]
    relaxed = Relaxation(part, part.batches, part.room, columns)
    relaxed.settle(watch.until(RELAXED / 2), ROUGHLY)
    return relaxed.prices


def left_out(fleet: Fleet) -> list[Column]:
    """For each car the column in which all its jobs are left."""
    return [
        column
        for batch in fleet.batches
        for column in columns_of(fleet, batch, np.full((len(batch.days), batch.size), NOWHERE))
    ]


def columns_for(fleet: Fleet, visits: Iterable[Visit]) -> list[Column]:
    """The columns of a plan's visits, a column a car."""
    problem = fleet.problem
    shops = {shop.code: at for at, shop in enumerate(problem.shops)}
    slot_of = {
        (visit.car, job): shops[visit.shop] * problem.months + visit.month
        for visit in visits
        for job in visit.jobs
    }
    columns: list[Column] = []
    for batch in fleet.batches:
        slots = [
            [slot_of.get((problem.cars[car].name, job), NOWHERE) for job in jobs]
            for car, jobs in zip(batch.cars.tolist(), batch.jobs, strict=True)
        ]
        columns += columns_of(fleet, batch, np.array(slots).T)
    return columns


# ---- in parts ----


def _in_parts(fleet: Fleet, first: Sequence[Column], watch: Watch, beside: Executor) -> Found:
    """Parts one after the other, each with an equal share of the room that those before it left."""
    parts = list(_parts(fleet))
    of_car = {column.car: column for column in first}
    room = fleet.room.copy()
    columns: list[Column] = []
    prices = no_prices(fleet)
    begin: Floats | None = None
    for at, batches in enumerate(parts):
        share = np.maximum(room, 0.0) / (len(parts) - at)
        part = replace(fleet, batches=batches, room=share)
        seconds = watch.until(PARTED).left / (len(parts) - at)
        within = Watch(seconds, stop=watch.stop)
        fitting = _that_fit(part, of_car)
        if begin is None:
            begin = _prices_of_some(part, fitting, within)
        found = _whole(part, fitting, within, beside, begin)
        begin = found.prices
        columns += found.columns
        prices += found.prices / len(parts)
        for column in found.columns:
            take(room, column)
    watch.tell(Found(columns, -np.inf, prices))
    if len(columns) <= MOST_EXCHANGED:
        exchange = Exchange(fleet, fleet.room, columns, prices, beside)
        exchange.improve(watch.until(EXCHANGED_WHOLE), 0.0)
        columns = list(exchange.chosen.values())
    return _bounded(fleet, Found(columns, -np.inf, prices), watch)


def _parts(fleet: Fleet) -> Iterable[tuple[Batch, ...]]:
    """Parts of the fleet drawn by lot, so that each is like the whole."""
    cars = [int(car) for batch in fleet.batches for car in batch.cars]
    many = -(-len(cars) // PART)
    Random(1).shuffle(cars)
    part_of = {car: at % many for at, car in enumerate(cars)}
    for part in range(many):
        kept = (
            some_of(
                batch,
                np.array(
                    [at for at, car in enumerate(batch.cars.tolist()) if part_of[car] == part],
                    dtype=np.int64,
                ),
            )
            for batch in fleet.batches
        )
        yield tuple(packed(kept))


def _that_fit(part: Fleet, of_car: Mapping[int, Column]) -> list[Column]:
    """Those of the first columns that fit the part's room together."""
    room = part.room.copy()
    kept = []
    for batch in part.batches:
        for column in (of_car[car] for car in batch.cars.tolist() if car in of_car):
            if all(room[slot] >= days for slot, days in column.days):
                take(room, column)
                kept.append(column)
    return kept


def _bounded(fleet: Fleet, found: Found, watch: Watch) -> Found:
    """With a bound for the whole fleet, from prices moved towards where days lack or are left (subgradient)."""
    best, prices, step = found.cost, found.prices, 1.0
    while step > SMALLEST_STEP:
        began = watch.spent
        paid, columns = answers(fleet, fleet.batches, prices, fleet.room)
        if paid > found.bound:
            found, lack = Found(found.columns, paid, prices), _lack(fleet, columns, prices)
            watch.tell(found)
        else:
            step /= 2
        if watch.over() or watch.left < watch.spent - began:  # another step would end too late
            break
        norm = float((lack**2).sum()) or 1.0
        prices = np.maximum(0.0, found.prices + step * (best - found.bound) / norm * lack)
    return found


def _lack(fleet: Fleet, columns: Iterable[Column], prices: Floats) -> Floats:
    """By shop and month, the days lacking at these prices; below 0 where days are left though they cost something."""
    lack = -fleet.room
    for column in columns:
        for slot, days in column.days:
            lack[slot] += days
    lack = lack.reshape(prices.shape)
    return np.where((prices <= 0) & (lack < 0), 0.0, lack)

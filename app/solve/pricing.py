"""The cheapest plan of each car by itself, when every day of a slot has a price.

Month by month over sets of jobs done (a set is a whole number whose bit j says that job j is done): in a month a car
makes one visit or none, so this is exact whatever the prices are.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from app.core.plan.problem import TOLERANCE
from app.solve.fleet import NOWHERE, Batch, Floats, Ints


@dataclass(frozen=True, slots=True)
class Priced:
    """Of each car of a batch: what its cheapest plan costs with the prices, and the slots of its jobs, [jobs, cars]."""

    values: Floats
    slots: Ints


@dataclass(frozen=True, slots=True)
class Steps:
    """Every way from a set of jobs to one that holds it: `before` and `added`, grouped by the set that results."""

    before: Ints
    added: Ints
    starts: Ints


@lru_cache(maxsize=16)
def steps_of(jobs: int) -> Steps:
    pairs = [
        (after & ~added, added, after)
        for after in range(1 << jobs)
        for added in range(1 << jobs)
        if added & ~after == 0
    ]
    before, added, after = np.array(pairs, dtype=np.int64).T
    return Steps(before, added, np.flatnonzero(np.diff(after, prepend=-1)))


def price(batch: Batch, prices: Floats, room: Floats, leaving: float) -> Priced:
    """The cheapest plans of a batch whose visits each fit the room by themselves.

    `prices` are [shops, months], `room` as well, or [shops, months, cars] where cars find different room; `leaving` is
    the cost of a job left out.
    """
    jobs, cars = len(batch.days), len(batch.cars)
    best = forward(batch, prices, room)
    left = [leaving * (jobs - done.bit_count()) for done in range(1 << jobs)]
    total = best[-1] + np.array(left)[:, None]
    done = total.argmin(axis=0)
    return Priced(total[done, np.arange(cars)], _traced(batch, prices, room, best, done))


def forward(batch: Batch, prices: Floats, room: Floats) -> Floats:
    """The least that a set of jobs done before a month can have cost: [months + 1, sets, cars]."""
    jobs, months = len(batch.days), len(batch.closed)
    steps = steps_of(jobs)
    best = np.full((months + 1, 1 << jobs, len(batch.cars)), np.inf)
    best[0, 0] = 0.0
    for month in range(months):
        there = visits_in(batch, prices, room, month).min(axis=1)
        there[0] = 0.0
        whole = best[month][steps.before] + there[steps.added]
        np.minimum.reduceat(whole, steps.starts, axis=0, out=best[month + 1])
    return best


def visits_in(
    batch: Batch, prices: Floats, room: Floats, month: int, cars: slice | Ints = slice(None)
) -> Floats:
    """What a visit in a month costs that does a set of jobs, with its prices: [sets, shops, cars]."""
    opening = batch.opening_in(month)[:, cars]
    jobs = len(batch.days)
    visit = np.empty((1 << jobs, *opening.shape))
    visit[0] = opening
    for job in range(jobs):
        days = batch.days[job, cars] * prices[:, month, None]
        cost = batch.in_month[job, month, cars] + batch.at_shop[job][:, cars] + days
        np.add(visit[: 1 << job], cost, out=visit[1 << job : 2 << job])
    here = room[:, month, cars] if room.ndim == 3 else room[:, month, None]
    if (batch.together > here.min()).any():
        overfull = batch.together[:, None, cars] > here + TOLERANCE
        visit[overfull] = np.inf
    return visit


def _traced(batch: Batch, prices: Floats, room: Floats, best: Floats, done: Ints) -> Ints:
    """The slots that led to the sets `done`, back from the last month."""
    slots = np.full((len(batch.days), batch.size), NOWHERE)
    sets = np.arange(1 << len(batch.days))[:, None]
    at = np.arange(batch.size)
    done = done.copy()
    for month in range(len(batch.closed) - 1, -1, -1):
        gone = np.flatnonzero(best[month + 1][done, at] < best[month][done, at])
        if len(gone):
            visit = visits_in(batch, prices, room, month, gone)
            inside = sets & done[gone] == sets
            rest = np.where(inside, best[month][done[gone] & ~sets, gone], np.inf)
            done[gone] &= ~chosen_of(slots, gone, visit, rest, month, batch)
    return slots


def chosen_of(
    slots: Ints, plans: Ints, visit: Floats, rest: Floats, month: int, batch: Batch
) -> Ints:
    """The sets of jobs of the best visits in a month, which are put into `slots` of these plans.

    `visit` is what a visit costs, [sets, shops, plans]; `rest` what all else does when it does a set, [sets, plans].
    """
    chosen: Ints = (rest + visit.min(axis=1))[1:].argmin(axis=0) + 1
    shop = visit[chosen, :, np.arange(len(plans))].argmin(axis=1)
    put(slots, plans, chosen, shop * len(batch.closed) + month)
    return chosen


def put(slots: Ints, plans: Ints, chosen: Ints, slot: Ints) -> None:
    """Send the jobs of the sets `chosen` to `slot`, one set and slot a plan."""
    for job in range(len(slots)):
        does = chosen >> job & 1 == 1
        slots[job, plans[does]] = slot[does]

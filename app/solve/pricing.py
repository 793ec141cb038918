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


Place = tuple[int | slice, ...]


@lru_cache(maxsize=16)
def steps_of(jobs: int) -> list[tuple[int, Place, Place]]:
    """For each set of jobs but the empty: it, where the sets without any of its jobs are, and these with it added.

    Places are in arrays of sets as `by_job` makes them.
    """
    return [
        (added, _place(added, 0, jobs), _place(added, 1, jobs)) for added in range(1, 1 << jobs)
    ]


def _place(added: int, held: int, jobs: int) -> Place:
    return tuple(held if added >> job & 1 else slice(None) for job in reversed(range(jobs)))


def by_job(of_sets: Floats) -> Floats:
    """The same numbers, [sets, cars], by whether a set holds the last job, ..., the first: [2, ..., 2, cars]."""
    jobs = len(of_sets).bit_length() - 1
    return of_sets.reshape(*[2] * jobs, of_sets.shape[1])


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
    visits = Cheapest(batch, prices, room)
    best = np.empty((months + 1, 1 << jobs, len(batch.cars)))
    best[0], best[0, 0] = np.inf, 0.0
    for month in range(months):
        there = visits.in_month(month)
        best[month + 1] = best[month]
        before, after = by_job(best[month]), by_job(best[month + 1])
        for added, without, with_it in steps_of(jobs):
            least = after[with_it]
            np.minimum(least, before[without] + there[added], out=least)
    return best


class Cheapest:
    """What visits cost with their prices where each goes to its cheapest shop; see `visits_in` for what is given.

    What a set of jobs costs at a shop is the same in all months but for the prices of its days.
    """

    def __init__(self, batch: Batch, prices: Floats, room: Floats) -> None:
        self.batch, self.prices, self.room = batch, prices, room
        # What going to a shop costs in any month, [shops, sets, cars].
        self.going = sums_over(batch.at_shop) + batch.opening[:, None, :]
        self.visits = np.empty_like(self.going)
        longest = batch.together[-1].max(initial=0.0)
        self.tight = (room if room.ndim == 2 else room.min(axis=2)) + TOLERANCE < longest

    def in_month(self, month: int) -> Floats:
        """By set of jobs done, [sets, cars]; nothing done costs nothing."""
        batch = self.batch
        if month in batch.exceptions:
            best: Floats = visits_in(batch, self.prices, self.room, month).min(axis=1)
        else:
            best = self._as_ever(month)
            best += sums_over(batch.in_month[:, month]) + batch.closed[month]
        best[0] = 0.0
        return best

    def _as_ever(self, month: int) -> Floats:
        together = self.batch.together
        np.multiply(together, self.prices[:, month, None, None], out=self.visits)
        self.visits += self.going
        for shop in self.tight[:, month].nonzero()[0].tolist():
            over = together > self.room[shop, month] + TOLERANCE
            np.copyto(self.visits[shop], np.inf, where=over)
        return self.visits.min(axis=0)  # type: ignore[no-any-return]


def sums_over(of_jobs: Floats) -> Floats:
    """Of numbers by job, the sums by set of jobs: [jobs, ..., cars] to [..., sets, cars]."""
    sums = np.zeros((*of_jobs.shape[1:-1], 1 << len(of_jobs), of_jobs.shape[-1]))
    for job, each in enumerate(of_jobs):
        np.add(sums[..., : 1 << job, :], each[..., None, :], out=sums[..., 1 << job : 2 << job, :])
    return sums


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

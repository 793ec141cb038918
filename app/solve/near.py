"""The plans of each car that cost little more than its cheapest, when every day of a slot has a price.

For each visit there could be, the cheapest plan of the car that makes it: what was cheapest before that month, the
visit, and what is cheapest after it. The best of these are near the best, and differ.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from app.solve.fleet import NOWHERE, Batch, Flags, Floats, Ints
from app.solve.pricing import Cheapest, by_job, chosen_of, forward, put, steps_of, visits_in


@dataclass(frozen=True, slots=True)
class Market:
    """What a car finds when it chooses: prices and room, [shops, months], and what leaving a job costs."""

    prices: Floats
    room: Floats
    leaving: float


@dataclass(frozen=True, slots=True)
class Through:
    """By visit, the least that a plan making it costs: [months, sets but the empty, shops, cars].

    `before` and `after` are the least costs up to and from a month by set of jobs done; `done` is the set done
    before the visit on that cheapest plan, [months, sets, cars].
    """

    totals: Floats
    before: Floats
    after: Floats
    done: Ints


def through(batch: Batch, market: Market) -> Through:
    before = forward(batch, market.prices, market.room)
    after = backward(batch, market)
    months, sets = len(batch.closed), 1 << len(batch.days)
    totals = np.full((months, sets - 1, len(batch.opening), batch.size), np.inf)
    done = np.empty((months, sets, batch.size), dtype=np.int64)
    for month in range(months):
        around = _around(before[month], after[month + 1], done[month])
        visits = visits_in(batch, market.prices, market.room, month)
        totals[month] = visits[1:] + around[1:, None, :]
    return Through(totals, before, after, done)


def _around(before: Floats, after: Floats, done: Ints) -> Floats:
    """By set of jobs a visit adds, the least of all before and after it; `done` is set to what is done before."""
    around = np.empty_like(before)
    sets = np.arange(len(before))
    for added in range(len(before)):
        apart = sets[sets & added == 0]
        whole = before[apart] + after[apart | added]
        at = whole.argmin(axis=0)
        around[added] = np.take_along_axis(whole, at[None], axis=0)[0]
        done[added] = apart[at]
    return around


def backward(batch: Batch, market: Market) -> Floats:
    """The least still to be paid from the start of a month, by set of jobs done: [months + 1, sets, cars]."""
    jobs, months = len(batch.days), len(batch.closed)
    sets = 1 << jobs
    least = np.empty((months + 1, sets, batch.size))
    left = [market.leaving * (jobs - done.bit_count()) for done in range(sets)]
    least[months] = np.array(left)[:, None]
    visits = Cheapest(batch, market.prices, market.room)
    for month in range(months - 1, -1, -1):
        there = visits.in_month(month)
        least[month] = least[month + 1]
        before, after = by_job(least[month]), by_job(least[month + 1])
        for added, without, with_it in steps_of(jobs):
            paid = before[without]
            np.minimum(paid, there[added] + after[with_it], out=paid)
    return least


def near(batch: Batch, market: Market, most: int) -> tuple[Ints, Ints]:
    """Plans of each car through the `most` visits that lie on its cheapest plans.

    Gives the place of each plan's car in the batch, and the slots of its jobs, [jobs, plans].
    """
    found = through(batch, market)
    of_car = np.ascontiguousarray(found.totals.reshape(-1, batch.size).T)
    best = np.argpartition(of_car, min(most, of_car.shape[1]) - 1, axis=1)[:, :most]
    car, which = np.nonzero(np.isfinite(np.take_along_axis(of_car, best, axis=1)))
    month, added, shop = np.unravel_index(best[car, which], found.totals.shape[:3])
    return car, _Tracing(batch, market, found, car, month).slots(added + 1, shop)


@dataclass(frozen=True, slots=True)
class _Tracing:
    """The whole plans on which visits in `month`, one a plan, lie."""

    batch: Batch
    market: Market
    found: Through
    car: Ints
    month: Ints

    def slots(self, added: Ints, shop: Ints) -> Ints:
        slots = np.full((len(self.batch.days), len(self.car)), NOWHERE)
        put(slots, np.arange(len(self.car)), added, shop * len(self.batch.closed) + self.month)
        done = self.found.done[self.month, added, self.car]
        self._earlier(slots, done.copy())
        self._later(slots, done | added)
        return slots

    def _earlier(self, slots: Ints, done: Ints) -> None:
        before = self.found.before
        for month in range(len(self.batch.closed) - 1, -1, -1):
            gone = self._moved(before[month + 1], before[month], done, self.month > month)
            for visit, which in self._visits(month, gone):
                inside = self._sets & done[which] == self._sets
                rest = before[month][done[which] & ~self._sets, self.car[which]]
                done[which] &= ~chosen_of(
                    slots, which, visit, np.where(inside, rest, np.inf), month, self.batch
                )

    def _later(self, slots: Ints, done: Ints) -> None:
        after = self.found.after
        for month in range(len(self.batch.closed)):
            gone = self._moved(after[month], after[month + 1], done, self.month < month)
            for visit, which in self._visits(month, gone):
                apart = self._sets & done[which] == 0
                rest = after[month + 1][done[which] | self._sets, self.car[which]]
                done[which] |= chosen_of(
                    slots, which, visit, np.where(apart, rest, np.inf), month, self.batch
                )

    def _moved(self, with_it: Floats, without: Floats, done: Ints, asked: Flags) -> Ints:
        """The plans for which a visit in a month pays."""
        which = np.flatnonzero(asked)
        sets, cars = done[which], self.car[which]
        return which[with_it[sets, cars] < without[sets, cars]]

    def _visits(self, month: int, which: Ints) -> Iterator[tuple[Floats, Ints]]:
        if len(which):
            market = self.market
            yield visits_in(self.batch, market.prices, market.room, month, self.car[which]), which

    @property
    def _sets(self) -> Ints:
        return np.arange(1 << len(self.batch.days))[:, None]

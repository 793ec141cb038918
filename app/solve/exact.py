"""A proof, where the problem is small enough: the best choice among all plans that can be part of a better one.

A plan of a car whose cost with prices exceeds its cheapest by more than the gap between bound and best plan is in no
better plan (reduced cost fixing), so the others are all there are.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np

from app.core.plan.problem import TOLERANCE
from app.solve.columns import Column, columns_of
from app.solve.fleet import NOWHERE, Batch, Fleet, Floats, Ints
from app.solve.master import Master
from app.solve.near import Market, Through, through
from app.solve.pricing import visits_in
from app.solve.watch import Found, Watch

# More plans than this make no problem that is soon solved whole.
MOST_PLANS = 60_000
# After so many it is asked whether time is over.
ASKED = 100
# What may be left unproven, of the cost; the contract calls a plan optimal at a millionth.
UNPROVEN = 5e-7
# Of the gap between bound and best, how dear the plans looked at are: cheap ones first, which mostly close it.
SHARES = (0.1, 0.3, 1.0, 1.0)
NODES = 2**31 - 1


def prove(fleet: Fleet, best: Found, watch: Watch) -> Found:
    """Columns at least as good as the `best` so far, and what bounds their cost from below.

    Looks through ever more plans, until the best is proven, there are too many, or time is over.
    """
    prices, relaxed = best.prices, best.bound
    market = Market(prices, fleet.room.reshape(prices.shape), fleet.problem.unplaced_cost)
    for share in SHARES:
        if watch.over() or best.cost - best.bound <= UNPROVEN * best.cost:
            break
        dearer = share * (best.cost - relaxed) + TOLERANCE * best.cost
        if _too_many(fleet, market, dearer):
            break
        plans = _all_of(_plans(fleet, market, dearer), watch)
        if plans is None:
            break
        # A plan with a column that is not looked at costs at least so much more than the relaxed one.
        best = _best_of(fleet, plans, best, relaxed + dearer, watch)
    return best


def _all_of(plans: Iterator[Column], watch: Watch) -> list[Column] | None:
    """All of them, unless they are too many or time ends before."""
    found: list[Column] = []
    for plan in plans:
        found.append(plan)
        if len(found) > MOST_PLANS or (len(found) % ASKED == 0 and watch.over()):
            return None
    return found


def _best_of(
    fleet: Fleet, plans: Sequence[Column], best: Found, others: float, watch: Watch
) -> Found:
    """The best choice among the plans, where every other choice costs at least what `others` do."""
    known = {(column.car, column.slots) for column in plans}
    columns = [*plans, *(each for each in best.columns if (each.car, each.slots) not in known)]
    master = Master(fleet.room, [column.car for column in best.columns])
    master.add(columns)
    # Presolving so many like columns takes longer than the search.
    master.solver.setOptionValue("presolve", "off")
    chosen = {(column.car, column.slots) for column in best.columns}
    start = np.array([float((column.car, column.slots) in chosen) for column in columns])

    def better(numbers: Sequence[int], proven: float) -> Found:
        after = replace(best, columns=[columns[at] for at in numbers])
        if len(numbers) != len(best.columns) or after.cost > best.cost:
            after = best
        return replace(after, bound=max(best.bound, min(proven, best.cost, others)))

    master.tell(lambda numbers, proven: watch.tell(better(numbers, proven)), watch.stop)
    numbers = master.choose(start, UNPROVEN * best.cost, watch.left, NODES)
    return better(numbers, master.proven)


def _too_many(fleet: Fleet, market: Market, gap: float) -> bool:
    """Whether there are surely more plans than can be looked at: each visit lies on one, each plan has few visits."""
    least = 0.0
    for batch in fleet.batches:
        found = through(batch, market)
        near = found.totals <= found.after[0, 0] + gap
        least += np.count_nonzero(near) / len(batch.days)
        if least > MOST_PLANS:
            return True
    return False


def _plans(fleet: Fleet, market: Market, gap: float) -> Iterator[Column]:
    for batch in fleet.batches:
        found = through(batch, market)
        visits = [
            visits_in(batch, market.prices, market.room, month)
            for month in range(len(batch.closed))
        ]
        for car in range(batch.size):
            plans = _Plans(batch, market, found, np.array([each[..., car] for each in visits]), car)
            yield from plans.within(fleet, gap)


class _Plans:
    """The plans of one car that cost at most so much more than its cheapest."""

    def __init__(
        self, batch: Batch, market: Market, found: Through, visits: Floats, car: int
    ) -> None:
        self.batch, self.leaving = batch, market.leaving
        self.visits = visits  # [months, sets, shops]
        self.after = found.after[..., car]
        self.totals = found.totals[..., car]
        self.car = car
        self.limit = np.inf
        self.choices: list[tuple[int, int, int]] = []
        self.later: list[int] = []  # for each choice, the first one in a later month

    def within(self, fleet: Fleet, gap: float) -> Iterator[Column]:
        self.limit = float(self.after[0, 0]) + gap
        month, added, shop = np.nonzero(self.totals <= self.limit)
        self.choices = list(zip(month.tolist(), (added + 1).tolist(), shop.tolist(), strict=True))
        self.later = np.searchsorted(month, month, side="right").tolist()
        for slots in self._from(0, 0, 0.0, [NOWHERE] * len(self.batch.days)):
            plan: Ints = np.array(slots)[:, None]
            yield columns_of(fleet, self.batch, plan, np.array([self.car]))[0]

    def _from(self, first: int, done: int, paid: float, slots: list[int]) -> Iterator[list[int]]:
        """The plans that go on from jobs done and costs paid, with visits from choice number `first` on."""
        left = sum(not done >> job & 1 for job in range(len(slots)))
        if paid + left * self.leaving <= self.limit:
            yield slots
        for at in range(first, len(self.choices)):
            month, added, shop = self.choices[at]
            if done & added:
                continue
            cost = paid + float(self.visits[month, added, shop])
            if cost + self.after[month + 1, done | added] <= self.limit:
                slot = shop * len(self.visits) + month
                gone = [slot if added >> job & 1 else old for job, old in enumerate(slots)]
                yield from self._from(self.later[at], done | added, cost, gone)

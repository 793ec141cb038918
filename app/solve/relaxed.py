"""The relaxed problem solved by column generation: the prices of days, a proven bound, and shares of columns.

The master program prices the days of the columns it has; each car then answers with its cheapest plan at these
prices. Prices are moved only part of the way from the best known ones (smoothing), which keeps them from swinging.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np

from app.solve.columns import Column, columns_of
from app.solve.fleet import Batch, Fleet, Floats, packed, some_of
from app.solve.master import Master, Shares
from app.solve.near import Market, near
from app.solve.pricing import price
from app.solve.watch import Watch

# How far prices stay at the best known ones, and the gap at which the relaxed problem counts as solved.
SMOOTHING = 0.3
CLOSE = 1e-4
MOST_ROUNDS = 200
# The columns of each car that a relaxation with prices to begin with has from the start.
BEGUN_WITH = 6


class Relaxation:
    """`prices`, [shops, months], are those that prove `bound`; of cars that are fixed the column is given."""

    def __init__(
        self, fleet: Fleet, batches: Sequence[Batch], room: Floats, columns: Sequence[Column]
    ) -> None:
        """Of `columns`, some must fit the room together, one a car."""
        self.fleet = fleet
        self.batches = list(batches)
        self.room = room.copy()
        self.shape = (len(fleet.problem.shops), fleet.problem.months)
        self.master = Master(room, [car for batch in batches for car in batch.cars.tolist()])
        self.known: set[tuple[int, tuple[int, ...]]] = set()
        self.fixed: dict[int, Column] = {}
        self.prices: Floats | None = None
        self.bound = -np.inf
        self.shares = Shares(np.inf, np.zeros(len(room)), np.zeros(0))
        self._add(columns)

    def columns(self) -> list[Column]:
        """Those of which `shares` tells, in its order."""
        return self.master.columns[: len(self.shares.of_column)]

    def begin_at(self, prices: Floats) -> None:
        """Begin with the columns that cost each car least at prices that are likely near the best."""
        market = Market(prices, self.room.reshape(self.shape), self.fleet.problem.unplaced_cost)
        for batch in self.batches:
            cars, slots = near(batch, market, BEGUN_WITH)
            self._add(columns_of(self.fleet, batch, slots, cars))
        self._add(self._try(prices))

    def settle(self, watch: Watch, close: float = CLOSE) -> None:
        """Add columns until cost and bound are within `close` of each other, or time is up."""
        for _ in range(MOST_ROUNDS):
            self.shares = self.master.solve()
            dual = self.shares.prices.reshape(self.shape)
            found = self._try(dual if self.prices is None else _between(self.prices, dual))
            if self.shares.cost - self.bound <= close * abs(self.shares.cost) or watch.over():
                return
            if not self._add(found) and not self._add(self._try(dual)):
                return

    def _try(self, prices: Floats) -> list[Column]:
        """The cars' answers to prices, which are kept where they prove more."""
        paid, found = answers(self.fleet, self.batches, prices, self.room)
        if paid > self.bound:
            self.bound, self.prices = paid, prices
        return found

    def _add(self, columns: Iterable[Column]) -> int:
        new = {(each.car, each.slots): each for each in columns}
        new = {key: each for key, each in new.items() if key not in self.known}
        self.known.update(new)
        self.master.add(list(new.values()))
        return len(new)

    def fix(self, numbers: Sequence[int]) -> None:
        """Take these columns, which must fit together, for good; what no longer fits beside them is out."""
        self._take([self.master.columns[at] for at in numbers])
        cars = [car for batch in self.batches for car in batch.cars.tolist()]
        kept = [
            at
            for at, column in enumerate(self.master.columns)
            if column.car not in self.fixed and fits(self.room, column)
        ]
        self.master = self.master.rest(self.room, cars, kept)

    def fix_answers(self) -> None:
        """Take for every car that is free the cheapest plan at the prices in the room there is, the most days first.

        Where room lacks for those of all, the rest are asked again for what is left. Solves no program, so it is quick.
        """
        prices = np.zeros(self.shape) if self.prices is None else self.prices
        while self.batches:
            _, found = answers(self.fleet, self.batches, prices, self.room)
            room, fitting = self.room.copy(), []
            for column in sorted(found, key=lambda each: -sum(days for _, days in each.days)):
                if fits(room, column):
                    take(room, column)
                    fitting.append(column)
            self._take(fitting)

    def _take(self, columns: Iterable[Column]) -> None:
        for column in columns:
            self.fixed[column.car] = column
            take(self.room, column)
        self.room = np.maximum(self.room, 0.0)
        self.batches = packed(_left(batch, self.fixed) for batch in self.batches)
        self.bound = -np.inf  # of what is left it says nothing


def _between(known: Floats, dual: Floats) -> Floats:
    return SMOOTHING * known + (1 - SMOOTHING) * dual


def _left(batch: Batch, fixed: dict[int, Column]) -> Batch:
    free = [at for at, car in enumerate(batch.cars.tolist()) if car not in fixed]
    return some_of(batch, np.array(free, dtype=np.int64))


def answers(
    fleet: Fleet, batches: Sequence[Batch], prices: Floats, room: Floats
) -> tuple[float, list[Column]]:
    """What the cars would pay at `prices` less what all the room would bring, and each car's cheapest column."""
    rooms = room.reshape(prices.shape)
    columns: list[Column] = []
    paid = -float((prices * rooms).sum())
    leaving = fleet.problem.unplaced_cost
    for batch in batches:
        priced = price(batch, prices, rooms, leaving)
        paid += float(priced.values.sum())
        columns += columns_of(fleet, batch, priced.slots)
    return paid, columns


def fits(room: Floats | Sequence[float], column: Column) -> bool:
    for slot, days in column.days:  # noqa: SIM110 (asked so often that a generator is felt)
        if room[slot] + 1e-6 < days:
            return False
    return True


def take(room: Floats, column: Column) -> None:
    for slot, days in column.days:
        room[slot] -= days


def priced_at(column: Column, prices: Sequence[float]) -> float:
    """What a column costs with the prices of its days, by slot."""
    return column.cost + sum(prices[slot] * days for slot, days in column.days)

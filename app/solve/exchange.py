"""A plan made better a few cars at a time: free them, and choose their columns anew in the room they leave.

The cars freed together are such as stand in each other's way: one that pays more than it would alone, those that
fill the slots it would rather take, those that fill the slots these would rather take, and so on.
"""

from __future__ import annotations

from bisect import bisect_right
from collections import defaultdict, deque
from collections.abc import Container, Iterable, Iterator, Sequence
from concurrent.futures import BrokenExecutor, Executor
from contextlib import suppress
from dataclasses import dataclass
from itertools import islice
from operator import itemgetter
from random import Random

import numpy as np

from app.core.plan.problem import TOLERANCE
from app.solve.abreast import in_turn
from app.solve.columns import Column, columns_of
from app.solve.fleet import Batch, Fleet, Floats, packed, some_of
from app.solve.master import Choice, chosen, in_rows, rows_of
from app.solve.near import Market, near
from app.solve.relaxed import fits, priced_at, take
from app.solve.watch import SECONDS_BETWEEN, Found, Watch

# How many cars are freed at once; how many columns each may choose from, and how much dearer than its cheapest.
FREED, MOST_COLUMNS, DEARER = 30, 40, 0.1
# A car that pays more than that above its cheapest has so many to choose from, since those near its cheapest are all
# taken; of those that fit it is offered the cheapest.
MANY_COLUMNS = 400
# After so many exchanges it is seen anew which cars these are.
WIDENED = 200
# What may be left to win in one exchange, of the plan's cost, and how many nodes it may look at: a limit of time would
# make plans differ.
LEFT, NODES = 4e-6, 20
# Columns of a freed car that are looked at for slots it would rather take, such slots, and cars freed for each.
WISHES, SLOTS, OUSTED = 4, 3, 4
# Cars tried for a slot whose days lie idle.
DRAWN = 6
# How much more likely it is to begin with an idle day than with a car that pays as much too much; and how much less
# each time that nothing was won there.
IDLE, FADING = 2.0, 0.5


class Exchange:
    """The plan as it stands, with each car's columns by what they cost with the relaxed problem's prices."""

    def __init__(
        self,
        fleet: Fleet,
        room: Floats,
        chosen: Iterable[Column],
        prices: Floats,
        helpers: Executor,
    ) -> None:
        self.fleet = fleet
        self.helpers = helpers
        self.prices = prices.ravel().tolist()
        self.priced = prices.ravel()
        self.chosen = {column.car: column for column in chosen}
        self.cars = list(self.chosen)
        self.place = {car: at for at, car in enumerate(self.cars)}
        # By car, then by slot, how far it is still worth while to begin there.
        self.hope = np.ones(len(self.cars) + len(room))
        self.room = room.copy()
        self.within: dict[int, set[int]] = defaultdict(set)
        self.paid: dict[int, float] = {}
        for column in self.chosen.values():
            self._put(column)
        self.dearer = DEARER * self.cost / max(1, len(self.chosen))
        self.market = Market(prices, room.reshape(prices.shape), fleet.problem.unplaced_cost)
        # By car its columns; those that pay far too much have many, see `_widen`.
        self.choices = self._sorted(self._through_most(fleet.batches, MOST_COLUMNS))
        # By car and slot, what is known of the car's cheapest column that is not through the slot.
        self.elsewhere: dict[int, dict[int, float]] = defaultdict(dict)
        # By slot and car, the least that a column of the car through the slot costs with prices.
        self.through: dict[int, dict[int, float]] = defaultdict(dict)
        self._put_through(self.choices)
        self._widen()
        # How much more each pays than it would alone at these prices.
        self.least = np.array([self.choices[car][0][0] for car in self.cars])
        self.regrets = np.array([self.paid[car] for car in self.cars]) - self.least + 1e-9
        self.source = Random(1)
        self.left = LEFT * self.cost

    @property
    def cost(self) -> float:
        return _cost(self.chosen.values())

    def _through_most(
        self, batches: Sequence[Batch], most: int
    ) -> Iterator[tuple[Column, list[Column]]]:
        """Of each car the column that was chosen, and those through the `most` visits that cost it least."""
        for batch in batches:
            cars, slots = near(batch, self.market, most)
            found: dict[int, list[Column]] = {car: [] for car in batch.cars.tolist()}
            for column in columns_of(self.fleet, batch, slots, cars):
                found[column.car].append(column)
            yield from ((self.chosen[car], columns) for car, columns in found.items())

    def _sorted(
        self, found: Iterable[tuple[Column, list[Column]]]
    ) -> dict[int, list[tuple[float, Column]]]:
        """By car its columns, none twice, with what they cost with prices, cheapest first."""
        return {
            chosen.car: sorted(
                (
                    (priced_at(column, self.prices), column)
                    for column in {each.slots: each for each in (*columns, chosen)}.values()
                ),
                key=lambda each: (each[0], each[1].slots),
            )
            for chosen, columns in found
        }

    def _put_through(self, found: dict[int, list[tuple[float, Column]]]) -> None:
        for car, choices in found.items():
            for cost, column in choices:
                for slot, _ in column.days:
                    self.through[slot].setdefault(car, cost)

    def improve(self, watch: Watch, enough: float) -> None:
        """Exchange until time is over, the cost is at most `enough`, or nothing was won for long.

        Where a helper is gone, killed for want of memory say, the plan stays as good as it is by then.
        """
        with suppress(BrokenExecutor):
            self._improve(watch, enough)

    def _improve(self, watch: Watch, enough: float) -> None:
        best, fruitless, told = self.cost, 0, watch.spent
        for tried, won in enumerate(self._exchanges(watch)):
            best -= won
            fruitless = 0 if won > 0 else fruitless + FREED
            if best <= enough or watch.over() or fruitless >= 4 * len(self.chosen):
                break
            if won > 0 and watch.spent - told > SECONDS_BETWEEN:
                watch.tell(Found(list(self.chosen.values()), -np.inf, self.market.prices))
                told = watch.spent
            if tried % WIDENED == WIDENED - 1:
                self._widen()

    def _widen(self) -> None:
        """Give those that pay far too much by now many columns to choose from as well."""
        hard_up = {
            car
            for car, paid in self.paid.items()
            if len(self.choices[car]) <= MOST_COLUMNS + 1 and self._overpays(car, paid)
        }
        wider = self._sorted(self._through_most(_with(self.fleet.batches, hard_up), MANY_COLUMNS))
        self.choices |= wider
        for car in wider:
            self.elsewhere.pop(car, None)
        self._put_through(wider)

    def _overpays(self, car: int, paid: float) -> bool:
        return paid - self.choices[car][0][0] > self.dearer

    # ---- whom to free ----

    def _freed(self, first: Iterable[int], others: Container[int]) -> list[int]:
        """Cars that stand in each other's way, beginning with `first`; none of `others`."""
        freed: dict[int, None] = {}
        ousting: dict[int, list[int]] = {}  # many of these cars wish for the same slots
        queue = deque(first)
        while queue and len(freed) < FREED:
            car = queue.popleft()
            if car not in freed and car not in others:
                freed[car] = None
                for slot in self._wished(car):
                    if slot not in ousting:
                        ousting[slot] = self._ousted(slot)
                    queue += islice((each for each in ousting[slot] if each not in freed), OUSTED)
        return list(freed)

    def _drawn(self) -> int:
        """Where to begin, by lot: a car that pays too much, or past the cars a slot whose days lie idle."""
        idle = np.maximum(self.room, 0.0) * self.priced
        weights = np.cumsum(np.concatenate([self.regrets, IDLE * idle]) * self.hope)
        drawn = int(np.searchsorted(weights, self.source.random() * weights[-1], side="right"))
        return min(drawn, len(weights) - 1)

    def _first(self, drawn: int) -> list[int]:
        """The cars to begin with: that one, or those drawn to that slot."""
        if drawn < len(self.cars):
            return [self.cars[drawn]]
        return self._drawn_to(drawn - len(self.cars))

    def _drawn_to(self, slot: int) -> list[int]:
        """The cars that would lose least, or gain, by going to a slot."""
        losses = ((cost - self.paid[car], car) for car, cost in self.through[slot].items())
        return [car for _, car in sorted(losses)[:DRAWN]]

    def _wished(self, car: int) -> list[int]:
        """The full slots that a car would rather take."""
        chosen = self.chosen[car]
        paid = self.paid[car]
        own = {slot for slot, _ in chosen.days}
        wished: dict[int, None] = {}
        for column in self._dreams(car, paid):
            wished |= {
                slot: None
                for slot, days in column.days
                if slot not in own and self.room[slot] < days
            }
        return list(wished)[:SLOTS]

    def _dreams(self, car: int, paid: float) -> list[Column]:
        """A few columns that cost a car no more than it pays: its cheapest, or of many some by lot."""
        choices = self.choices[car]
        many = bisect_right(choices, paid, key=itemgetter(0))
        if many <= MOST_COLUMNS:
            return [column for _, column in choices[: min(many, WISHES)]]
        return [choices[at][1] for at in self.source.sample(range(many), WISHES)]

    def _ousted(self, slot: int) -> list[int]:
        """The cars in a slot, first those that would lose least by leaving it."""
        losses = ((self._without(car, slot) - self.paid[car], car) for car in self.within[slot])
        return [car for _, car in sorted(losses)]

    def _without(self, car: int, slot: int) -> float:
        """The least that a plan of the car costs which has no days in the slot."""
        known = self.elsewhere[car]
        if slot not in known:
            others = (
                cost
                for cost, column in self.choices[car]
                if all(each != slot for each, _ in column.days)
            )
            known[slot] = next(others, np.inf)
        return known[slot]

    # ---- the exchange ----

    def _exchanges(self, watch: Watch) -> Iterator[float]:
        """Choose anew for set after set of cars, a few at once, each as if the others stayed; gives what each won."""
        busy: set[int] = set()
        sets = self._sets(busy, watch)
        for each, numbers in in_turn(lambda it: self.helpers.submit(chosen, it.choice), sets):
            won = self._exchange(each.before, [each.columns[at] for at in numbers])
            if each.before and not won:
                self.hope[each.drawn] *= FADING
            yield won
            busy.difference_update(column.car for column in each.before)

    def _sets(self, busy: set[int], watch: Watch) -> Iterator[_Posed]:
        """Sets of cars, none of them in two at once, for ever."""
        while True:
            drawn = self._drawn()
            cars = self._freed(self._first(drawn), busy)
            busy.update(cars)
            yield self._posed(drawn, cars, watch.left + 0.1)

    def _posed(self, drawn: int, cars: Sequence[int], seconds: float) -> _Posed:
        """The choice for these cars in the room that all others leave."""
        before = [self.chosen[car] for car in cars]
        room = np.maximum(self.room, 0.0)
        for column in before:
            for slot, days in column.days:
                room[slot] += days
        free = room.tolist()
        columns = [column for car in cars for column in self._choices_in(free, car)]
        program = in_rows(columns, rows_of(room, cars))
        start = np.array([float(column is self.chosen[column.car]) for column in columns])
        choice = Choice(room, len(cars), program, start, self.left, seconds, NODES)
        return _Posed(drawn, before, columns, choice)

    def _exchange(self, before: Sequence[Column], after: Sequence[Column]) -> float:
        """Put the columns `after` in the place of those before, where that wins; gives what was won."""
        won = _cost(before) - _cost(after)
        if len(after) != len(before) or won <= 0:
            return 0.0
        self._replace(before, after)
        # Sets chosen at once may have taken the same idle days; the first keeps them.
        if any(self.room[slot] < -TOLERANCE for column in after for slot, _ in column.days):
            self._replace(after, before)
            return 0.0
        return won

    def _choices_in(self, room: Sequence[float], car: int) -> list[Column]:
        """The cheapest columns that fit the room there is, and the one that was chosen."""
        choices, chosen = self.choices[car], self.chosen[car]
        dearest = max(choices[0][0] + self.dearer, self.paid[car])
        found = [chosen]
        for cost, column in choices:
            if cost > dearest or len(found) > MOST_COLUMNS:
                break
            if column is not chosen and fits(room, column):
                found.append(column)
        return found

    def _replace(self, before: Iterable[Column], after: Iterable[Column]) -> None:
        for column in before:
            self._take_out(column)
        for column in after:
            self.chosen[column.car] = column
            self._put(column)
            at = self.place[column.car]
            self.regrets[at] = self.paid[column.car] - self.least[at] + 1e-9
            self.hope[at] = 1.0

    def _put(self, column: Column) -> None:
        take(self.room, column)
        self.paid[column.car] = priced_at(column, self.prices)
        for slot, _ in column.days:
            self.within[slot].add(column.car)
            self.hope[len(self.cars) + slot] = 1.0

    def _take_out(self, column: Column) -> None:
        for slot, days in column.days:
            self.room[slot] += days
            self.within[slot].discard(column.car)


@dataclass(frozen=True, slots=True)
class _Posed:
    """A choice among the columns of a few cars, from those they have; `drawn` is where it began."""

    drawn: int
    before: list[Column]
    columns: list[Column]
    choice: Choice


def _with(batches: Sequence[Batch], cars: Container[int]) -> list[Batch]:
    """Batches of these cars alone."""
    places = (
        [at for at, car in enumerate(batch.cars.tolist()) if car in cars] for batch in batches
    )
    return packed(
        some_of(batch, np.array(kept, dtype=np.int64))
        for batch, kept in zip(batches, places, strict=True)
    )


def _cost(columns: Iterable[Column]) -> float:
    return sum(column.cost for column in columns)

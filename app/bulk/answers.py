"""The due items of a whole fleet: `due_columns` is to thousands of cars what `core.due.due_dates` is to one.

That function stays the reference; what columns cannot say of a car is left to it, and named in `left`.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from typing import Any

import numpy as np

from app.bulk.builds import UNREADABLE
from app.bulk.calendar import DATED, OWED, STATES, Column
from app.bulk.days import FIRST, LAST, Flags, Numbers, WrittenDays, known
from app.bulk.devices import Devices
from app.bulk.fleet import Fleet
from app.bulk.items import Items
from app.bulk.kinds import PLACE
from app.bulk.rows import FleetRows
from app.core.facts import ITEMS, Settings
from app.core.rule import Rulebook

STATE_NAMES = np.array(STATES, dtype=object)
CONFIDENCES = np.array(["verified", "memory"], dtype=object)
ITEM_NAMES = np.array(ITEMS, dtype=object)


@dataclass(frozen=True, slots=True)
class DueColumns:
    """Every due item of the cars, by car and then in the order of items: lists of equal length.

    `car` is the place of the car in `car_ids`; days are numbers of `app.bulk.days`. `next` holds by car the row of
    what comes first, -1 for nothing. `left` are the cars that the columns cannot express: ask `due_dates`.
    """

    car_ids: Numbers
    car: Numbers
    item_no: Numbers
    column: Column
    next: Numbers
    left: frozenset[int]

    def rows(self, days: WrittenDays) -> list[tuple[Any, ...]]:
        """Car key, place of the item, state, due on, basis on, months, calculated, confidence, rule, citation."""
        column = self.column
        return list(
            zip(
                self.car_ids[self.car].tolist(),
                self.item_no.tolist(),
                STATE_NAMES[column.state].tolist(),
                [days[each] for each in column.due_on.tolist()],
                [days[each] for each in column.basis_on.tolist()],
                [months or None for months in column.months.tolist()],
                [days[each] for each in column.calculated.tolist()],
                CONFIDENCES[column.from_memory.astype(np.int64)].tolist(),
                column.rule.tolist(),
                column.citation.tolist(),
                strict=True,
            )
        )

    def first(self, days: WrittenDays) -> Iterator[tuple[int, tuple[Any, ...]]]:
        """Each car that is not left, with item, state and day of what comes first, or three times nothing."""
        column, at = self.column, self.next[self.next >= 0]
        told = zip(
            ITEM_NAMES[self.item_no[at]].tolist(),
            STATE_NAMES[column.state[at]].tolist(),
            [days[each] for each in column.due_on[at].tolist()],
            strict=True,
        )
        for car_id, row in zip(self.car_ids.tolist(), self.next.tolist(), strict=True):
            first = next(told) if row >= 0 else (None, None, None)
            if car_id not in self.left:
                yield car_id, first


def due_columns(rows: FleetRows, as_of: date, rulebook: Rulebook, settings: Settings) -> DueColumns:
    """The due items of all these cars on a day, without their reasons."""
    fleet = Fleet(rows, as_of, rulebook, settings)
    items = Items(fleet)
    left = _left(fleet, items.devices)
    places, columns = [], []
    for item, column in items.each():
        columns.append(column)
        places.append(np.full(len(column.on), PLACE[item]))
    item_no = np.concatenate(places)
    together = Column(
        *(np.concatenate([getattr(each, name) for each in columns]) for name in Column.__slots__)
    )
    order = np.lexsort((item_no, together.on))
    order = order[~left[together.on[order]]]
    column, item_no = together.taken(order), item_no[order]
    return DueColumns(
        fleet.ids, column.on, item_no, column, _next(column, item_no, fleet.many),
        frozenset(fleet.ids[left].tolist()),
    )  # fmt: skip


def _left(fleet: Fleet, devices: Devices) -> Flags:
    """Cars with what columns cannot read: specification, a reading too near its line, days far off the calendar."""
    left: Flags = (fleet.regime == UNREADABLE) | fleet.undecided
    for column in (fleet.built, fleet.rebuilt, fleet.sheeting_on, fleet.lined[1]):
        left = left | _far(column)
    history = fleet.history
    left[history.car[_far(history.on)]] = True
    left[devices.car[_far(devices.put_on) | _far(devices.tested_on)]] = True
    return left


def _far(days: Numbers) -> Flags:
    far: Flags = known(days) & ((days < FIRST) | (days > LAST))
    return far


def _next(column: Column, item_no: Numbers, cars: int) -> Numbers:
    """By car the earliest of what is owed, else of what is dated; ties go to the earlier item."""
    timed = np.flatnonzero((column.state == OWED) | (column.state == DATED))
    order = np.lexsort(
        (item_no[timed], column.due_on[timed], column.state[timed], column.on[timed])
    )
    found = np.full(cars, -1)
    chosen = timed[order][::-1]
    found[column.on[chosen]] = chosen
    return found

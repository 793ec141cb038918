"""Rows of one fact a car as columns on the axis of cars."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from app.bulk.days import DayNumbers, Days, Flags, Numbers
from app.bulk.rows import Rows


class Placed:
    """The columns of a table, brought to the places of the cars; a car without a row has what stands for nothing.

    Columns are counted from 1, after the car's key.
    """

    def __init__(self, cars: Numbers, rows: Rows, width: int, day_numbers: DayNumbers) -> None:
        self.cars, self.day_numbers = len(cars), day_numbers
        empty: list[tuple[Any, ...]] = [()] * (width + 1)
        self.columns: Sequence[tuple[Any, ...]] = list(zip(*rows, strict=True)) or empty
        at, here = places(cars, np.array(self.columns[0], dtype=np.int64))
        self.rows, self.at = np.flatnonzero(here), at[here]

    @property
    def there(self) -> Flags:
        """Which cars have a row."""
        found = np.zeros(self.cars, dtype=bool)
        found[self.at] = True
        return found

    def days(self, column: int) -> Days:
        known = self.day_numbers
        return self._put([known[each] for each in self.columns[column]], known[None])

    def numbers(self, column: int, unsaid: int = 0) -> Numbers:
        """Whole numbers, 0 for what the row leaves open and `unsaid` without a row."""
        return self._put([each or 0 for each in self.columns[column]], unsaid)

    def yes(self, column: int) -> Flags:
        """Yes; what is left open is no."""
        return self.is_value(column, True)

    def is_value(self, column: int, value: object) -> Flags:
        """Whether the row has this value (a driver's 1 is yes, its 0 no)."""
        found: Flags = self._put([each == value for each in self.columns[column]], False) == 1
        return found

    def _put(self, values: Sequence[int], unsaid: int) -> Numbers:
        found = np.full(self.cars, unsaid, dtype=np.int64)
        found[self.at] = np.array(values, dtype=np.int64)[self.rows]
        return found


def places(cars: Numbers, keys: Numbers) -> tuple[Numbers, Flags]:
    """Where in the sorted `cars` each key stands, and whether it stands there at all."""
    if not cars.size:
        return np.zeros(keys.shape, dtype=np.int64), np.zeros(keys.shape, dtype=bool)
    at = np.minimum(np.searchsorted(cars, keys), len(cars) - 1)
    return at, cars[at] == keys

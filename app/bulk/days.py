"""Days as whole numbers in columns, and the calendar sums of `core.months` on them."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, timedelta
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from app.core.months import Precision

Days = NDArray[np.int64]
Numbers = NDArray[np.int64]
Flags = NDArray[np.bool_]

EPOCH: Final = date(1970, 1, 1)
# No day; less than any, so that the latest of several is their maximum.
NONE: Final = -10_000_000
# Far from the ends of the calendar with the longest interval added: a car with a day outside is not for columns.
FIRST, LAST = (date(1700, 1, 1) - EPOCH).days, (date(2500, 1, 1) - EPOCH).days


def number(day: date) -> int:
    return (day - EPOCH).days


class WrittenDays(dict[int, Any]):
    """From a day's number to how it is written, each worked out once; fleets share most of theirs."""

    def __init__(self, write: Callable[[date], Any] = lambda day: day) -> None:
        super().__init__({NONE: None})
        self.write = write

    def __missing__(self, number: int) -> Any:
        self[number] = written = self.write(EPOCH + timedelta(days=number))
        return written


class DayNumbers(dict[object, int]):
    """From what a driver gives for a day (a date, its text, or nothing) to its number, each worked out once."""

    def __missing__(self, given: object) -> int:
        if given is None:
            found = NONE
        else:
            found = number(given if isinstance(given, date) else date.fromisoformat(str(given)))
        self[given] = found
        return found


def known(days: Days) -> Flags:
    there: Flags = days != NONE
    return there


def add_months(days: Days, months: Numbers | int) -> Days:
    """Whole months on each day; a day past the month's end falls back to it. No day stays none."""
    at = days.astype("M8[D]")
    month = at.astype("M8[M]")
    into = at - month.astype("M8[D]")
    to = month + np.asarray(months).astype("m8[M]")
    last = (to + 1).astype("M8[D]") - np.timedelta64(1, "D")
    moved = np.minimum(to.astype("M8[D]") + into, last).astype(np.int64)
    return np.where(known(days), moved, NONE)


def to_precision(days: Days, precision: Precision) -> Days:
    """Each day, or the end of its month or year."""
    if precision == "day":
        return days
    unit = "M8[M]" if precision == "month_end" else "M8[Y]"
    following = (days.astype("M8[D]").astype(unit) + 1).astype("M8[D]")
    return np.where(known(days), following.astype(np.int64) - 1, NONE)


def earliest(*columns: Days) -> Days:
    """The earliest of each row's days, none where there is none."""
    far = np.int64(-NONE)
    least = np.minimum.reduce([np.where(known(column), column, far) for column in columns])
    return np.where(least == far, NONE, least)

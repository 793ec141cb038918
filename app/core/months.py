"""Whole-month sums: a day past the month's end falls back to the month's last day."""

from __future__ import annotations

import calendar
from datetime import date
from typing import Literal

Precision = Literal["day", "month_end", "year_end"]


def last_day(year: int, month: int) -> int:
    return calendar.monthrange(year, month)[1]


def add_months(day: date, months: int) -> date:
    """`day` plus (or minus) whole months: 2024-02-29 plus 120 is 2034-02-28.

    Raises OverflowError when the year leaves 1 to 9999.
    """
    year, month = divmod(day.year * 12 + day.month - 1 + months, 12)
    if not date.min.year <= year <= date.max.year:
        raise OverflowError(f"{day} plus {months} months leaves the calendar")
    month += 1
    return date(year, month, day.day if day.day <= 28 else min(day.day, last_day(year, month)))


def month_end(day: date) -> date:
    return day.replace(day=last_day(day.year, day.month))


def year_end(day: date) -> date:
    return date(day.year, 12, 31)


def to_precision(day: date, precision: Precision) -> date:
    """`day`, or the end of its month or year. The rule text rounds nothing: end of month or year is common practice."""
    if precision == "month_end":
        return month_end(day)
    return year_end(day) if precision == "year_end" else day

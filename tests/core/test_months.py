"""Whole-month sums, which every due date is made of."""

from datetime import date
from random import Random

import pytest
from dateutil.relativedelta import relativedelta

from app.core.months import add_months


@pytest.mark.parametrize(
    ("day", "months", "falls_on"),
    [
        (date(2018, 3, 15), 120, date(2028, 3, 15)),  # ten plain years
        (date(2018, 3, 15), 60, date(2023, 3, 15)),  # five
        (date(2024, 2, 29), 120, date(2034, 2, 28)),  # a leap day falls back to the month's end
        (date(2024, 2, 29), 48, date(2028, 2, 29)),  # and stays one where there is one
        (date(2024, 1, 31), 1, date(2024, 2, 29)),  # a short month, leap year
        (date(2023, 1, 31), 1, date(2023, 2, 28)),  # a short month
        (date(2024, 1, 31), 2, date(2024, 3, 31)),  # one addition: February takes nothing off
        (date(2024, 3, 31), 1, date(2024, 4, 30)),  # thirty days hath April
        (date(2024, 12, 31), 1, date(2025, 1, 31)),  # over the year's end
        (date(2024, 12, 1), 12, date(2025, 12, 1)),  # December stays December
        (date(2020, 8, 31), -6, date(2020, 2, 29)),  # six months before, leap year
        (date(2021, 8, 31), -6, date(2021, 2, 28)),  # six months before
        (date(2021, 1, 15), -1, date(2020, 12, 15)),  # back over the year's end
        (date(2021, 1, 15), 0, date(2021, 1, 15)),  # nothing added
        (date(2000, 2, 29), 1200, date(2100, 2, 28)),  # 2100 is no leap year
        (date(1976, 2, 29), 600, date(2026, 2, 28)),  # fifty years
    ],
)
def test_months_are_added_to_a_day(day, months, falls_on):
    assert add_months(day, months) == falls_on


def test_month_sums_agree_with_dateutil_on_a_hundred_thousand_days():
    random = Random(180509)
    first, last = date(1900, 1, 1).toordinal(), date(2300, 12, 31).toordinal()
    for _ in range(100_000):
        day, months = date.fromordinal(random.randint(first, last)), random.randint(-600, 1200)
        expected = day + relativedelta(months=months)
        assert add_months(day, months) == expected, f"{day} plus {months} months"

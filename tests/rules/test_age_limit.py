"""The age from which a car is restricted.

Source: 49 CFR 215.203(a)(1), edition of 2004: more than 50 years from the date of original construction. A change
of June 2026 was not seen, so the date is marked as not verified.
"""

import pytest

from app.answers import due_dates
from app.core.rule import UNVERIFIED
from tests.core.cars import ask, citations, item, texts


def age(**more):
    return item(due_dates(ask(**more)), "age_limit")


@pytest.mark.parametrize("specification", ["DOT 111A100W1", "DOT 113A60W", "DOT 107A3000"])
@pytest.mark.parametrize(
    ("built", "as_of", "due_on", "status"),
    [
        ("1976-11-25", "2026-11-25", "2026-11-25", "soon"),  # the anniversary is still allowed
        ("1976-11-25", "2026-11-26", "2026-11-25", "overdue"),  # more than 50 years
        ("1976-11", "2026-11-01", "2026-11-01", "soon"),  # a month counts from its first day
        ("1976-02-29", "2026-02-28", "2026-02-28", "soon"),  # a leap day falls back
        ("2010-06-01", "2026-11-25", "2060-06-01", "in_date"),
    ],
)
def test_a_car_may_run_to_the_fiftieth_anniversary_of_its_construction(
    specification, built, as_of, due_on, status
):
    due = age(specification=specification, built_on=built, as_of=as_of)
    assert (due["due_on"], due["calculated_due_on"], due["status"]) == (due_on, due_on, status)
    assert due["interval_months"] == 600
    assert "49 CFR 215.203(a)(1)" in citations(due["reasons"])
    assert due["confidence"] == "memory"
    assert UNVERIFIED in texts(due["reasons"])


def test_a_rebuild_is_not_the_original_construction():
    assert age(built_on="1980-01-01", rebuilt_on="2015-01-01")["due_on"] == "2030-01-01"


def test_without_the_day_built_it_is_unknown():
    answer = due_dates(ask(built_on=None, rebuilt_on="2015-01-01"))
    assert item(answer, "age_limit")["status"] == "unknown"
    assert "age" in texts(answer["warnings"])


@pytest.mark.parametrize("precision", ["month_end", "year_end"])
def test_the_setting_for_the_end_of_month_or_year_does_not_touch_it(precision):
    assert age(settings={"due_precision": precision})["due_on"] == "2060-06-01"

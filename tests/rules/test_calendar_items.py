"""What recurs by the calendar: its interval, what it counts from, and how a sum is rounded.

Sources: 49 CFR 180.509(c)(3), annual edition of October 1, 2019, for the intervals and paragraphs;
counting from construction, month end and year end are common practice without a source.
"""

import pytest

from app.answers import due_dates
from tests.core.cars import (
    CALENDAR_ITEMS,
    UNLINED_CAR,
    UNLINED_ITEMS,
    ask,
    citations,
    failed,
    item,
    names,
    passed,
    qualified,
    texts,
)


@pytest.mark.parametrize(
    ("name", "months", "due_on", "cited"),
    [
        ("visual", 120, "2028-03-15", "49 CFR 180.509(d)"),  # 180.509(c)(3) table
        ("structural_integrity", 120, "2028-03-15", "49 CFR 180.509(e)"),  # the same
        ("safety_systems", 120, "2028-03-15", "49 CFR 180.509(h)"),  # the same
        ("thickness", 120, "2028-03-15", "49 CFR 180.509(f)"),  # (f)(2), lading not corrosive
        ("service_equipment", 120, "2028-03-15", "49 CFR 180.509(k)"),  # (k)(1)
        ("relief_device", 120, "2028-03-15", "49 CFR 180.509(k)"),  # (k)(1), (k)(2)
    ],
)
def test_an_item_falls_due_ten_years_after_it_last_passed(name, months, due_on, cited):
    due = item(due_dates(ask(qualified())), name)
    assert (due["basis_on"], due["interval_months"]) == ("2018-03-15", months)
    assert due["due_on"] == due["calculated_due_on"] == due_on
    assert due["status"] == "in_date"
    assert cited in citations(due["reasons"])
    assert due["confidence"] == "verified"


def test_items_come_in_the_order_of_the_table():
    assert names(due_dates(ask(qualified()))) == list(UNLINED_CAR)


@pytest.mark.parametrize(
    ("owner", "months", "due_on"),
    [
        (None, 120, "2028-03-15"),  # 180.509(k)(1): at least every ten years
        (60, 60, "2023-03-15"),  # the owner's analysis makes it shorter
        (119, 119, "2028-02-15"),  # by a month
        (120, 120, "2028-03-15"),  # the same
        (180, 120, "2028-03-15"),  # never longer
    ],
)
def test_the_owner_may_only_shorten_the_service_equipment_interval(owner, months, due_on):
    asked = ask(qualified(), service_equipment={"owner_interval_months": owner})
    due = item(due_dates(asked), "service_equipment")
    assert (due["interval_months"], due["due_on"]) == (months, due_on)


@pytest.mark.parametrize("name", UNLINED_ITEMS)
def test_construction_counts_as_the_first_qualification_and_says_so(name):
    due = item(due_dates(ask(as_of="2012-01-01")), name)
    assert (due["basis_on"], due["due_on"]) == ("2010-06-01", "2020-06-01")
    assert "common practice" in texts(due["reasons"])


@pytest.mark.parametrize("name", UNLINED_ITEMS)
def test_with_nothing_to_count_from_an_item_is_unknown_and_a_warning_says_what_is_missing(name):
    answer = due_dates(ask(built_on=None))
    due = item(answer, name)
    assert due["status"] == "unknown"
    assert due["due_on"] is due["days_left"] is due["basis_on"] is None
    assert due["calculated_due_on"] is None
    assert name.replace("_", " ") in texts(answer["warnings"]).replace("_", " ")


def test_a_rebuild_is_no_qualification_of_the_tank():
    due = item(due_dates(ask(rebuilt_on="2017-01-01")), "visual")
    assert due["basis_on"] == "2010-06-01"


@pytest.mark.parametrize(
    ("events", "basis_on"),
    [
        ([passed("2014-01-10", "visual")], "2014-01-10"),  # the only one
        ([passed("2014-01-10", "visual"), passed("2019-02-01", "visual")], "2019-02-01"),  # latest
        ([passed("2019-02-01", "visual"), passed("2014-01-10", "visual")], "2019-02-01"),  # by day
        ([passed("2014-01-10", "visual"), passed("2019-02-01", "thickness")], "2014-01-10"),  # own
        ([passed("2014-01-10", "visual"), failed("2019-02-01", "visual")], "2014-01-10"),  # a fail
        ([{"on": "2014-01-10", "items": ["visual"]}], "2014-01-10"),  # the outcome is pass unsaid
        ([passed("2014-01", "visual")], "2014-01-01"),  # a month counts from its first day
        ([passed("2026-11-25", "visual")], "2026-11-25"),  # the day itself
        ([passed("2026-11-26", "visual")], "2010-06-01"),  # tomorrow has not happened
    ],
)
def test_the_latest_passing_event_on_or_before_the_day_is_the_basis(events, basis_on):
    assert item(due_dates(ask(*events)), "visual")["basis_on"] == basis_on


@pytest.mark.parametrize(
    ("passed_on", "precision", "due_on"),
    [
        ("2016-02-29", "day", "2026-02-28"),  # a leap day falls back
        ("2024-02-29", "day", "2034-02-28"),  # and again
        ("2016-02-29", "month_end", "2026-02-28"),  # is the month's end already
        ("2014-02-28", "month_end", "2024-02-29"),  # the end of a leap February
        ("2018-03-15", "month_end", "2028-03-31"),  # common practice, no source
        ("2018-03-31", "month_end", "2028-03-31"),  # at the end already
        ("2018-12-05", "month_end", "2028-12-31"),  # the last month
        ("2018-03-15", "year_end", "2028-12-31"),  # common practice, no source
        ("2018-12-31", "year_end", "2028-12-31"),  # at the end already
        ("2018-01-01", "year_end", "2028-12-31"),  # never the year before
    ],
)
@pytest.mark.parametrize("name", UNLINED_ITEMS)
def test_a_due_date_is_one_sum_and_then_one_rounding(name, passed_on, precision, due_on):
    asked = ask(
        passed(passed_on, *UNLINED_ITEMS),
        as_of="2024-03-01",
        settings={"due_precision": precision},
    )
    due = item(due_dates(asked), name)
    assert due["due_on"] == due["calculated_due_on"] == due_on


def test_lining_dates_are_rounded_too():
    answer = due_dates(
        ask(
            as_of="2021-01-01",
            settings={"due_precision": "year_end"},
            lining={"kind": "rubber", "applied_on": "2018-03-15"},
            service={"corrosive_or_reactive": True},
        )
    )
    assert item(answer, "lining")["due_on"] == "2026-12-31"


def test_day_precision_is_the_default():
    asked = ask(qualified())
    spelt = ask(qualified(), settings={"due_precision": "day"})
    assert due_dates(asked)["items"] == due_dates(spelt)["items"]


@pytest.mark.parametrize("name", CALENDAR_ITEMS)
def test_the_lading_does_not_move_what_recurs_whatever_the_lading(name):
    gentle = item(due_dates(ask(qualified())), name)
    harsh = item(
        due_dates(ask(qualified(), service={"commodity": "Sulfuric acid"})),
        name,
    )
    assert gentle["due_on"] == harsh["due_on"] == "2028-03-15"

"""Reflective sheeting, kept up by either of two methods.

Sources: 49 CFR 224.111(b) (replaced within 10 years of installation, whatever its condition) and (c) (compared with
a panel whenever a single car air brake test is done); 224.107 (cars built after January 26, 2006 had it before
service), editions of 2015 and 2007. That a passing comparison in the same event or later closes it is ours.
"""

import pytest

from app.answers import due_dates
from tests.core.cars import ask, changed, citations, failed, item, passed, texts

ITEM = "reflective_sheeting"


def sheeting(*events, as_of="2024-06-30", **car):
    return item(due_dates(ask(*events, as_of=as_of, **car)), ITEM)


def replaced(on):
    return changed(on, "sheeting_replaced")


@pytest.mark.parametrize("specification", ["DOT 111A100W1", "DOT 113A60W", "DOT 107A3000"])
@pytest.mark.parametrize(
    ("built", "installed", "events", "basis_on", "due_on"),
    [
        ("2010-06-01", "2015-05-01", [], "2015-05-01", "2025-05-01"),  # 224.111(b)
        ("2010-06-01", "2015-05", [], "2015-05-01", "2025-05-01"),  # a month from its first day
        ("2010-06-01", "2015-05-01", [replaced("2020-02-29")], "2020-02-29", "2030-02-28"),
        ("2010-06-01", "2020-05-01", [replaced("2015-02-01")], "2020-05-01", "2030-05-01"),  # latest
        ("2010-06-01", None, [replaced("2020-02-01"), replaced("2015-02-01")], "2020-02-01", "2030-02-01"),
        # 224.107: without a date, from construction if built after January 26, 2006.
        ("2010-06-01", None, [], "2010-06-01", "2020-06-01"),
        ("2006-01-27", None, [], "2006-01-27", "2016-01-27"),  # the day after
        ("2006-01-26", None, [], None, None),  # not after
        ("1998-06-01", None, [], None, None),
        (None, None, [], None, None),
        ("1998-06-01", None, [replaced("2016-02-01")], "2016-02-01", "2026-02-01"),
        # What has not happened yet.
        ("2010-06-01", "2024-07-01", [], "2010-06-01", "2020-06-01"),
        ("2010-06-01", "2015-05-01", [replaced("2024-07-01")], "2015-05-01", "2025-05-01"),
        # An inspection is no replacement: the age counts whatever the condition.
        ("2010-06-01", "2015-05-01", [passed("2020-01-01", ITEM)], "2015-05-01", "2025-05-01"),
        ("2010-06-01", "2015-05-01", [passed("2020-01-01", "air_brake")], "2015-05-01", "2025-05-01"),
    ],
)  # fmt: skip
@pytest.mark.parametrize("method", ["replacement", None])
def test_it_is_replaced_within_ten_years_of_its_installation(
    specification, method, built, installed, events, basis_on, due_on
):
    due = sheeting(
        *events,
        specification=specification,
        built_on=built,
        reflective_sheeting={"installed_on": installed, "method": method},
    )
    assert (due["basis_on"], due["due_on"], due["calculated_due_on"]) == (basis_on, due_on, due_on)
    assert due["interval_months"] == 120
    assert due["confidence"] == "verified"
    if due_on is None:
        assert due["status"] == "unknown"
    else:
        assert "49 CFR 224.111(b)" in citations(due["reasons"])


def test_an_unknown_age_is_warned_of():
    answer = due_dates(ask(built_on="1998-06-01"))
    assert "reflective sheeting" in texts(answer["warnings"]).replace("_", " ")


@pytest.mark.parametrize("precision", ["month_end", "year_end"])
def test_the_setting_for_the_end_of_month_or_year_does_not_touch_it(precision):
    due = sheeting(
        reflective_sheeting={"installed_on": "2015-05-01"}, settings={"due_precision": precision}
    )
    assert due["due_on"] == "2025-05-01"


def test_failed_sheeting_is_due_now():
    due = sheeting(failed("2024-01-10", ITEM), reflective_sheeting={"installed_on": "2015-05-01"})
    assert (due["status"], due["due_on"]) == ("due_now", "2024-01-10")
    assert due["calculated_due_on"] == "2025-05-01"


@pytest.mark.parametrize(
    ("events", "owed_since"),
    [
        ([], None),  # no brake test, nothing to compare
        ([passed("2022-01-10", "air_brake")], "2022-01-10"),  # 224.111(c)
        ([failed("2022-01-10", "air_brake")], "2022-01-10"),  # whatever its outcome
        ([passed("2022-01-10", "air_brake", ITEM)], None),  # compared in the same event
        ([passed("2022-01-10", ITEM, "air_brake")], None),  # in whatever order it names them
        ([passed("2022-01-10", "air_brake"), passed("2022-01-10", ITEM)], None),  # a later place
        ([passed("2022-01-10", ITEM), passed("2022-01-10", "air_brake")], "2022-01-10"),  # earlier
        ([passed("2022-01-10", "air_brake"), passed("2022-02-01", ITEM)], None),  # later
        ([passed("2022-01-10", "air_brake"), passed("2022-01-09", ITEM)], "2022-01-10"),  # before
        ([failed("2022-01-10", "air_brake", ITEM)], "2022-01-10"),  # failed: not passed
        ([passed("2022-01-10", "air_brake"), failed("2022-02-01", ITEM)], "2022-01-10"),
        ([failed("2022-01-10", ITEM)], "2022-01-10"),  # failed without a brake test
        (
            [passed("2018-01-10", "air_brake", ITEM), passed("2022-01-10", "air_brake")],
            "2022-01-10",  # since the last comparison
        ),
        (
            [passed("2018-01-10", "air_brake"), passed("2022-01-10", "air_brake")],
            "2018-01-10",  # since the earliest that stands open
        ),
        ([passed("2024-07-01", "air_brake")], None),  # not yet
    ],
)
def test_against_a_panel_it_is_due_from_each_air_brake_test(events, owed_since):
    due = sheeting(*events, reflective_sheeting={"method": "comparator"})
    assert (due["status"], due["due_on"]) == (
        ("due_now", owed_since) if owed_since else ("by_event", None)
    )
    for field in ("basis_on", "interval_months", "calculated_due_on"):
        assert due[field] is None
    assert "49 CFR 224.111(c)" in citations(due["reasons"])


def test_against_a_panel_the_age_of_the_sheeting_says_nothing():
    due = sheeting(reflective_sheeting={"method": "comparator", "installed_on": "2001-01-01"})
    assert due["status"] == "by_event"

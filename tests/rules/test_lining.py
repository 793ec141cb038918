"""Lined or not, how long a lining lasts, and the thickness of a lined tank.

Sources: 49 CFR 180.509(i) (eight years unless service history or analysis supports more),
180.509(f)(2)(i) (a lined tank is measured when the lining is applied or replaced) and 179.201-1
(suffix 5 is a lined car), annual edition of October 1, 2019. The six months are ours.
"""

import pytest

from app.answers import due_dates
from tests.core.cars import (
    LINED_CAR,
    LIQUOR,
    OIL,
    UNLINED_CAR,
    ask,
    changed,
    citations,
    failed,
    item,
    names,
    passed,
    texts,
)

W5 = "DOT 111A100W5"
RUBBER = {"kind": "rubber"}


def lined(on="2020-03-15", **more):
    return {**RUBBER, "applied_on": on, **more}


@pytest.mark.parametrize(
    ("specification", "lining", "events", "is_lined"),
    [
        ("DOT 111A100W1", None, [], False),  # nothing says so
        ("DOT 111A100W1", RUBBER, [], True),  # an object alone: lined at an unknown day
        ("DOT 111A100W1", lined(), [], True),
        (W5, None, [], True),  # 179.201-1: suffix 5 is lined
        (W5, RUBBER, [], True),
        ("DOT 111A60W5", None, [], True),
        ("DOT 111A100W1", lined("2027-01-01"), [], False),  # a future lining is none
        (W5, lined("2027-01-01"), [], True),  # but the digit still says lined
        ("DOT 111A100W1", None, [changed("2020-03-15", "lining_applied")], True),
        ("DOT 111A100W1", None, [changed("2027-01-01", "lining_applied")], False),  # not yet
        ("DOT 111A100W1", RUBBER, [changed("2020-03-15", "lining_removed")], False),
        (W5, None, [changed("2020-03-15", "lining_removed")], False),  # an event beats the digit
        ("DOT 111A100W1", lined(), [changed("2020-03-14", "lining_removed")], True),  # the later
        ("DOT 111A100W1", lined(), [changed("2020-03-16", "lining_removed")], False),
        ("DOT 111A100W1", lined(), [changed("2020-03-15", "lining_removed")], False),  # field first
        (
            "DOT 111A100W1",
            lined(),
            [changed("2022-01-01", "lining_removed"), changed("2023-01-01", "lining_applied")],
            True,
        ),
        (
            "DOT 111A100W1",
            None,
            [changed("2023-01-01", "lining_removed"), changed("2022-01-01", "lining_applied")],
            False,  # by day, not by place
        ),
        (
            "DOT 111A100W1",
            None,
            [changed("2022-01-01", "lining_removed"), changed("2022-01-01", "lining_applied")],
            True,  # one day: by place
        ),
        (
            "DOT 111A100W1",
            None,
            [changed("2022-01-01", "lining_applied"), changed("2022-01-01", "lining_removed")],
            False,
        ),
        ("DOT 111A100W1", lined(), [changed("2027-01-01", "lining_removed")], True),  # not yet
        ("DOT 111A100W1", lined(), [failed("2024-01-01", "lining")], True),  # failed, still there
        (
            "DOT 111A100W1",
            lined(),
            [changed("2024-01-01", "lining_repaired_locally")],
            True,
        ),
    ],
)
def test_the_latest_of_application_and_removal_decides(specification, lining, events, is_lined):
    asked = ask(*events, specification=specification, lining=lining, service=LIQUOR)
    expected = list(LINED_CAR if is_lined else UNLINED_CAR)
    assert names(due_dates(asked)) == expected


def test_a_lining_dated_after_the_day_is_warned_of():
    plain = due_dates(ask())["warnings"]
    future = due_dates(ask(lining=lined("2027-01-01")))["warnings"]
    assert [note for note in future if note not in plain]


@pytest.mark.parametrize(
    ("owner", "documented", "months", "due_on"),
    [
        (None, None, 96, "2028-03-15"),  # 180.509(i): eight years as the outer bound
        (None, True, 96, "2028-03-15"),  # documented, but no longer interval was set
        (120, False, 96, "2028-03-15"),  # above eight years and not documented
        (120, None, 96, "2028-03-15"),
        (97, False, 96, "2028-03-15"),  # by a month
        (96, False, 96, "2028-03-15"),  # exactly eight years
        (120, True, 120, "2030-03-15"),  # documented
        (97, True, 97, "2028-04-15"),
        (60, False, 60, "2025-03-15"),  # the owner's, shorter
        (60, True, 60, "2025-03-15"),
        (24, None, 24, "2022-03-15"),
    ],
)
def test_a_lining_lasts_eight_years_unless_more_is_documented(owner, documented, months, due_on):
    lining = lined(owner_interval_months=owner, documented=documented)
    due = item(due_dates(ask(lining=lining, service=LIQUOR)), "lining")
    assert (due["interval_months"], due["due_on"]) == (months, due_on)
    assert due["basis_on"] == "2020-03-15"
    assert "49 CFR 180.509(i)" in citations(due["reasons"])


@pytest.mark.parametrize(
    ("lining", "events", "basis_on"),
    [
        (lined("2018-05-01"), [], "2018-05-01"),
        (lined("2018-05"), [], "2018-05-01"),  # a month counts from its first day
        (lined("2018-05-01"), [passed("2020-06-01", "lining")], "2020-06-01"),  # inspected since
        (lined("2018-05-01"), [passed("2017-06-01", "lining")], "2018-05-01"),  # the lining before
        (lined("2018-05-01"), [changed("2021-02-01", "lining_applied")], "2021-02-01"),  # new one
        (
            lined("2018-05-01"),
            [passed("2022-06-01", "lining"), changed("2021-02-01", "lining_applied")],
            "2022-06-01",
        ),
        (lined("2018-05-01"), [failed("2020-06-01", "lining")], "2018-05-01"),  # moves no basis
        (RUBBER, [passed("2020-06-01", "lining")], "2020-06-01"),  # application unknown
        (lined("2018-05-01"), [passed("2027-06-01", "lining")], "2018-05-01"),  # not yet
    ],
)
def test_a_lining_counts_from_its_application_or_latest_pass(lining, events, basis_on):
    due = item(due_dates(ask(*events, lining=lining, service=LIQUOR)), "lining")
    assert due["basis_on"] == basis_on


@pytest.mark.parametrize("lining", [RUBBER, None])
def test_a_lining_of_unknown_age_is_unknown_and_not_as_old_as_the_car(lining):
    answer = due_dates(ask(specification=W5, lining=lining, service=LIQUOR))
    due = item(answer, "lining")
    assert (due["status"], due["due_on"], due["basis_on"]) == ("unknown", None, None)
    assert "lining" in texts(answer["warnings"])


def test_a_lining_is_not_required_for_a_lading_that_does_not_attack_the_tank():
    due = item(due_dates(ask(lining=lined(), service=OIL)), "lining")
    assert (due["status"], due["due_on"], due["days_left"]) == ("not_required", None, None)
    assert due["reasons"]
    assert "49 CFR 180.509(i)" in citations(due["reasons"])


def test_not_required_beats_what_is_owed():
    answer = due_dates(ask(failed("2024-01-01", "lining"), lining=lined(), service=OIL))
    assert item(answer, "lining")["status"] == "not_required"


@pytest.mark.parametrize(
    ("applied_on", "measured_on", "status"),
    [
        # Six months before 2020-08-31 is 2020-02-29.
        ("2020-08-31", "2020-02-29", "by_event"),  # exactly
        ("2020-08-31", "2020-02-28", "unknown"),  # a day too early
        ("2020-03-15", "2019-09-15", "by_event"),  # exactly
        ("2020-03-15", "2019-09-14", "unknown"),  # a day too early
        ("2020-03-15", "2020-03-15", "by_event"),  # the same day
        ("2020-03-15", "2022-01-01", "by_event"),  # later
        ("2020-03-15", "2027-01-01", "unknown"),  # not yet
    ],
)
def test_a_lined_tank_is_measured_about_when_its_lining_is_applied(applied_on, measured_on, status):
    asked = ask(passed(measured_on, "thickness"), lining=lined(applied_on), service=LIQUOR)
    answer = due_dates(asked)
    due = item(answer, "thickness")
    assert (due["status"], due["due_on"], due["days_left"]) == (status, None, None)
    assert due["basis_on"] is due["interval_months"] is due["calculated_due_on"] is None
    assert ("thickness" in texts(answer["warnings"])) is (status == "unknown")


def test_a_failed_measurement_does_not_serve_the_lining():
    answer = due_dates(ask(failed("2020-03-15", "thickness"), lining=lined()))
    assert item(answer, "thickness")["status"] == "due_now"


def test_the_latest_application_is_what_the_measurement_must_lie_near():
    events = [passed("2018-01-01", "thickness"), changed("2020-03-15", "lining_applied")]
    answer = due_dates(ask(*events, lining=lined("2018-01-01"), service=LIQUOR))
    assert item(answer, "thickness")["status"] == "unknown"
    renewed = [*events, passed("2020-03-20", "thickness")]
    answer = due_dates(ask(*renewed, lining=lined("2018-01-01"), service=LIQUOR))
    assert item(answer, "thickness")["status"] == "by_event"


@pytest.mark.parametrize("lining", [RUBBER, None])
def test_the_thickness_under_a_lining_of_unknown_age_is_unknown(lining):
    asked = ask(passed("2018-01-01", "thickness"), specification=W5, lining=lining, service=LIQUOR)
    assert item(due_dates(asked), "thickness")["status"] == "unknown"


def test_taking_the_lining_out_brings_the_calendar_back():
    events = [
        passed("2018-01-01", "thickness"),
        changed("2020-03-15", "lining_removed", "visual", "thickness"),
    ]
    answer = due_dates(ask(*events, lining=lined("2018-01-01"), service=OIL))
    due = item(answer, "thickness")
    assert (due["status"], due["due_on"]) == ("in_date", "2030-03-15")
    assert "lining" not in names(answer)


def test_taking_the_lining_out_makes_visual_and_thickness_due_now():
    events = [passed("2018-01-01", "visual", "thickness"), changed("2020-03-15", "lining_removed")]
    answer = due_dates(ask(*events, lining=lined("2018-01-01"), service=OIL))
    for name in ("visual", "thickness"):
        due = item(answer, name)
        assert (due["status"], due["due_on"]) == ("due_now", "2020-03-15")

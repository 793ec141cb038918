"""Tanks taken off the car to be filled and emptied: classes 106, 110 and 27.

Source: 49 CFR 180.519(a) (a retest "may be made at any time during the calendar year the retest falls due"),
180.519(b) (tank 5 years, relief device 2 years) and its note d (5 years for spring-loaded valves on tanks for
fluorinated hydrocarbons only), annual edition of October 1, 2019.
"""

import pytest

from app.answers import due_dates
from tests.core.cars import AS_OF, ask, changed, citations, failed, item, passed, texts

TANK = "DOT 106A500X"
FLUORINATED = {"fluorinated_hydrocarbon_only": True}
VALVE = {"kind": "valve"}


def answer(*events, as_of="2021-06-30", specification=TANK, built_on=None, **more):
    return due_dates(
        ask(*events, as_of=as_of, specification=specification, built_on=built_on, **more)
    )


def stamped(on="2020-03"):
    """Tank and relief device, as stamped in the head: month and year."""
    return passed(on, "tank_retest", "relief_device")


@pytest.mark.parametrize(
    "specification",
    [
        # Every row of the table in 180.519(b).
        "DOT 27",
        "BE 27",
        "DOT 106A500",
        "DOT 106A500X",
        "DOT 106A800",
        "DOT 106A800X",
        "DOT 106A800NCI",
        "DOT 110A500-W",
        "DOT 110A600-W",
        "DOT 110A800-W",
        "DOT 110A1000-W",
    ],
)
@pytest.mark.parametrize(
    ("service", "device", "relief_months", "relief_due"),
    [
        ({}, None, 24, "2022-12-31"),  # 2 years, December 31 of that year
        (FLUORINATED, VALVE, 60, "2025-12-31"),  # note d
        (FLUORINATED, None, 24, "2022-12-31"),  # whether it is a valve is not known
        (FLUORINATED, {"kind": "disc"}, 24, "2022-12-31"),  # note d is for spring-loaded valves
        (FLUORINATED, {"kind": "combination"}, 24, "2022-12-31"),
        ({"fluorinated_hydrocarbon_only": False}, VALVE, 24, "2022-12-31"),  # another lading
        ({}, VALVE, 24, "2022-12-31"),
    ],
)
def test_the_tank_is_due_in_five_years_and_its_relief_device_in_two_or_five(
    specification, service, device, relief_months, relief_due
):
    found = answer(stamped(), specification=specification, service=service, relief_device=device)
    tank, relief = item(found, "tank_retest"), item(found, "relief_device")
    assert (tank["basis_on"], tank["interval_months"]) == ("2020-03-01", 60)
    assert tank["due_on"] == tank["calculated_due_on"] == "2025-12-31"
    assert (relief["basis_on"], relief["interval_months"]) == ("2020-03-01", relief_months)
    assert relief["due_on"] == relief["calculated_due_on"] == relief_due
    for due in (tank, relief):
        assert "49 CFR 180.519" in citations(due["reasons"])
        assert due["confidence"] == "verified"


@pytest.mark.parametrize(
    ("on", "tank_due", "relief_due"),
    [
        ("2020-01-01", "2025-12-31", "2022-12-31"),  # the first day of a year
        ("2020-12-31", "2025-12-31", "2022-12-31"),  # and its last: the same day
        ("2021-01-01", "2026-12-31", "2023-12-31"),  # a day later: a year later
        ("2020-02-29", "2025-12-31", "2022-12-31"),  # a leap day
        ("1990-01", "1995-12-31", "1992-12-31"),  # "01-90" as stamped
    ],
)
def test_a_retest_may_be_made_at_any_time_during_the_year_it_falls_due(on, tank_due, relief_due):
    found = answer(stamped(on))
    assert item(found, "tank_retest")["due_on"] == tank_due
    assert item(found, "relief_device")["due_on"] == relief_due


@pytest.mark.parametrize(
    ("as_of", "status"),
    [("2025-12-31", "soon"), ("2026-01-01", "overdue"), ("2025-01-01", "in_date")],
)
def test_the_last_day_of_the_year_is_still_in_date(as_of, status):
    assert item(answer(stamped(), as_of=as_of), "tank_retest")["status"] == status


@pytest.mark.parametrize("precision", ["day", "month_end", "year_end"])
def test_the_setting_for_the_end_of_month_or_year_does_not_touch_a_ton_tank(precision):
    found = answer(stamped(), settings={"due_precision": precision})
    assert item(found, "tank_retest")["due_on"] == "2025-12-31"
    assert item(found, "relief_device")["due_on"] == "2022-12-31"


def test_construction_counts_as_the_first_retest_and_says_so():
    for name, due_on in (("tank_retest", "2025-12-31"), ("relief_device", "2022-12-31")):
        due = item(answer(built_on="2020-03-15"), name)
        assert (due["basis_on"], due["due_on"]) == ("2020-03-15", due_on)
        assert "common practice" in texts(due["reasons"])


@pytest.mark.parametrize("name", ["tank_retest", "relief_device"])
def test_with_nothing_to_count_from_it_is_unknown_and_a_warning_says_so(name):
    found = answer()
    due = item(found, name)
    assert (due["status"], due["due_on"], due["basis_on"]) == ("unknown", None, None)
    assert name.replace("_", " ") in texts(found["warnings"]).replace("_", " ")


@pytest.mark.parametrize("name", ["tank_retest", "relief_device"])
def test_a_failed_retest_is_due_now_until_it_passes(name):
    failing = [stamped(), failed("2021-05-01", name)]
    due = item(answer(*failing), name)
    assert (due["status"], due["due_on"]) == ("due_now", "2021-05-01")
    assert due["calculated_due_on"] in ("2025-12-31", "2022-12-31")
    assert item(answer(*failing, passed("2021-05-02", name)), name)["status"] != "due_now"


def test_a_relief_device_tested_and_put_on_later_counts_from_its_test():
    # The six-month clause of 180.515(c) is for fusion-welded tanks.
    device = {
        "kind": "valve",
        "tested_on": "2020-11-15",
        "installed_on": "2021-01-10",
        "protected_in_storage": True,
    }
    due = item(answer(relief_device=device), "relief_device")
    assert (due["basis_on"], due["due_on"]) == ("2020-11-15", "2022-12-31")


def test_a_relief_device_put_on_after_all_that_is_known_is_unknown():
    found = answer(stamped(), changed("2021-05-01", "relief_device_changed"))
    assert item(found, "relief_device")["status"] == "unknown"
    assert item(found, "tank_retest")["due_on"] == "2025-12-31"


def test_an_owner_s_interval_stencil_or_approval_is_for_fusion_welded_tanks_only():
    plain = answer(stamped())
    more = answer(
        stamped(),
        relief_device={"owner_interval_months": 12},
        stencil={"marked_on": "2020-04-01", "due": {"relief_device": "2021-07-01"}},
        approvals=[{"item": "relief_device", "interval_months": 36, "stenciled": True}],
    )
    for name in ("tank_retest", "relief_device"):
        assert item(more, name)["due_on"] == item(plain, name)["due_on"]


def test_what_a_ton_tank_does_not_have_is_ignored_with_a_warning():
    plain = answer(stamped())
    odd = answer(stamped(), failed("2021-05-01", "visual", "air_brake"))
    assert odd["items"] == plain["items"]
    said = texts(odd["warnings"]).replace("_", " ")
    assert "visual" in said
    assert "air brake" in said


def test_next_is_the_relief_device():
    assert answer(stamped(), as_of=AS_OF)["next"] == {
        "item": "relief_device",
        "due_on": "2022-12-31",
    }

"""Class 113: rupture disc and relief valves; the tank itself has no periodic test.

Source: 49 CFR 173.319(e), annual edition of October 1, 2015: the disc is replaced every 12 months, relief valves
and alternate relief valves are tested every 5 years.
"""

import pytest

from app.answers import due_dates
from tests.core.cars import ask, changed, citations, failed, item, names, passed, texts


def answer(*events, as_of="2024-06-30", specification="DOT 113A60W", **more):
    return due_dates(ask(*events, as_of=as_of, specification=specification, **more))


SERVICED = passed("2024-02-29", "rupture_disc", "relief_device")


@pytest.mark.parametrize(
    "specification",
    # The delimiter is the design temperature; none of it moves a date (179.401-1; 180.507 for the old ones).
    ["DOT 113A60W", "DOT 113C120W", "DOT 113D60W", "DOT 113A175W", "DOT 113C60W"],
)
@pytest.mark.parametrize(
    ("name", "months", "due_on"),
    [
        ("rupture_disc", 12, "2025-02-28"),  # every 12 months; a leap day falls back
        ("relief_device", 60, "2029-02-28"),  # every 5 years
    ],
)
def test_the_disc_is_due_in_a_year_and_the_valves_in_five(specification, name, months, due_on):
    due = item(answer(SERVICED, specification=specification), name)
    assert (due["basis_on"], due["interval_months"]) == ("2024-02-29", months)
    assert due["due_on"] == due["calculated_due_on"] == due_on
    assert "49 CFR 173.319(e)" in citations(due["reasons"])
    assert due["confidence"] == "verified"


def test_there_is_no_periodic_test_of_the_tank():
    assert not {"tank_retest", "visual", "thickness", "leakage"} & set(names(answer(SERVICED)))


@pytest.mark.parametrize("precision", ["month_end", "year_end"])
def test_the_setting_for_the_end_of_month_or_year_does_not_touch_it(precision):
    found = answer(SERVICED, settings={"due_precision": precision})
    assert item(found, "rupture_disc")["due_on"] == "2025-02-28"
    assert item(found, "relief_device")["due_on"] == "2029-02-28"


@pytest.mark.parametrize(
    ("name", "due_on"), [("rupture_disc", "2011-06-01"), ("relief_device", "2015-06-01")]
)
def test_construction_counts_as_the_first_time_and_says_so(name, due_on):
    due = item(answer(), name)
    assert (due["basis_on"], due["due_on"]) == ("2010-06-01", due_on)
    assert "common practice" in texts(due["reasons"])


@pytest.mark.parametrize("name", ["rupture_disc", "relief_device"])
def test_with_nothing_to_count_from_it_is_unknown_and_a_warning_says_so(name):
    found = answer(built_on=None)
    assert item(found, name)["status"] == "unknown"
    assert name.replace("_", " ") in texts(found["warnings"]).replace("_", " ")


@pytest.mark.parametrize("name", ["rupture_disc", "relief_device"])
def test_what_failed_is_due_now_until_it_passes(name):
    due = item(answer(SERVICED, failed("2024-05-01", name)), name)
    assert (due["status"], due["due_on"]) == ("due_now", "2024-05-01")
    assert due["basis_on"] == "2024-02-29"
    mended = answer(SERVICED, failed("2024-05-01", name), passed("2024-05-01", name))
    assert item(mended, name)["basis_on"] == "2024-05-01"


def test_a_valve_tested_and_put_on_later_counts_from_its_test():
    # The six-month clause of 180.515(c) is for fusion-welded tanks.
    device = {
        "kind": "valve",
        "tested_on": "2023-11-15",
        "installed_on": "2024-01-10",
        "protected_in_storage": True,
    }
    due = item(answer(relief_device=device), "relief_device")
    assert (due["basis_on"], due["due_on"]) == ("2023-11-15", "2028-11-15")


def test_a_valve_of_which_nothing_is_known_is_unknown():
    found = answer(SERVICED, changed("2024-05-01", "relief_device_changed"))
    assert item(found, "relief_device")["status"] == "unknown"
    assert item(found, "rupture_disc")["due_on"] == "2025-02-28"


def test_an_owner_s_interval_stencil_or_approval_is_for_fusion_welded_tanks_only():
    more = answer(
        SERVICED,
        relief_device={"owner_interval_months": 12},
        stencil={"marked_on": "2024-03-01", "due": {"relief_device": "2025-01-01"}},
        approvals=[{"item": "relief_device", "interval_months": 36, "stenciled": True}],
    )
    assert item(more, "relief_device")["due_on"] == "2029-02-28"

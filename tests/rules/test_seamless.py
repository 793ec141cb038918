"""Class 107: the rules in force before July 1, 1996 govern, and their intervals were not found.

Source: 49 CFR 180.509(c)(1), annual edition of October 1, 2019.
"""

import pytest

from app.answers import due_dates
from tests.core.cars import ask, citations, item, passed, texts

TESTED = passed("2024-01-10", "tank_retest", "relief_device", "air_brake")


def answer(*events, **more):
    return due_dates(ask(*events, specification="DOT 107A3000", **more))


@pytest.mark.parametrize("name", ["tank_retest", "relief_device"])
@pytest.mark.parametrize(
    ("events", "device"),
    [
        ([], None),  # counted from nothing, not even from construction
        ([TESTED], None),  # nor from a test: no interval is known
        ([TESTED], {"kind": "valve", "tested_on": "2024-01-10", "installed_on": "2024-02-01"}),
    ],
)
def test_it_is_always_unknown_with_a_warning(name, events, device):
    found = answer(*events, relief_device=device)
    due = item(found, name)
    assert due["status"] == "unknown"
    for field in ("due_on", "days_left", "basis_on", "interval_months", "calculated_due_on"):
        assert due[field] is None
    assert "49 CFR 180.509(c)(1)" in citations(due["reasons"])
    said = texts(found["warnings"]).replace("_", " ")
    assert name.replace("_", " ") in said
    assert "1996" in said


def test_its_mechanical_items_are_those_of_any_car():
    found = answer(TESTED, as_of="2026-11-25")
    assert item(found, "air_brake")["due_on"] == "2029-01-10"
    assert item(found, "age_limit")["due_on"] == "2060-06-01"


def test_it_is_to_be_checked_before_it_is_loaded():
    assert answer(TESTED)["loading"]["verdict"] == "check"

"""The single car air brake test.

Sources: 49 CFR 232.305(c) (at least every 5 years) and (d) (the first within 8 years of built or rebuilt), annual
edition of October 1, 2015. The part was changed on December 11, 2020 (85 FR 80544), unseen: so every date here is
marked as not verified.
"""

import pytest

from app.answers import due_dates
from app.core.rule import UNVERIFIED
from tests.core.cars import ask, changed, citations, failed, item, passed, texts


def brake(*events, as_of="2024-06-30", **car):
    return item(due_dates(ask(*events, as_of=as_of, **car)), "air_brake")


def braked(on):
    return passed(on, "air_brake")


@pytest.mark.parametrize("specification", ["DOT 111A100W1", "DOT 113A60W", "DOT 107A3000"])
@pytest.mark.parametrize(
    ("built", "rebuilt", "events", "basis_on", "months", "due_on"),
    [
        # (d): never tested, so 8 years from built or rebuilt.
        ("2018-02-01", None, [], "2018-02-01", 96, "2026-02-01"),
        ("2010-06-01", "2019-04-01", [], "2019-04-01", 96, "2027-04-01"),
        (None, "2019-04-01", [], "2019-04-01", 96, "2027-04-01"),  # built unknown
        # (c): tested, so 5 years from the last test.
        ("2010-06-01", None, [braked("2021-03-15")], "2021-03-15", 60, "2026-03-15"),
        ("2010-06-01", None, [braked("2021-03-15"), braked("2015-01-01")], "2021-03-15", 60, "2026-03-15"),
        (None, None, [braked("2021-03-15")], "2021-03-15", 60, "2026-03-15"),
        ("2010-06-01", "2019-04-01", [braked("2021-03-15")], "2021-03-15", 60, "2026-03-15"),
        # Rebuilt after the last test: 8 years from then.
        ("2010-06-01", "2022-01-10", [braked("2021-03-15")], "2022-01-10", 96, "2030-01-10"),
        # On one day built or rebuilt is not later than the test.
        ("2010-06-01", "2021-03-15", [braked("2021-03-15")], "2021-03-15", 60, "2026-03-15"),
        ("2021-03-15", None, [braked("2021-03-15")], "2021-03-15", 60, "2026-03-15"),
        # A failed test moves nothing; a test or a rebuild to come is not there.
        ("2010-06-01", None, [braked("2021-03-15"), braked("2024-07-01")], "2021-03-15", 60, "2026-03-15"),
        ("2010-06-01", "2024-07-01", [braked("2021-03-15")], "2021-03-15", 60, "2026-03-15"),
        # The short month of a leap year.
        ("2010-06-01", None, [braked("2020-02-29")], "2020-02-29", 60, "2025-02-28"),
    ],
)  # fmt: skip
def test_it_is_due_five_years_after_the_last_test_or_eight_after_the_car_was_made(
    specification, built, rebuilt, events, basis_on, months, due_on
):
    due = brake(*events, specification=specification, built_on=built, rebuilt_on=rebuilt)
    assert (due["basis_on"], due["interval_months"]) == (basis_on, months)
    assert due["due_on"] == due["calculated_due_on"] == due_on
    assert f"49 CFR 232.305({'c' if months == 60 else 'd'})" in citations(due["reasons"])
    assert due["confidence"] == "memory"
    assert UNVERIFIED in texts(due["reasons"])


def test_with_nothing_to_count_from_it_is_unknown():
    answer = due_dates(ask(built_on=None))
    assert item(answer, "air_brake")["status"] == "unknown"
    assert item(answer, "air_brake")["confidence"] == "memory"
    assert "air brake" in texts(answer["warnings"]).replace("_", " ")


def test_a_failed_test_is_due_now_until_it_passes():
    due = brake(braked("2021-03-15"), failed("2024-02-01", "air_brake"))
    assert (due["status"], due["due_on"], due["basis_on"]) == (
        "due_now",
        "2024-02-01",
        "2021-03-15",
    )
    again = brake(braked("2021-03-15"), failed("2024-02-01", "air_brake"), braked("2024-02-01"))
    assert (again["status"], again["due_on"]) == ("in_date", "2029-02-01")


@pytest.mark.parametrize("precision", ["month_end", "year_end"])
def test_neither_setting_nor_stencil_nor_approval_moves_it(precision):
    due = brake(braked("2021-03-15"), settings={"due_precision": precision})
    assert due["due_on"] == "2026-03-15"


def test_what_is_done_to_the_tank_does_not_move_it():
    due = brake(braked("2021-03-15"), changed("2023-01-01", "repair_reducing_thickness"))
    assert due["due_on"] == "2026-03-15"

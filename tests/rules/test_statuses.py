"""How a date is told: overdue, soon, in date; and what comes next. Ours, no published source."""

import pytest

from app.answers import due_dates
from tests.core.cars import ask, changed, failed, item, mechanically_sound, passed, qualified

ALL = ("visual", "structural_integrity", "safety_systems", "thickness", "service_equipment")


@pytest.mark.parametrize(
    ("as_of", "soon_days", "status", "days_left"),
    [
        # Due on 2028-03-15.
        ("2028-03-15", None, "soon", 0),  # the due day itself is still in date
        ("2028-03-16", None, "overdue", -1),  # the day after is not
        ("2028-03-14", None, "soon", 1),
        ("2027-09-17", None, "soon", 180),  # exactly the default of 180 days
        ("2027-09-16", None, "in_date", 181),
        ("2029-03-15", None, "overdue", -365),
        ("2026-11-25", None, "in_date", 476),
        ("2028-02-14", 30, "soon", 30),  # exactly 30
        ("2028-02-13", 30, "in_date", 31),
        ("2028-03-15", 0, "soon", 0),  # no days of notice: only the day itself
        ("2028-03-14", 0, "in_date", 1),
        ("2028-03-16", 0, "overdue", -1),
    ],
)
def test_the_status_follows_the_days_left(as_of, soon_days, status, days_left):
    asked = ask(qualified(), as_of=as_of, settings={"soon_days": soon_days})
    due = item(due_dates(asked), "visual")
    assert (due["status"], due["days_left"]) == (status, days_left)
    assert due["due_on"] == "2028-03-15"


@pytest.mark.parametrize(
    ("events", "due_on", "days_left"),
    [
        # Due by the calendar on 2028-03-15; asked on 2026-11-25.
        ([failed("2026-11-20", "visual")], "2026-11-20", -5),  # owed since it failed
        ([failed("2026-11-25", "visual")], "2026-11-25", 0),  # today
        ([failed("2026-10-01", "visual"), failed("2026-11-01", "visual")], "2026-10-01", -55),
        ([changed("2026-09-01", "damage"), failed("2026-11-01", "visual")], "2026-09-01", -85),
    ],
)
def test_what_is_owed_is_due_since_the_earliest_day_it_became_owed(events, due_on, days_left):
    due = item(due_dates(ask(qualified(), *events)), "visual")
    assert (due["status"], due["due_on"], due["days_left"]) == ("due_now", due_on, days_left)
    # The calendar stays in sight.
    assert (due["basis_on"], due["interval_months"]) == ("2018-03-15", 120)
    assert due["calculated_due_on"] == "2028-03-15"


def test_what_was_overdue_before_it_became_owed_is_due_since_its_calendar_date():
    answer = due_dates(ask(qualified(), failed("2028-05-01", "visual"), as_of="2028-06-01"))
    due = item(answer, "visual")
    assert (due["status"], due["due_on"], due["days_left"]) == ("due_now", "2028-03-15", -78)


def test_a_due_now_item_with_nothing_to_count_from_is_due_since_it_became_owed():
    due = item(due_dates(ask(failed("2026-05-01", "visual"), built_on=None)), "visual")
    assert (due["status"], due["due_on"]) == ("due_now", "2026-05-01")
    assert due["basis_on"] is due["calculated_due_on"] is None


def test_next_is_the_earliest_date():
    asked = mechanically_sound(qualified())
    asked["events"] += [passed("2020-01-10", "visual"), passed("2024-01-10", "thickness")]
    assert due_dates(asked)["next"] == {"item": "structural_integrity", "due_on": "2028-03-15"}


def test_mechanical_items_come_next_like_the_others():
    # First air brake test within 96 months of construction on 2010-06-01.
    assert due_dates(ask(qualified()))["next"] == {"item": "air_brake", "due_on": "2018-06-01"}


def test_ties_go_to_the_earlier_row_of_the_table():
    answer = due_dates(mechanically_sound(qualified()))
    assert answer["next"] == {"item": "visual", "due_on": "2028-03-15"}
    later = mechanically_sound(qualified(), stencil={"due": {"relief_device": "2028-03-15"}})
    later["events"] += [passed("2019-03-15", "visual", "structural_integrity", "safety_systems")]
    assert due_dates(later)["next"] == {"item": "thickness", "due_on": "2028-03-15"}


def test_what_is_due_now_comes_before_what_is_overdue():
    answer = due_dates(
        ask(
            passed("2011-01-01", "service_equipment"),
            passed("2020-01-01", "visual", "thickness"),
            failed("2026-11-01", "thickness"),
        )
    )
    assert item(answer, "service_equipment")["due_on"] == "2021-01-01"
    assert answer["next"] == {"item": "thickness", "due_on": "2026-11-01"}


def test_among_due_now_the_earliest_is_next():
    answer = due_dates(
        ask(qualified(), failed("2026-10-01", "service_equipment"), failed("2026-11-01", "visual"))
    )
    assert answer["next"] == {"item": "service_equipment", "due_on": "2026-10-01"}


def test_nothing_is_next_when_no_item_has_a_date():
    assert due_dates(ask(built_on=None))["next"] is None


def test_the_stenciled_date_counts_for_what_is_next():
    answer = due_dates(
        mechanically_sound(qualified(), stencil={"due": {"safety_systems": "2027-05-01"}})
    )
    assert answer["next"] == {"item": "safety_systems", "due_on": "2027-05-01"}

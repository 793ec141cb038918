"""The leak test: by event, and what is known of it after the latest qualification of equipment.

Sources: 49 CFR 180.509(j) (service equipment and closures installed, replaced or reinstalled) and 180.513(d)
(after repair, replacement or qualification of service equipment), annual edition of October 1, 2019. No number of
years is set. The order on one day is ours.
"""

import pytest

from app.answers import due_dates
from tests.core.cars import ask, changed, citations, failed, item, passed, qualified, texts


def leakage(*events, **more):
    return item(due_dates(ask(*events, **more)), "leakage")


EQUIPMENT = "service_equipment"
DEVICE = "relief_device"


@pytest.mark.parametrize(
    ("events", "status"),
    [
        ([], "by_event"),  # nothing asks for it
        ([passed("2018-03-15", "visual", "thickness")], "by_event"),  # no equipment was touched
        # 180.513(d): the latest qualification of equipment asks for a leak test.
        ([passed("2018-03-15", EQUIPMENT)], "unknown"),
        ([passed("2018-03-15", DEVICE)], "unknown"),
        ([passed("2018-03-15", EQUIPMENT, "leakage")], "by_event"),  # in the same event
        ([passed("2018-03-15", "leakage", DEVICE)], "by_event"),  # in whatever order it names them
        ([passed("2018-03-15", EQUIPMENT), passed("2018-03-16", "leakage")], "by_event"),  # later
        ([passed("2018-03-15", EQUIPMENT), passed("2018-03-14", "leakage")], "unknown"),  # before
        # On one day the place in the list decides.
        ([passed("2018-03-15", EQUIPMENT), passed("2018-03-15", "leakage")], "by_event"),
        ([passed("2018-03-15", "leakage"), passed("2018-03-15", EQUIPMENT)], "unknown"),
        # Only the latest qualification counts, of either.
        ([passed("2010-07-01", EQUIPMENT), passed("2018-03-15", DEVICE, "leakage")], "by_event"),
        ([passed("2010-07-01", EQUIPMENT, "leakage"), passed("2018-03-15", DEVICE)], "unknown"),
        ([passed("2018-03-15", DEVICE), passed("2010-07-01", EQUIPMENT, "leakage")], "unknown"),
        # A failed inspection is no qualification, and a failed leak test no pass.
        ([failed("2018-03-15", EQUIPMENT)], "by_event"),
        ([passed("2018-03-15", EQUIPMENT), failed("2018-03-15", "leakage")], "due_now"),
        # 180.509(j): what was changed makes it due now.
        ([changed("2018-03-15", "service_equipment_changed")], "due_now"),
        ([changed("2018-03-15", "relief_device_changed")], "due_now"),
        (
            [changed("2018-03-15", "service_equipment_changed", "leakage")],
            "by_event",
        ),  # tested then
        (
            [changed("2018-03-15", "service_equipment_changed"), passed("2018-03-16", "leakage")],
            "by_event",
        ),
        (
            [changed("2018-03-15", "service_equipment_changed"), passed("2018-03-15", "leakage")],
            "by_event",  # the same day, a later place
        ),
        (
            [passed("2018-03-15", "leakage"), changed("2018-03-15", "service_equipment_changed")],
            "due_now",  # the same day, an earlier place
        ),
        # Due now beats unknown.
        (
            [changed("2018-03-15", "service_equipment_changed"), passed("2018-03-16", EQUIPMENT)],
            "due_now",
        ),
        ([changed("2018-03-15", "damage", opens=["leakage"])], "due_now"),  # damage names it
        ([changed("2018-03-15", "lining_applied")], "by_event"),
        ([changed("2027-03-15", "service_equipment_changed")], "by_event"),  # not yet
        ([passed("2018-03-15", EQUIPMENT), passed("2027-03-15", "leakage")], "unknown"),  # not yet
    ],
)
def test_the_leak_test_follows_what_was_done_to_the_equipment(events, status):
    due = leakage(*events)
    assert due["status"] == status
    for field in ("basis_on", "interval_months", "calculated_due_on"):
        assert due[field] is None
    assert (due["due_on"] is None) is (status != "due_now")
    assert "49 CFR 180.509(j)" in citations(due["reasons"])


def test_it_is_due_since_the_earliest_change_that_stands_open():
    due = leakage(
        changed("2024-05-01", "service_equipment_changed"),
        changed("2024-03-01", "relief_device_changed"),
        as_of="2024-05-11",
    )
    assert (due["due_on"], due["days_left"]) == ("2024-03-01", -71)
    tested_between = leakage(
        changed("2024-03-01", "relief_device_changed"),
        passed("2024-04-01", "leakage"),
        changed("2024-05-01", "service_equipment_changed"),
    )
    assert tested_between["due_on"] == "2024-05-01"


def test_an_unknown_leak_test_is_warned_of_and_to_be_checked():
    answer = due_dates(ask(qualified(), passed("2024-01-01", EQUIPMENT)))
    assert "leakage" in texts(answer["warnings"])
    assert "180.513(d)" in citations(item(answer, "leakage")["reasons"])
    assert answer["loading"]["verdict"] == "check"


def test_a_leak_test_moves_no_calendar_date():
    plain, tested = (
        due_dates(ask(qualified())),
        due_dates(ask(qualified(), passed("2024-01-01", "leakage"))),
    )
    assert [due["due_on"] for due in plain["items"]] == [due["due_on"] for due in tested["items"]]

"""What a failed inspection or a change to the car makes due now, and what closes it.

Sources: 49 CFR 180.509(b), (d)(2), (f)(3), (f)(6), (j) and 180.513(d), annual edition of October 1,
2019. That a later pass closes it is the plain sense of 180.511; the order on one day is ours.
"""

import pytest

from app.answers import due_dates
from tests.core.cars import (
    LIQUOR,
    UNLINED_ITEMS,
    ask,
    changed,
    failed,
    item,
    passed,
    qualified,
    statuses,
    texts,
)


def owed(*events, **car):
    """The items due now on a car that was wholly qualified before these events."""
    answer = due_dates(ask(qualified(), *events, **car))
    return {name for name, status in statuses(answer).items() if status == "due_now"}


@pytest.mark.parametrize("name", UNLINED_ITEMS)
def test_a_failed_item_is_due_now(name):
    assert owed(failed("2024-05-01", name)) == {name}


@pytest.mark.parametrize(
    ("change", "opened"),
    [
        ("damage", {"visual", "structural_integrity", "thickness"}),  # 180.509(b)(1), (b)(2)
        ("fire_damage", {"visual", "structural_integrity", "thickness"}),  # (b)(3)
        ("ordered_inspection", {"visual", "structural_integrity", "thickness"}),  # (b)(4)
        ("lining_removed", {"visual", "thickness"}),  # (d)(2), (f)(6)
        ("insulation_removed", {"visual"}),  # (d)(2)
        ("thermal_protection_removed", {"visual"}),  # (d)(2)
        ("head_protection_removed", {"visual"}),  # (d)(2)
        ("repair_reducing_thickness", {"thickness"}),  # (f)(6)
        ("service_equipment_changed", {"leakage"}),  # (j): a leak test, nothing else
        ("relief_device_changed", {"leakage"}),  # (j), 180.513(d)
        ("lining_applied", set()),  # (f)(2)(i): the measurement is its own item
        ("lining_repaired_locally", set()),  # (f)(3): no qualification event
        ("sheeting_replaced", set()),  # no tank item
    ],
)
def test_a_change_opens_the_items_of_its_row(change, opened):
    assert owed(changed("2024-05-01", change)) == opened


@pytest.mark.parametrize("change", ["damage", "fire_damage", "ordered_inspection"])
@pytest.mark.parametrize(
    "opens",
    [
        ["safety_systems"],  # only what was named
        ["visual", "service_equipment"],  # instead of the usual three
        ["relief_device"],
    ],
)
def test_damage_opens_what_it_names_instead(change, opens):
    assert owed(changed("2024-05-01", change, opens=opens)) == set(opens)


@pytest.mark.parametrize(
    ("events", "still_owed"),
    [
        ([failed("2024-05-01", "visual"), passed("2024-05-02", "visual")], set()),  # a later day
        ([passed("2024-05-02", "visual"), failed("2024-05-01", "visual")], set()),  # day, not place
        ([failed("2024-05-01", "visual"), passed("2024-05-01", "visual")], set()),  # a later place
        ([passed("2024-05-01", "visual"), failed("2024-05-01", "visual")], {"visual"}),  # earlier
        ([failed("2024-05-01", "visual"), passed("2024-04-30", "visual")], {"visual"}),  # before
        ([failed("2024-05-01", "visual"), passed("2024-06-01", "thickness")], {"visual"}),  # other
        (
            [failed("2024-05-01", "visual", "thickness"), passed("2024-06-01", "visual")],
            {"thickness"},  # each item by itself
        ),
        (
            [
                failed("2024-05-01", "visual"),
                passed("2024-06-01", "visual"),
                failed("2024-07-01", "visual"),
            ],
            {"visual"},  # failed again after it had passed
        ),
        ([changed("2024-05-01", "insulation_removed"), passed("2024-06-01", "visual")], set()),
        (
            [passed("2024-05-01", "visual"), changed("2024-05-01", "insulation_removed")],
            {"visual"},  # looked at, then stripped
        ),
        ([changed("2024-05-01", "insulation_removed", "visual")], set()),  # passed in one event
        ([changed("2024-05-01", "lining_removed", "visual")], {"thickness"}),  # only one of two
        ([changed("2024-05-01", "lining_removed", "visual", "thickness")], set()),  # both
        ([changed("2024-05-01", "damage"), failed("2024-06-01", "visual")],
         {"visual", "structural_integrity", "thickness"}),  # a fail closes nothing
        ([failed("2027-01-01", "visual")], set()),  # after the day asked for
        (
            [failed("2024-05-01", "visual"), passed("2027-01-01", "visual")],
            {"visual"},  # a pass that has not happened closes nothing
        ),
    ],
)  # fmt: skip
def test_only_a_later_pass_closes_what_is_owed(events, still_owed):
    assert owed(*events) == still_owed


def test_the_closing_pass_is_the_new_basis():
    answer = due_dates(
        ask(qualified(), failed("2024-05-01", "visual"), passed("2024-06-01", "visual"))
    )
    assert item(answer, "visual")["due_on"] == "2034-06-01"


def test_a_failing_event_moves_no_basis():
    answer = due_dates(ask(qualified(), failed("2024-05-01", "visual", "thickness")))
    assert item(answer, "visual")["basis_on"] == "2018-03-15"
    assert item(answer, "thickness")["basis_on"] == "2018-03-15"


def test_a_failed_relief_device_is_closed_by_another_one_put_on():
    # Another device with nothing known of it: no longer owed, but unknown.
    answer = due_dates(
        ask(
            qualified(),
            failed("2024-05-01", "relief_device"),
            changed("2024-06-01", "relief_device_changed"),
        )
    )
    assert item(answer, "relief_device")["status"] == "unknown"


def test_a_failed_relief_device_is_closed_by_a_later_installation():
    device = {
        "kind": "valve",
        "tested_on": "2024-04-01",
        "installed_on": "2024-05-10",
        "protected_in_storage": True,
    }
    answer = due_dates(
        ask(qualified(), failed("2024-05-01", "relief_device"), relief_device=device)
    )
    due = item(answer, "relief_device")
    assert (due["status"], due["due_on"]) == ("in_date", "2034-05-10")


@pytest.mark.parametrize(
    "installed_on",
    [
        "2024-04-20",  # before it failed: the failed device is still there
        "2024-05-01",  # the day it failed: whether before that nobody said, so the safe side
        "2027-01-01",  # after the day asked for: not there yet
    ],
)
def test_a_failed_relief_device_is_not_closed_by_an_installation_at_another_time(installed_on):
    device = {"kind": "valve", "tested_on": "2024-04-01", "installed_on": installed_on}
    answer = due_dates(
        ask(qualified(), failed("2024-05-01", "relief_device"), relief_device=device)
    )
    assert item(answer, "relief_device")["status"] == "due_now"


@pytest.mark.parametrize(
    ("events", "car"),
    [
        ([changed("2024-06-01", "relief_device_changed")], {}),
        ([], {"relief_device": {"kind": "valve", "tested_on": "2024-04-01", "installed_on": "2024-06-01"}}),
    ],
)  # fmt: skip
def test_what_damage_opens_is_closed_by_a_pass_alone_and_by_no_other_device(events, car):
    opened = changed("2024-05-01", "damage", opens=["relief_device"])
    assert "relief_device" in owed(opened, *events, **car)


def test_a_relief_device_changed_before_the_failure_does_not_close_it():
    answer = due_dates(
        ask(
            changed("2024-05-01", "relief_device_changed"),
            failed("2024-06-01", "relief_device"),
        )
    )
    assert item(answer, "relief_device")["status"] == "due_now"


def test_a_failed_lining_is_closed_by_a_new_lining():
    answer = due_dates(
        ask(
            failed("2024-05-01", "lining"),
            changed("2024-06-01", "lining_applied"),
            lining={"kind": "rubber", "applied_on": "2018-03-15"},
            service=LIQUOR,
        )
    )
    due = item(answer, "lining")
    assert (due["status"], due["due_on"]) == ("in_date", "2032-06-01")


def test_a_failed_lining_is_due_now_until_then():
    answer = due_dates(
        ask(
            failed("2024-05-01", "lining"),
            lining={"kind": "rubber", "applied_on": "2020-03-15"},
            service=LIQUOR,
        )
    )
    due = item(answer, "lining")
    assert (due["status"], due["due_on"]) == ("due_now", "2024-05-01")
    assert due["calculated_due_on"] == "2028-03-15"


def test_a_repair_that_thins_a_lined_tank_makes_its_thickness_due_now():
    answer = due_dates(
        ask(
            passed("2018-03-15", "thickness"),
            changed("2024-06-01", "repair_reducing_thickness"),
            lining={"kind": "rubber", "applied_on": "2018-03-15"},
        )
    )
    assert item(answer, "thickness")["status"] == "due_now"


def test_a_local_lining_repair_warns_that_the_spot_is_to_be_measured():
    car = {"lining": {"kind": "rubber", "applied_on": "2018-03-15"}, "service": LIQUOR}
    plain = due_dates(ask(**car))["warnings"]
    repaired = due_dates(ask(changed("2024-06-01", "lining_repaired_locally"), **car))["warnings"]
    assert "thickness" in texts(note for note in repaired if note not in plain)


@pytest.mark.parametrize("foreign", ["tank_retest", "rupture_disc"])
def test_an_item_foreign_to_the_regime_is_ignored_with_a_warning(foreign):
    plain, odd = (
        due_dates(ask(qualified())),
        due_dates(ask(qualified(), failed("2024-05-01", foreign))),
    )
    assert odd["items"] == plain["items"]
    assert foreign.replace("_", " ") in texts(odd["warnings"]).replace("_", " ")
    assert odd["loading"]["verdict"] == plain["loading"]["verdict"]


@pytest.mark.parametrize("known", ["leakage", "air_brake", "reflective_sheeting"])
def test_other_items_of_the_regime_are_taken_in_events_without_touching_the_tank(known):
    plain, more = (
        due_dates(ask(qualified())),
        due_dates(ask(qualified(), passed("2024-05-01", known))),
    )
    tank = set(UNLINED_ITEMS)
    assert [due for due in more["items"] if due["item"] in tank] == [
        due for due in plain["items"] if due["item"] in tank
    ]


@pytest.mark.parametrize(
    ("opens", "told"),
    [
        (["rupture_disc"], "what it is said to open (rupture disc replacement) this car does not have"),
        (["rupture_disc", "tank_retest"], "(rupture disc replacement, tank retest)"),
        (["rupture_disc", "visual"], None),  # the rest is opened
        (["visual"], None),
        ([], None),
    ],
)  # fmt: skip
def test_what_opens_only_what_the_car_does_not_have_opens_what_the_rule_does_and_says_so(
    opens, told
):
    answer = due_dates(ask(qualified(), changed("2024-05-01", "damage", opens=opens)))
    due_now = {name for name, status in statuses(answer).items() if status == "due_now"}
    chosen = {name for name in opens if name in UNLINED_ITEMS}
    assert due_now == (chosen or {"visual", "structural_integrity", "thickness"})
    for name in due_now:
        reasons = texts(item(answer, name)["reasons"])
        assert ("all that the rule opens is owed, the safe side" in reasons) is (told is not None)
        assert not told or told in reasons


@pytest.mark.parametrize(
    ("specification", "opens", "told"),
    [
        # None of what the rule names is on the list of these tanks.
        ("DOT 106A500X", [], True),
        ("DOT 106A500X", ["visual"], True),
        ("DOT 106A500X", ["tank_retest"], False),
        ("DOT 113A60W", [], True),
        ("DOT 113A60W", ["rupture_disc"], False),
        ("DOT 111A100W1", [], False),
    ],
)
def test_damage_that_opens_nothing_of_a_car_is_warned_of(specification, opens, told):
    answer = due_dates(
        ask(changed("2024-05-01", "damage", opens=opens), specification=specification)
    )
    assert ("due_now" in statuses(answer).values()) is not told
    assert ("opens nothing that this car has" in texts(answer["warnings"])) is told


def failed_lining(*events, applied_on):
    lining = {"kind": "rubber", "applied_on": applied_on}
    answer = due_dates(ask(failed("2024-05-01", "lining"), *events, lining=lining, service=LIQUOR))
    return item(answer, "lining")


def test_a_lining_stated_as_applied_after_a_failure_says_why_the_failure_stays_open():
    due = failed_lining(applied_on="2024-09-01")
    assert (due["status"], due["due_on"], due["basis_on"]) == (
        "due_now",
        "2024-05-01",
        "2024-09-01",
    )
    first, second, closes, *_ = [each["text"] for each in due["reasons"]]
    assert first == "Failed on 2024-05-01 and has not passed since"
    assert second == (
        "A lining applied on 2024-09-01 is stated, after that failure, but its application is not on record as an "
        "event: whether it replaced what failed is not known, so the failure stays open, the safe side"
    )
    assert closes == (
        "Closed by a passing lining inspection, or by a new lining on record as an event (lining applied)"
    )


@pytest.mark.parametrize(
    ("events", "applied_on", "status"),
    [
        ([], "2020-05-01", "due_now"),  # the lining that failed
        ([], "2024-05-01", "due_now"),  # the same day: it may be the one that failed
        ([changed("2024-09-01", "lining_applied")], "2024-09-01", "in_date"),  # on record
        ([changed("2024-06-01", "ordered_inspection", opens=["lining"])], "2020-05-01", "due_now"),
    ],
)
def test_only_a_lining_stated_as_applied_after_its_failure_says_so(events, applied_on, status):
    due = failed_lining(*events, applied_on=applied_on)
    assert due["status"] == status
    assert "whether it replaced what failed" not in texts(due["reasons"])

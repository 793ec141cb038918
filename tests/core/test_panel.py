"""What each row of the qualification panel reads by the wording of 49 CFR 180.515 (2019 edition), and what differs."""

from dataclasses import replace
from datetime import date
from fractions import Fraction

import pytest

from app.core.devices import whole_answer
from app.core.facts import (
    Approval,
    Car,
    Event,
    Facts,
    Lining,
    ReliefDevice,
    Service,
    StencilMarks,
    Tank,
)
from app.core.panel import Device, PanelRow, differences, painted, panel
from app.rules.reader import default_rulebook

TODAY = date(2026, 11, 25)
DONE, DUE = date(2018, 3, 15), date(2028, 3, 15)
TANK_ITEMS = ("visual", "structural_integrity", "safety_systems")
ALL = (*TANK_ITEMS, "thickness", "service_equipment", "relief_device", "leakage")
OIL = Service("Light cycle oil", hazard_class="9", corrosive_or_reactive=False)
VALVE = ReliefDevice("valve", Fraction(75), tested_on=DONE)
SOUND = Car(
    "ZQKX", 1, "DOT 111A100W1", date(2008, 6, 1), service=OIL, relief_device=VALVE,
    tank=Tank("TC128B", inside_diameter_in=Fraction(119)),
)  # fmt: skip


def panel_of(*events: Event, devices=None, stations=None, lining_owner="", **car):
    facts = Facts(TODAY, replace(SOUND, **car), events)
    answer = whole_answer(facts, (), default_rulebook()).answer
    due = answer.item("relief_device")
    mounted = devices or [Device("top", Fraction(75), due)]
    return panel(answer, mounted, stations or {}, lining_owner, default_rulebook())


def row(found, label: str) -> PanelRow:
    return next(each for each in found.rows if each.label == label)


QUALIFIED = Event(DONE, ALL)


def test_one_date_serves_several_tests_done_at_the_same_time():
    # "One date may be used" for several, and "may be shown when multiple ... have the same due date" (180.515(a)).
    found = panel_of(QUALIFIED)
    assert [each.label for each in found.rows] == [
        "TANK QUALIFIED", "THICKNESS TEST", "SERVICE EQUIP", "PRD 75 PSIG",
    ]  # fmt: skip
    whole = row(found, "TANK QUALIFIED")
    assert (whole.items, whole.done, whole.due) == (TANK_ITEMS, DONE, DUE)


@pytest.mark.parametrize(
    ("apart", "labels"),
    [
        ("visual", ["VISUAL", "STRUCTURAL + SAFETY SYSTEMS"]),
        ("structural_integrity", ["VISUAL + SAFETY SYSTEMS", "STRUCTURAL"]),
        ("safety_systems", ["VISUAL + STRUCTURAL", "SAFETY SYSTEMS"]),
    ],
)
def test_what_was_done_on_another_day_has_a_row_of_its_own(apart, labels):
    found = panel_of(QUALIFIED, Event(date(2022, 5, 1), (apart,)))
    assert [each.label for each in found.rows[:2]] == labels
    assert next(each for each in found.rows if each.items == (apart,)).due == date(2032, 5, 1)


def test_what_another_facility_did_on_the_same_day_has_a_row_of_its_own():
    stations = {("visual", DONE): "ZQ02"} | {(item, DONE): "ZQ01" for item in TANK_ITEMS[1:]}
    found = panel_of(QUALIFIED, stations=stations)
    assert [(each.label, each.station) for each in found.rows[:2]] == [
        ("VISUAL", "ZQ02"), ("STRUCTURAL + SAFETY SYSTEMS", "ZQ01"),
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("event", "label", "done", "due", "says"),
    [
        # The date of the test and the due date of the next (180.515(a)): ten years (180.509(c)(3)).
        (QUALIFIED, "THICKNESS TEST", DONE, DUE, ""),
        (QUALIFIED, "SERVICE EQUIP", DONE, DUE, ""),
        (QUALIFIED, "PRD 75 PSIG", DONE, DUE, ""),
        # Marked "when a tank car passes": what failed has no date to mark.
        (Event(date(2025, 1, 1), ("thickness",), "fail"), "THICKNESS TEST", None, None, "owed"),
        (Event(date(2025, 1, 1), ("damage",), opens=("visual",)), "VISUAL", None, None, "owed"),
    ],
)
def test_a_row_has_the_date_of_the_test_that_passed_and_the_next_due_date(
    event, label, done, due, says
):
    found = row(panel_of(QUALIFIED, *([event] if event is not QUALIFIED else [])), label)
    assert (found.done, found.due) == (done, due)
    assert says in found.left_open


def test_a_new_car_shows_the_day_it_was_built():
    found = panel_of(relief_device=None, built_on=date(2020, 6, 1))
    assert (found.rows[0].done, found.rows[0].due) == (date(2020, 6, 1), date(2030, 6, 1))


@pytest.mark.parametrize(
    ("installed_on", "protected", "done"),
    [
        # 180.515(c): tested within six months before, and protected: the day it was installed is marked.
        (date(2018, 7, 1), True, date(2018, 7, 1)),
        (date(2018, 7, 1), False, DONE),
        (date(2018, 11, 1), True, DONE),
    ],
)
def test_a_valve_shows_its_installation_where_the_six_month_clause_holds(
    installed_on, protected, done
):
    valve = replace(VALVE, installed_on=installed_on, protected_in_storage=protected)
    assert row(panel_of(relief_device=valve), "PRD 75 PSIG").done == done


def test_each_relief_device_has_a_row_with_its_setting():
    facts = Facts(TODAY, SOUND, (QUALIFIED,))
    item = whole_answer(facts, (), default_rulebook()).answer.item("relief_device")
    two = [Device("B end", Fraction(75), item), Device("A end", Fraction("82.5"), item)]
    labels = [each.label for each in panel_of(QUALIFIED, devices=two).rows]
    assert labels[-2:] == ["PRD 75 PSIG", "PRD 82.5 PSIG"]


def test_a_stencil_that_controls_today_does_not_decide_what_is_painted_next():
    # The shown date takes precedence until it is painted anew (180.515(a)); the work since decides what to paint.
    shown = StencilMarks(date(2018, 3, 20), (("visual", "2026-01-01"),))
    found = panel_of(QUALIFIED, stencil=shown)
    assert {each.due for each in found.rows[:1]} == {DUE}


def test_an_approval_that_is_not_stenciled_is_told_and_not_drawn():
    waiting = Approval("thickness", 60, "ZQ approval 7")
    found = panel_of(QUALIFIED, approvals=(waiting,))
    assert row(found, "THICKNESS TEST").due == DUE
    assert "ZQ approval 7 for 60 months is not stenciled" in " ".join(found.remarks)


def test_a_lined_car_shows_its_lining_and_its_last_thickness_test_without_a_due_date():
    acid = Service("Tanning liquor", hazard_class="8", corrosive_or_reactive=True)
    lining = Lining("natural rubber", date(2018, 3, 10), 60)
    found = panel_of(QUALIFIED, service=acid, lining=lining, lining_owner="Invented Linings")
    thickness = row(found, "THICKNESS TEST")
    assert (thickness.done, thickness.due) == (DONE, None)
    assert (row(found, "LINING").done, row(found, "LINING").due) == (
        date(2018, 3, 10),
        date(2023, 3, 10),
    )
    assert found.foot == (
        "TANK TEST 100 PSIG",
        "LINED NATURAL RUBBER 03-2018",
        "LINING OWNER INVENTED LININGS",
    )


@pytest.mark.parametrize(
    ("events", "lining", "foot"),
    [
        ((), None, ()),
        ((), Lining("epoxy"), ("LINED EPOXY",)),
        ((Event(date(2024, 2, 1), ("lining_applied",)),), None, ("LINED 02-2024",)),
        ((Event(date(2024, 2, 1), ("lining_removed",)),), Lining("epoxy", date(2018, 3, 10)), ()),
    ],
)
def test_the_foot_names_the_lining_that_is_on_the_tank_now(events, lining, foot):
    assert panel_of(QUALIFIED, *events, lining=lining).foot == ("TANK TEST 100 PSIG", *foot)


def test_the_station_code_is_that_of_who_did_the_work_and_its_lack_is_told():
    stations = {(item, DONE): "ZQ01" for item in TANK_ITEMS}
    found = panel_of(QUALIFIED, stations=stations)
    assert row(found, "TANK QUALIFIED").station == "ZQ01"
    assert "No station code is recorded of who did THICKNESS TEST (2018-03-15)" in " ".join(
        found.remarks
    )


@pytest.mark.parametrize("specification", ["DOT 106A500X", "DOT 113A60W", "DOT 107A3000"])
def test_other_tanks_have_no_panel(specification):
    assert panel_of(specification=specification) is None


@pytest.mark.parametrize(
    ("day", "form", "text"),
    [(DUE, "month", "03-2028"), (DUE, "year", "2028"), (None, "month", ""), (None, "year", "")],
)
def test_dates_are_painted_as_month_and_year_or_as_years(day, form, text):
    assert painted(day, form) == text


@pytest.mark.parametrize(
    ("seen", "should", "same", "says"),
    [
        ("2028", "2028", True, "as it should read"),
        ("2028-03", "2028-03", True, "as it should read"),
        ("2028-03-15", "2028-03-15", True, "as it should read"),
        ("2029", "2028", False, "later than it should read: 2028"),
        ("2028-02", "2028-03", False, "earlier than it should read: 2028-03"),
        ("2028-03-16", "2028-03-15", False, "later than it should read"),
        ("", "2028-03", False, "nothing was seen, and 2028-03 is to be painted"),
    ],
)
def test_what_was_seen_is_compared_as_precisely_as_it_was_painted(seen, should, same, says):
    rows = [PanelRow("THICKNESS TEST", ("thickness",), DONE, DUE)]
    (found,) = differences(rows, {"thickness": seen} if seen else {}, None)
    assert (found.should_read, found.same) == (should, same)
    assert says in found.told


def test_what_was_painted_before_the_last_work_says_so():
    rows = [PanelRow("VISUAL", ("visual",), DONE, DUE)]
    (found,) = differences(rows, {"visual": "2018"}, date(2008, 6, 1))
    assert "painted on 2008-06-01, before the work of 2018-03-15" in found.told


def test_a_date_that_the_car_no_longer_asks_for_is_to_be_taken_off():
    (found,) = differences([], {"lining": "2027"}, None)
    assert (found.same, found.should_read) == (False, "")
    assert "to be taken off" in found.told


def test_a_date_of_what_is_owed_now_is_not_to_stay():
    rows = [
        PanelRow(
            "VISUAL",
            ("visual",),
            None,
            None,
            left_open="it is owed: not to be painted until it has passed",
        )
    ]
    (found,) = differences(rows, {"visual": "2028"}, None)
    assert not found.same
    assert "it is owed" in found.told


def test_of_several_relief_devices_the_soonest_is_compared():
    rows = [
        PanelRow("PRD 75 PSIG", ("relief_device",), DONE, DUE),
        PanelRow("PRD 75 PSIG", ("relief_device",), DONE, date(2027, 1, 1)),
    ]
    (found,) = differences(rows, {"relief_device": "2027"}, None)
    assert found.same

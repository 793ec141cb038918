"""Putting components on, taking them off, mending it; and several relief devices on one car."""

from dataclasses import replace
from datetime import date, timedelta

import pytest

from app.actions import components, events, reasons
from app.actions.changes import NewComponent, NewInstallation
from app.errors import Conflict, NotFound, Refused
from app.store import components as mounted
from app.store import due
from app.store import events as recorded
from tests.store.cast import TODAY, add_car, relief_valve, stamp, visual

TOMORROW = TODAY + timedelta(days=1)


def item(db, car, name):
    rows = reasons.told(db, due.for_car(db, car.id, TODAY), TODAY)
    return next(row for row in rows if row.item == name)


def on_car(db, car, day=TODAY):
    return [each.component.serial for each in mounted.on_car(db, car.id, day)]


def test_a_tested_device_gives_the_relief_device_date(any_db):
    car = add_car(any_db)
    new = relief_valve(tested_on=date(2021, 4, 1), installed_on=date(2023, 4, 1))
    components.install(any_db, car.id, new, stamp())
    # 49 CFR 180.509(k), 2019 edition: ten years; installed later than six months after the test.
    assert item(any_db, car, "relief_device").due_on == date(2031, 4, 1)


def test_of_several_devices_the_first_due_speaks_for_the_car_and_is_named(any_db):
    car = add_car(any_db)
    for serial, tested in (("RV-1", 2022), ("RV-2", 2019), ("RV-3", 2024)):
        new = relief_valve(serial, position=serial[-1], tested_on=date(tested, 4, 1))
        components.install(any_db, car.id, new, stamp())
    row = item(any_db, car, "relief_device")
    assert row.due_on == date(2029, 4, 1)
    assert any("RV-2" in each.text for each in row.reasons)


def test_an_unknown_device_counts_as_sooner_than_any_date(any_db):
    """The safe side: what nobody knows may be overdue."""
    car = add_car(any_db)
    for serial, tested in (("RV-1", date(2017, 4, 1)), ("RV-2", None)):
        new = relief_valve(
            serial, position=serial[-1], tested_on=tested, installed_on=date(2017, 5, 1)
        )
        components.install(any_db, car.id, new, stamp())
    row = item(any_db, car, "relief_device")
    assert row.status == "unknown"
    assert any("RV-2" in each.text for each in row.reasons)


def test_a_swap_takes_one_off_puts_one_on_and_asks_for_a_leakage_test(any_db):
    """49 CFR 180.509(j), 2019 edition: a leakage test after work on service equipment."""
    car = add_car(any_db)
    old = components.install(any_db, car.id, relief_valve("RV-1"), stamp())
    new = components.swap(
        any_db, old.id, relief_valve("RV-2", position="", installed_on=date(2026, 3, 1)), stamp(1)
    )
    assert on_car(any_db, car, date(2026, 2, 28)) == ["RV-1"]
    assert on_car(any_db, car, date(2026, 3, 1)) == ["RV-2"]
    assert new.position == "top"
    (event,) = recorded.history(any_db, car.id)
    assert (event.items, event.row.happened_on) == (("relief_device_changed",), date(2026, 3, 1))


def test_writing_down_what_has_long_been_on_the_car_asks_for_nothing(any_db):
    car = add_car(any_db)
    components.install(any_db, car.id, relief_valve(installed_on=date(2020, 1, 1)), stamp())
    assert recorded.history(any_db, car.id) == []


@pytest.mark.parametrize(
    ("kind", "change"),
    [
        ("relief_valve", "relief_device_changed"),
        ("Relief Disc", "relief_device_changed"),  # as a person writes it
        ("valve", "service_equipment_changed"),
        ("truck", None),
    ],
)
def test_installing_as_a_change_records_the_change_that_it_is(db, kind, change):
    car = add_car(db)
    new = NewInstallation(
        NewComponent(kind, serial="S-1"), "B end", installed_on=date(2026, 1, 5), is_change=True
    )
    components.install(db, car.id, new, stamp())
    assert [each.items for each in recorded.history(db, car.id)] == ([(change,)] if change else [])


def test_two_changes_on_one_day_are_one_event(db):
    car = add_car(db)
    for serial in ("V-1", "V-2"):
        new = NewInstallation(
            NewComponent("valve", serial=serial), installed_on=date(2026, 1, 5), is_change=True
        )
        components.install(db, car.id, new, stamp())
    assert len(recorded.history(db, car.id)) == 1


def test_a_component_moves_from_car_to_car_and_is_the_same_one(any_db):
    first, second = add_car(any_db, 1), add_car(any_db, 2)
    one = components.install(any_db, first.id, relief_valve(), stamp())
    with pytest.raises(Conflict, match=r"relief valve RV-1 is on ZQKX 1 since an unknown day"):
        components.install(any_db, second.id, relief_valve(), stamp(1))
    components.remove(any_db, one.id, date(2026, 5, 1), stamp(2))
    # It cannot have been on both cars on one day.
    early = relief_valve(installed_on=date(2026, 4, 30))
    with pytest.raises(Conflict, match="Take it off there first"):
        components.install(any_db, second.id, early, stamp(3))
    other = components.install(
        any_db, second.id, replace(early, installed_on=date(2026, 5, 1)), stamp(4)
    )
    assert other.component_id == one.component_id


ON = date(2026, 3, 1)


@pytest.mark.parametrize(
    ("again", "taken"),
    [
        (relief_valve("RV-1", installed_on=ON), False),  # the form sent twice
        (relief_valve("RV-1", position="Top ", installed_on=ON), False),  # as another writes it
        (relief_valve("RV-1", installed_on=date(2026, 4, 1)), False),  # it never came off
        (relief_valve("", installed_on=ON), False),  # without a serial, only the place tells
        (relief_valve("", position="top, A end", installed_on=ON), True),
        (relief_valve("RV-2", installed_on=ON, beside_another=True), True),
        (NewInstallation(NewComponent("valve", serial="RV-1"), "top", ON), True),
    ],
)
def test_what_is_on_the_car_already_is_not_put_on_again(any_db, again, taken):
    car = add_car(any_db)
    for serial in ("RV-1", ""):
        first = relief_valve(serial, installed_on=ON, beside_another=True)
        components.install(any_db, car.id, first, stamp())
    if taken:
        components.install(any_db, car.id, again, stamp(1))
    else:
        named = r"Relief valve( RV-1)? \(top\) is already on the car since 2026-03-01"
        with pytest.raises(Conflict, match=named):
            components.install(any_db, car.id, again, stamp(1))
    assert len(on_car(any_db, car)) == (3 if taken else 2)


DISC = NewInstallation(NewComponent("relief_disc", serial="D-1"), position="top")


@pytest.mark.parametrize(
    ("second", "asked"),
    [
        (relief_valve("RV-2"), True),
        (relief_valve("RV-2", position=" Top "), True),  # as another writes it
        (DISC, True),  # a device of another kind in the same place
        (relief_valve("RV-2", installed_on=date(2020, 1, 1)), True),  # before, and still there
        (relief_valve("RV-2", beside_another=True), False),  # a person knows that both are there
        (relief_valve("RV-2", position="top, A end"), False),
        (relief_valve("RV-2", position=""), False),  # nobody says where
        (NewInstallation(NewComponent("gauge", serial="G-1"), "top"), False),
    ],
)
def test_a_relief_device_in_a_place_that_is_taken_is_asked_about(any_db, second, asked):
    car = add_car(any_db)
    components.install(any_db, car.id, relief_valve("RV-1", installed_on=ON), stamp())
    if not asked:
        components.install(any_db, car.id, second, stamp(1))
    else:
        said = r"position: relief valve RV-1 is in this place since 2026-03-01.*confirm"
        with pytest.raises(Refused, match=said):
            components.install(any_db, car.id, second, stamp(1))


def test_a_place_is_free_again_for_a_swap_and_once_its_device_is_off(any_db):
    car = add_car(any_db)
    first = components.install(any_db, car.id, relief_valve("RV-1"), stamp())
    second = components.swap(any_db, first.id, relief_valve("RV-2", installed_on=ON), stamp(1))
    components.remove(any_db, second.id, TODAY, stamp(2))
    third = components.install(any_db, car.id, relief_valve("RV-3", installed_on=TODAY), stamp(3))
    mended = relief_valve("RV-4", installed_on=TODAY)
    assert components.correct(any_db, third.id, mended, stamp(4))


def test_without_a_serial_the_next_one_goes_on_once_the_first_is_off(any_db):
    car = add_car(any_db)
    first = components.install(any_db, car.id, relief_valve(""), stamp())
    components.remove(any_db, first.id, ON, stamp(1))
    second = components.install(any_db, car.id, relief_valve("", installed_on=ON), stamp(2))
    components.swap(any_db, second.id, relief_valve("", installed_on=TODAY), stamp(3))
    assert on_car(any_db, car) == [""]


@pytest.mark.parametrize(
    ("new", "path", "problem"),
    [
        (relief_valve(installed_on=TOMORROW), "installed_on", "in the future"),
        (relief_valve(installed_on=date(2015, 5, 31)), "installed_on", "before the car was built"),
        (relief_valve(tested_on=TOMORROW), "tested_on", "in the future"),
        (relief_valve(owner_interval_months=0), "owner_interval_months", "1 to 1200"),
        (NewInstallation(NewComponent(" ")), "component.kind", "say what kind"),
        (relief_valve(position="x" * 61), "position", "longer than 60"),
        (relief_valve(installed_on=date(2020, 1, 1), installed_month_only=True, is_change=True),
         "installed_on", "needs its day"),
    ],
)  # fmt: skip
def test_what_cannot_be_is_refused_at_its_field(db, new, path, problem):
    car = add_car(db)
    with pytest.raises(Refused) as refusal:
        components.install(db, car.id, new, stamp())
    assert [(each.path, problem in each.problem) for each in refusal.value.faults] == [(path, True)]
    assert on_car(db, car) == []


def test_a_device_tested_before_the_car_was_built_is_taken(db):
    """A valve can be older than the car."""
    car = add_car(db)
    components.install(db, car.id, relief_valve(tested_on=date(2015, 1, 1)), stamp())
    assert on_car(db, car) == ["RV-1"]


@pytest.mark.parametrize(
    ("day", "problem"),
    [(TOMORROW, "in the future"), (date(2019, 12, 31), "before it was installed")],
)
def test_a_removal_lies_between_installation_and_today(db, day, problem):
    car = add_car(db)
    one = components.install(db, car.id, relief_valve(installed_on=date(2020, 1, 1)), stamp())
    with pytest.raises(Refused, match=problem):
        components.remove(db, one.id, day, stamp())


def test_a_component_is_taken_off_once(any_db):
    car = add_car(any_db)
    one = components.install(any_db, car.id, relief_valve(), stamp())
    components.remove(any_db, one.id, date(2026, 5, 1), stamp())
    with pytest.raises(Conflict, match="already taken off the car on 2026-05-01"):
        components.remove(any_db, one.id, date(2026, 6, 1), stamp(1))
    components.withdraw_removal(any_db, one.id, "was another car", stamp(2))
    assert on_car(any_db, car) == ["RV-1"]
    components.remove(any_db, one.id, date(2026, 6, 1), stamp(3))
    assert on_car(any_db, car, date(2026, 5, 31)) == ["RV-1"]


def test_taking_off_is_not_undone_once_the_component_is_on_another_car(any_db):
    car, other = add_car(any_db, 1), add_car(any_db, 2)
    one = components.install(any_db, car.id, relief_valve(), stamp())
    components.remove(any_db, one.id, date(2026, 5, 1), stamp(1))
    later = relief_valve(installed_on=date(2026, 6, 1))
    two = components.install(any_db, other.id, later, stamp(2))
    with pytest.raises(Conflict, match="relief valve RV-1 is on ZQKX 2 since 2026-06-01"):
        components.withdraw_removal(any_db, one.id, "it never came off", stamp(3))
    components.withdraw(any_db, two.id, "another one", stamp(4))
    components.withdraw_removal(any_db, one.id, "it never came off", stamp(5))
    assert on_car(any_db, car) == ["RV-1"]


@pytest.mark.parametrize("serial", ["RV-1", ""])
def test_taking_off_is_not_undone_once_the_like_of_it_is_in_its_place(any_db, serial):
    car = add_car(any_db)
    one = components.install(any_db, car.id, relief_valve(serial), stamp())
    components.swap(any_db, one.id, relief_valve(serial, installed_on=TODAY), stamp(1))
    with pytest.raises(Conflict, match=f"already on the car since {TODAY}"):
        components.withdraw_removal(any_db, one.id, "it never came off", stamp(2))
    assert on_car(any_db, car) == [serial]


def test_a_correction_takes_the_place_of_an_installation_with_its_removal(any_db):
    car = add_car(any_db)
    wrong = components.install(any_db, car.id, relief_valve("RV-l"), stamp())
    components.remove(any_db, wrong.id, date(2026, 5, 1), stamp(1), is_change=False)
    right = components.correct(any_db, wrong.id, relief_valve("RV-1"), stamp(2))
    assert on_car(any_db, car, date(2026, 4, 30)) == ["RV-1"]
    assert on_car(any_db, car) == []
    shown = {each.installation.id: each for each in mounted.history(any_db, car.id)}
    assert shown[right.id].removed_on == date(2026, 5, 1)
    assert not shown[wrong.id].in_force
    with pytest.raises(Conflict, match="was corrected already"):
        components.correct(any_db, wrong.id, relief_valve("RV-2"), stamp(3))


def test_an_installation_that_never_was_is_withdrawn_and_tells_why(any_db):
    car = add_car(any_db)
    wrong = components.install(any_db, car.id, relief_valve(), stamp())
    components.withdraw(any_db, wrong.id, "another car", stamp(1))
    assert on_car(any_db, car) == []
    (shown,) = mounted.history(any_db, car.id)
    assert shown.withdrawal.reason == "another car"
    with pytest.raises(Conflict, match="was withdrawn already"):
        components.withdraw(any_db, wrong.id, "", stamp(2))


def test_an_inspection_of_the_relief_devices_counts_for_each_of_them(any_db):
    car = add_car(any_db)
    for serial in ("RV-1", "RV-2"):
        new = relief_valve(serial, position=serial[-1], tested_on=date(2016, 1, 1))
        components.install(any_db, car.id, new, stamp())
    passed = visual(date(2022, 7, 1), items=("relief_device", "leakage"))
    events.record_event(any_db, car.id, passed, stamp())
    assert item(any_db, car, "relief_device").due_on == date(2032, 7, 1)


def test_an_unknown_installation_is_not_found(db):
    with pytest.raises(NotFound, match="number 5"):
        components.remove(db, 5, TODAY, stamp())


def test_a_lot_that_is_learned_later_is_kept_and_another_lot_is_another_component(any_db):
    """Directives ask by lot, so what a correction says of it must not be lost."""
    car = add_car(any_db)
    row = components.install(any_db, car.id, relief_valve(), stamp())
    learned = relief_valve()
    learned = replace(learned, component=replace(learned.component, lot="L12"))
    components.correct(any_db, row.id, learned, stamp(1))
    [mounted_now] = mounted.on_car(any_db, car.id, TODAY)
    assert (mounted_now.component.lot, mounted_now.component.serial) == ("L12", "RV-1")
    other = add_car(any_db, 1046)
    with pytest.raises(Conflict, match="is on ZQKX 1045"):
        components.install(any_db, other.id, relief_valve(), stamp(2))

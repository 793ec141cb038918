"""Rows to the calculator's facts: in force on a day, known at a moment, for one car or many."""

from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal
from fractions import Fraction

import pytest

from app.actions import cars, components, events
from app.actions.changes import (
    NewApproval,
    NewEvent,
    NewFitting,
    NewLining,
    NewName,
    NewService,
    NewStencil,
)
from app.core import facts as core
from app.store import facts
from tests.store.cast import NOON, TODAY, add_car, measured, new_car, relief_valve, stamp, visual
from tests.store.counting import statements


def known(db, car, as_of=TODAY, known_at=None):
    return facts.load(db, [car.id], as_of, known_at)[car.id]


def car_with_every_fact(db):
    details = replace(
        new_car().details,
        rebuilt_on=date(2018, 1, 1), material="TC128B", tensile_psi=Decimal(81000),
        inside_diameter_in=Decimal("110.25"), joint_efficiency=Decimal("0.9"), head_shape="3:1",
        jacketed=True, insulated=False, built_to="CPC-1232", normalized_steel=True,
        required_head_a_in=Decimal("0.4375"),
    )  # fmt: skip
    return add_car(
        db,
        details=details,
        service=NewService(
            "Invented acid", "UN1789", True, "8", "II", False, True, Decimal("2.5"), False
        ),
        lining=NewLining(True, "rubber", date(2016, 5, 1), 60, documented=True),
        fitting=NewFitting(96, date(2015, 7, 1), "comparator"),
        stencil=NewStencil(
            date(2020, 1, 1), visual="2030", lining="2028-05", thickness="2029-01-31"
        ),
        approvals=(NewApproval("visual", 144, "Letter 7", stenciled=True),),
    )


def test_every_fact_recorded_of_a_car_reaches_the_calculator(any_db):
    assert known(any_db, car_with_every_fact(any_db)).car == core.Car(
        mark="ZQKX", number=1045, specification="DOT 111A100W1", on_record=True,
        built_on=date(2015, 6, 1), rebuilt_on=date(2018, 1, 1),
        tank=core.Tank(
            "TC128B", Fraction(81000), Fraction(441, 4), Fraction(9, 10), "3:1", True, False, None,
            "CPC-1232", True, (("head_a", Fraction(7, 16)),),
        ),
        lining=core.Lining("rubber", date(2016, 5, 1), 60, True),
        service=core.Service(
            "Invented acid", "UN1789", True, "8", "II", False, True, Fraction(5, 2), False
        ),
        service_equipment_interval_months=96,
        reflective_sheeting=core.ReflectiveSheeting(date(2015, 7, 1), "comparator"),
        stencil=core.StencilMarks(
            date(2020, 1, 1),
            # A month painted alone counts from its first day, the safe one.
            (("visual", "2030"), ("thickness", "2029-01-31"), ("lining", "2028-05-01")),
        ),
        approvals=(core.Approval("visual", 144, "Letter 7", True),),
    )  # fmt: skip


def test_every_fact_recorded_of_a_relief_device_reaches_the_calculator(any_db):
    car = add_car(any_db)
    device = relief_valve(
        installed_on=date(2020, 2, 1), installed_month_only=True, tested_on=date(2019, 12, 3),
        set_psig=Decimal("82.5"), protected_in_storage=True, owner_interval_months=60,
    )  # fmt: skip
    components.install(any_db, car.id, device, stamp())
    assert known(any_db, car).facts(TODAY).car.relief_device == core.ReliefDevice(
        "valve", Fraction(165, 2), date(2019, 12, 3), date(2020, 2, 1), date(2020, 2, 29), True, 60
    )


def test_everything_recorded_of_an_inspection_reaches_the_calculator(any_db):
    car = add_car(any_db)
    reading = measured("0.406", extent="local", span_in=Decimal(6), apart_in=Decimal(20))
    events.record_event(any_db, car.id, visual(readings=(reading,), reference="Report 9"), stamp())
    assert known(any_db, car).events == (
        core.Event(
            date(2020, 3, 15), ("visual",), "pass",
            (core.Reading("shell_bottom", Fraction(203, 500), "local", Fraction(6), Fraction(20)),),
            (), "Report 9",
        ),
    )  # fmt: skip


def test_a_car_of_whose_lading_nothing_is_known_counts_as_hazardous(any_db):
    car = add_car(any_db, service=None)
    assert known(any_db, car).car.service == core.Service(commodity=None, hazardous=True)


@pytest.mark.parametrize(
    ("day", "commodity"),
    [
        (date(2015, 6, 1), "Invented mild lading"),  # from the beginning
        (date(2022, 12, 31), "Invented mild lading"),
        (date(2023, 1, 1), "Second lading"),  # from this day on
        (date(2024, 6, 1), "Third lading"),  # two on one day: the later row
        (TODAY, "Third lading"),
    ],
)
def test_the_fact_in_force_is_the_latest_that_began_by_the_day(any_db, day, commodity):
    car = add_car(any_db)
    for name, on in (("Third", 2024), ("Second", 2023)):
        first = NewService(
            f"{name} lading, first entry", from_on=date(on, 6 if on == 2024 else 1, 1)
        )
        cars.put_into_service(any_db, car.id, first, stamp())
        cars.put_into_service(any_db, car.id, replace(first, commodity=f"{name} lading"), stamp())
    assert known(any_db, car, day).car.service.commodity == commodity


def test_mark_and_number_are_those_of_the_day(any_db):
    car = add_car(any_db, 5)
    cars.re_mark(any_db, car.id, NewName("ZQBX", 6, date(2024, 1, 1)), stamp())
    assert known(any_db, car, date(2023, 12, 31)).car.name == "ZQKX 5"
    assert known(any_db, car).car.name == "ZQBX 6"


def test_a_removed_component_is_off_from_the_day_of_its_removal(any_db):
    car = add_car(any_db)
    mounted = components.install(any_db, car.id, relief_valve(), stamp())
    components.remove(any_db, mounted.id, date(2024, 5, 1), stamp())
    assert len(known(any_db, car, date(2024, 4, 30)).relief_devices) == 1
    assert known(any_db, car, date(2024, 5, 1)).relief_devices == ()


def test_as_known_at_a_moment_later_recordings_are_not_there(any_db):
    """Facts, events, components and removals alike, whatever days they speak of."""
    car = add_car(any_db)
    mounted = components.install(any_db, car.id, relief_valve(), stamp(10))
    event = events.record_event(any_db, car.id, visual(), stamp(20))
    cars.put_into_service(any_db, car.id, NewService("Other", from_on=date(2020, 1, 1)), stamp(30))
    components.remove(any_db, mounted.id, date(2019, 1, 1), stamp(40), is_change=False)
    events.withdraw_event(any_db, event.id, "", stamp(50))

    def at(minutes):
        record = known(any_db, car, known_at=stamp(minutes).at)
        return record.car.service.commodity, len(record.events), len(record.relief_devices)

    assert at(0) == ("Invented mild lading", 0, 0)
    assert at(10) == ("Invented mild lading", 0, 1)
    assert at(20) == ("Invented mild lading", 1, 1)
    assert at(30) == ("Other", 1, 1)
    assert at(40) == ("Other", 1, 0)
    assert at(50) == ("Other", 0, 0)
    assert facts.load(any_db, [car.id], TODAY, NOON - timedelta(seconds=1)) == {}


def test_an_approval_without_an_interval_ends_the_one_of_its_reference(any_db):
    car = add_car(any_db)
    for approval in (
        NewApproval("visual", 144, "Letter 7", from_on=date(2020, 1, 1)),
        NewApproval("visual", 96, "Letter 8", from_on=date(2021, 1, 1)),
        NewApproval("visual", None, "Letter 7", from_on=date(2022, 1, 1)),
    ):
        cars.change_approval(any_db, car.id, approval, stamp())
    held = known(any_db, car).car.approvals
    assert [(each.reference, each.interval_months) for each in held] == [("Letter 8", 96)]
    before = known(any_db, car, date(2021, 6, 1)).car.approvals
    assert [each.reference for each in before] == ["Letter 7", "Letter 8"]


def test_a_car_stated_to_have_no_relief_device_says_so_until_one_is_installed(any_db):
    car = add_car(any_db, fitting=NewFitting(has_relief_device=False))
    assert known(any_db, car).facts(TODAY).car.relief_device == core.ReliefDevice(kind="none")
    components.install(any_db, car.id, relief_valve(), stamp())
    # The device counts, and the calculator is told of the contradiction.
    device = core.ReliefDevice(kind="valve", denied=True)
    assert known(any_db, car).facts(TODAY).car.relief_device == device


def test_an_event_of_which_a_month_is_known_says_so(any_db):
    car = add_car(any_db)
    for month_only in (True, False):
        told = NewEvent(
            date(2020, 5, 1), ("visual",), month_only=month_only, facility=str(month_only)
        )
        events.record_event(any_db, car.id, told, stamp())
    assert [event.month_only for event in known(any_db, car).events] == [True, False]


def test_a_change_of_one_relief_device_says_nothing_of_the_other(any_db):
    car = add_car(any_db)
    old = components.install(any_db, car.id, relief_valve("RV-1", position="A"), stamp())
    other = relief_valve("RV-2", position="B", installed_on=date(2018, 1, 1))
    components.install(any_db, car.id, other, stamp())
    new = relief_valve("RV-3", position="A", installed_on=date(2024, 2, 1))
    components.swap(any_db, old.id, new, stamp())
    record = known(any_db, car)
    by_label = {each.label: place for place, each in enumerate(record.relief_devices)}
    assert set(by_label) == {"A RV-3", "B RV-2"}
    changed = [record.facts(TODAY, by_label[name]).events for name in ("A RV-3", "B RV-2")]
    assert [[event.items for event in each] for each in changed] == [
        [("relief_device_changed",)], [()],
    ]  # fmt: skip
    # Asked of the car as a whole, the change is there, and with it the leakage test it opens.
    assert record.facts(TODAY).events[0].items == ("relief_device_changed",)


@pytest.mark.parametrize("number", [1, 40])
def test_any_number_of_cars_takes_the_same_number_of_queries(db, number):
    ids = [add_car(db, each).id for each in range(1, number + 1)]
    db.flush()
    with statements(db) as sent:
        found = facts.load(db, ids, TODAY)
    assert set(found) == set(ids)
    assert len(sent) == 6


def test_many_cars_and_one_car_give_the_same_facts(any_db):
    ids = []
    for number in range(1, 6):
        car = add_car(any_db, number)
        on = date(2020, number, 1)
        events.record_event(any_db, car.id, visual(on, readings=(measured("0.44"),)), stamp())
        components.install(any_db, car.id, relief_valve(f"RV-{number}"), stamp())
        ids.append(car.id)
    together = facts.load(any_db, ids, TODAY)
    assert together == {key: facts.load(any_db, [key], TODAY)[key] for key in ids}

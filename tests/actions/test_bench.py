"""Bench tests of relief devices as they are recorded and brought in: a device left outside is asked about.

Sources, annual edition of October 1, 2019: 49 CFR 179.15(b) (range, tolerance, vapor tightness), 180.519(b)
and 179.301 (ton tanks).
"""

from dataclasses import replace
from datetime import date
from decimal import Decimal

import pytest
from sqlalchemy.orm import Session

from app.actions import cars, components
from app.actions.changes import (
    CarDetails,
    NewCar,
    NewComponent,
    NewInstallation,
    NewName,
    NewOwnership,
)
from app.errors import Refused
from app.store import tables
from tests.actions.importing import CARS, bring_in, counts, look, rows, stamp

VALVE = NewInstallation(
    NewComponent("relief_valve", serial="RV-1"), "top", tested_on=date(2026, 3, 1),
    set_psig=Decimal(75), found_psig=Decimal(80), left_psig=Decimal(75), vapor_tight_psig=Decimal(62),
)  # fmt: skip
OUTSIDE = replace(VALVE, left_psig=Decimal("78.5"))


@pytest.fixture
def car_id(db: Session) -> int:
    details = CarDetails("DOT 111A100W1", built_on=date(2008, 3, 1))
    new = NewCar(NewName("ZQKX", 1), NewOwnership("Example Alpha Lines"), details)
    return cars.add_car(db, new, stamp()).id


def fault(refusal: pytest.ExceptionInfo[Refused]) -> tuple[str, str]:
    (only,) = refusal.value.faults
    return only.path, only.problem


def test_a_device_found_outside_its_tolerance_is_recorded_as_a_finding(db, car_id):
    row = components.install(db, car_id, VALVE, stamp())
    assert (row.found_psig, row.vapor_tight_psig) == (Decimal(80), Decimal(62))


def test_a_device_left_outside_its_tolerance_is_asked_about_and_taken_when_confirmed(db, car_id):
    with pytest.raises(Refused) as refusal:
        components.install(db, car_id, OUTSIDE, stamp())
    path, problem = fault(refusal)
    assert path == "left_psig"
    assert "0.5 psi above what is allowed (72 to 78 psig)" in problem
    components.install(db, car_id, replace(OUTSIDE, confirmed=True), stamp())
    assert rows(db, tables.Installation)[0].left_psig == Decimal("78.5")


def test_a_swap_and_a_correction_ask_as_well(db, car_id):
    row = components.install(db, car_id, VALVE, stamp())
    other = replace(OUTSIDE, component=NewComponent("", serial="RV-2"))
    for act, new in ((components.swap, other), (components.correct, OUTSIDE)):
        with pytest.raises(Refused) as refusal:
            act(db, row.id, new, stamp())
        assert fault(refusal)[0] == "left_psig"


@pytest.mark.parametrize("kind", ["valve", "relief_disc"])
def test_what_has_no_tolerance_is_not_asked_about(db, car_id, kind):
    new = replace(OUTSIDE, component=NewComponent(kind, serial="X-1"))
    components.install(db, car_id, new, stamp())


@pytest.mark.parametrize("field", ["set_psig", "found_psig", "left_psig", "vapor_tight_psig"])
def test_a_pressure_of_nothing_is_refused(db, car_id, field):
    with pytest.raises(Refused) as refusal:
        components.install(
            db, car_id, replace(VALVE, confirmed=True, **{field: Decimal(0)}), stamp()
        )
    assert fault(refusal) == (field, "must be above 0, got 0")


def test_a_changed_bottom_outlet_asks_for_a_leakage_test(db, car_id):
    new = NewInstallation(
        NewComponent("bottom_outlet"), "bottom", installed_on=date(2026, 11, 1), is_change=True
    )
    components.install(db, car_id, new, stamp())
    assert rows(db, tables.EventRow)[0].items == "service_equipment_changed"  # 180.509(j)


HEAD = "mark,number,kind,position,serial,set_psig,found_psig,left_psig,vapor_tight_psig\n"


def warned(db, kind, content):
    seen = look(db, kind, content)
    assert not seen.faults
    assert seen.warning_count == len(seen.warnings)
    return [(each.row, each.car, each.text, each.citation) for each in seen.warnings]


@pytest.mark.parametrize(
    ("row", "said", "citation"),
    [
        ("relief_valve,top,RV-1,75,75,75,60", [], ""),
        ("relief_valve,top,RV-1,75,,,", [], ""),
        ("valve,top,V-1,75,90,90,10", [], ""),  # no relief device
        ("relief_valve,top,RV-1,75,80,75,60", ["found to open, 80 psig, is 2 psi above"], "179.15(b)"),
        ("relief_valve,top,RV-1,75,75,71,60", ["(72 to 78 psig). Was it left so?"], "179.15(b)"),
        ("relief_valve,top,RV-1,75,75,75,59", ["vapor tight, 59 psig, is 1 psi below"], "179.15(b)"),
        ("relief_valve,top,RV-1,70,70,70,60", ["5 psi below what is allowed (75 to 165 psig)"], "179.15(b)"),
        ("relief_valve,top,RV-1,,,400,", ["left to open, 400 psig, is 230.05 psi above"], "179.15(b)"),
        ("relief_valve,top,RV-1,170,150,150,140", ["The setting", "found to open", "left to open"], "179.15(b)"),
    ],
)  # fmt: skip
def test_a_bench_test_outside_is_a_warning_beside_the_row_and_comes_in(db, row, said, citation):
    bring_in(db, "cars", CARS)
    found = warned(db, "components", f"{HEAD}ZQKX,1,{row}\n")
    assert len(found) == len(said)
    for (number, car, text, cited), words in zip(found, said, strict=True):
        assert (number, car) == (2, "ZQKX 1")
        assert words in text
        assert citation in cited
    assert counts(bring_in(db, "components", f"{HEAD}ZQKX,1,{row}\n")) == (1, 0, 0)


def test_a_row_that_completes_a_device_is_judged_with_what_is_stored(db):
    bring_in(db, "cars", CARS)
    bring_in(db, "components", f"{HEAD}ZQKX,1,relief_valve,top,RV-1,75,,,\n")
    (found,) = warned(db, "components", f"{HEAD}ZQKX,1,relief_valve,top,RV-1,,80,,\n")
    assert "(72 to 78 psig)" in found[2]


def test_a_row_that_says_nothing_new_is_not_warned_of_again(db):
    bring_in(db, "cars", CARS)
    content = f"{HEAD}ZQKX,1,relief_valve,top,RV-1,75,80,75,\n"
    bring_in(db, "components", content)
    assert warned(db, "components", content) == []


def test_a_ton_tanks_valve_is_warned_of_outside_the_figures_for_the_build(db):
    bring_in(db, "cars", "mark,number,specification\nZQKX,7,DOT 110A600W\n")
    (found,) = warned(db, "components", f"{HEAD}ZQKX,7,relief_valve,top,RV-1,480,,,\n")
    assert found[3] == "49 CFR 179.301"


def test_a_bottom_outlet_on_a_class_without_one_is_warned_of(db):
    bring_in(db, "cars", "mark,number,specification\nZQKX,7,DOT 105A300W\nZQKX,8,DOT 111A100W1\n")
    content = (
        "mark,number,kind,position\nZQKX,7,bottom_outlet,bottom\nZQKX,8,bottom_outlet,bottom\n"
    )
    assert [each[1] for each in warned(db, "components", content)] == ["ZQKX 7"]


CAR_HEAD = (
    "mark,number,specification,insulated,jacketed,thermal_protection,material,lining_kind,"
    "relief_device_kind,relief_device_set_psig\n"
)


@pytest.mark.parametrize(
    ("row", "said"),
    [
        ("DOT 105A300W,no,,,,,,", ["not insulated"]),
        ("DOT 105A300W,yes,,,,,,", []),
        ("DOT 111A100W5,,,,,,,", ["no lining is recorded"]),
        ("DOT 111A100W5,,,,,rubber,,", []),
        ("DOT 112J340W,,no,no,,,,", ["without a jacket", "without thermal protection"]),
        ("DOT 111A100W1,,,,AL5083,,,", ["AL5083"]),
        ("DOT 110A500W,,,,,rubber,,", ["a lining is recorded"]),
        ("DOT 111A60W1,,,,,,valve,100", ["The setting, 100 psig, is 20.8 psi above"]),
        ("DOT 111A60W1,,,,,,none,", []),
    ],
)
def test_a_car_whose_facts_contradict_its_stencil_is_warned_of_and_comes_in(db, row, said):
    content = f"{CAR_HEAD}ZQKX,9,{row}\n"
    found = warned(db, "cars", content)
    assert len(found) == len(said)
    assert all(words in each[2] for each, words in zip(found, said, strict=True))
    assert counts(bring_in(db, "cars", content)) == (1, 0, 0)


ODDS = "mark,number,specification,built_on,material,tensile_psi,relief_device_kind,relief_device_installed_on\n"


@pytest.mark.parametrize(
    ("row", "what", "said"),
    [
        ("2010-06-15,TC128B,70000,,", "tensile_psi", "the lesser counts"),
        ("2010-06-15,TC128B,81000,,", None, ""),
        ("2010-06-15,,,valve,2009-05-01", "relief_device_installed_on", "before the car was built"),
        ("2010-06-15,,,valve,2010-05", "relief_device_installed_on", "in 2010-05"),
        ("2010-06-15,,,valve,2010-06", None, ""),
        (",,,valve,2009-05-01", None, ""),
    ],
)
def test_a_car_whose_facts_contradict_one_another_is_warned_of_and_comes_in(db, row, what, said):
    content = f"{ODDS}ZQKX,9,DOT 111A100W1,{row}\n"
    found = look(db, "cars", content).warnings
    assert [each.what for each in found] == ([what] if what else [])
    assert all(said in each.text for each in found)
    assert counts(bring_in(db, "cars", content)) == (1, 0, 0)


def test_what_is_stored_of_a_car_is_held_against_the_row(db):
    bring_in(db, "cars", f"{ODDS}ZQKX,9,DOT 111A100W1,,TC128B,,,\n")
    (found,) = warned(
        db, "cars", "mark,number,specification,tensile_psi\nZQKX,9,DOT 111A100W1,70000.5\n"
    )
    assert "70000.5 psi" in found[2]


def test_a_device_put_on_before_its_car_was_built_is_warned_of(db):
    bring_in(db, "cars", f"{ODDS}ZQKX,9,DOT 111A100W1,2010-06-15,,,,\n")
    head = "mark,number,kind,position,installed_on\n"
    (found,) = warned(db, "components", f"{head}ZQKX,9,relief_valve,top,2010-05\n")
    assert "before the car was built on 2010-06-15" in found[2]
    for fine in ("relief_valve,top,2010-06", "gauge,top,2010-05"):
        assert warned(db, "components", f"{head}ZQKX,9,{fine}\n") == []


def test_a_known_car_is_judged_with_what_is_stored_of_it(db):
    bring_in(db, "cars", f"{CAR_HEAD}ZQKX,9,DOT 111A100W1,no,,,,,,\n")
    bring_in(db, "components", "mark,number,kind,position\nZQKX,9,bottom_outlet,bottom\n")
    found = warned(db, "cars", "mark,number,specification\nZQKX,9,DOT 111A100W4\n")
    assert [("bottom outlet" in each[2], "insulated" in each[2]) for each in found] == [
        (True, False), (False, True),
    ]  # fmt: skip


@pytest.mark.parametrize(
    "known",
    [
        ("cars", "mark,number,specification,lining_kind\nZQKX,1,DOT 111A100W1,rubber\n"),
        ("events", "mark,number,on,items\nZQKX,1,2019-05-02,lining_applied\n"),
    ],
)
def test_a_lining_known_elsewhere_is_not_missed(db, known):
    bring_in(db, "cars", CARS)
    bring_in(db, *known)
    assert warned(db, "cars", "mark,number,specification\nZQKX,1,DOT 111A100W5\n") == []


def test_warnings_are_all_counted_and_a_thousand_listed(db):
    content = CAR_HEAD + "".join(f"ZQKX,{n},DOT 105A300W,no,,,,,,\n" for n in range(1, 1_003))
    seen = look(db, "cars", content)
    assert (seen.warning_count, len(seen.warnings)) == (1_002, 1_000)

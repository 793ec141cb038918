"""Owners' steps, facilities and qualifications: recorded, corrected, withdrawn and brought back; on both engines."""

from dataclasses import replace
from datetime import date, timedelta

import pytest
from sqlalchemy import select, text
from sqlalchemy.exc import IntegrityError

from app.actions import facilities, instructions, qualifications
from app.actions.facilities import NewFacility
from app.actions.instructions import NewInstruction, NewStep
from app.actions.people import Office
from app.actions.qualifications import NewQualification, qualification_warnings
from app.errors import Conflict, NotFound, Refused
from app.store import facilities as facility_rows
from app.store import instructions as instruction_rows
from app.store import qualifications as qualification_rows
from app.store.field_data import Qualification
from app.store.people import Person
from tests.fixtures.people import LONG_AGO
from tests.store.cast import OWNER, TODAY, add_car, stamp

WELD = NewStep("The invented weld", "B end", "look", acceptance="no crack")
STEPS = NewInstruction(OWNER, "visual", TODAY, "Invented QP 7", steps=(WELD,))
WORKS = NewFacility(OWNER, "Invented Works", "1 Nowhere Lane", "ZQ01")
OFFICE = Office(None, "Alba Testwell")
UT = NewQualification("UT", "II", TODAY)


@pytest.fixture
def owner(any_db) -> int:
    return add_car(any_db).owner_id


@pytest.fixture
def person(any_db) -> int:
    somebody = Person(name="Ada Example", email="ada@example.invalid", added_at=LONG_AGO)
    any_db.add(somebody)
    any_db.flush()
    return somebody.id


def holding(db, owner_id, day=TODAY):
    found = instruction_rows.in_force(db, {owner_id}, day).get((owner_id, "visual"))
    return found and [step.look_at for step in found.steps]


def test_the_latest_steps_of_an_owner_hold(any_db, owner):
    instructions.record(any_db, replace(STEPS, from_on=TODAY - timedelta(30)), stamp())
    later = replace(STEPS, steps=(WELD, NewStep("Another weld")))
    instructions.record(any_db, later, stamp(1))
    assert holding(any_db, owner) == ["The invented weld", "Another weld"]
    assert holding(any_db, owner, TODAY - timedelta(1)) == ["The invented weld"]
    assert holding(any_db, owner, TODAY - timedelta(31)) is None


def test_steps_are_corrected_withdrawn_and_brought_back_by_new_rows(any_db, owner):
    first = instructions.record(any_db, STEPS, stamp())
    right = replace(STEPS, steps=(NewStep("The right weld"),))
    second = instructions.correct(any_db, first.id, right, stamp(1))
    assert holding(any_db, owner) == ["The right weld"]
    with pytest.raises(Conflict, match="already"):
        instructions.correct(any_db, first.id, STEPS, stamp(2))
    instructions.withdraw(any_db, second.id, "a mistake", stamp(3))
    assert holding(any_db, owner) is None
    instructions.bring_back(any_db, second.id, stamp(4))
    assert holding(any_db, owner) == ["The right weld"]
    with pytest.raises(Conflict):
        instructions.bring_back(any_db, second.id, stamp(5))
    assert [each.row.id for each in instruction_rows.mine(any_db) if each.withdrawal] == []


@pytest.mark.parametrize(
    ("wrong", "path"),
    [
        ({"steps": ()}, "steps.0.look_at"),
        ({"steps": (NewStep(" "),)}, "steps.0.look_at"),
        ({"steps": (NewStep("x", measure="gaze"),)}, "steps.0.measure"),
        ({"steps": (NewStep("x", unit="u" * 21),)}, "steps.0.unit"),
        ({"item": "age_limit"}, "item"),
        ({"owner": "Nobody At All"}, "owner"),
    ],
)
def test_steps_that_cannot_be_are_refused_by_field(any_db, owner, wrong, path):
    with pytest.raises(Refused) as refused:
        instructions.record(any_db, replace(STEPS, **wrong), stamp())
    assert [fault.path for fault in refused.value.faults] == [path]


def test_two_instructions_do_not_begin_on_one_day(any_db, owner):
    instructions.record(any_db, STEPS, stamp())
    with pytest.raises(Conflict, match="recorded already"):
        instructions.record(any_db, STEPS, stamp(1))


@pytest.mark.parametrize(
    "statement",
    ["DELETE FROM instruction_step", "UPDATE instruction_step SET look_at = 'another'",
     "UPDATE instruction SET edition = 'another'", "UPDATE facility SET name = 'another'",
     "DELETE FROM qualification"],
)  # fmt: skip
def test_no_row_is_changed_or_deleted(any_db, owner, person, statement):
    instructions.record(any_db, STEPS, stamp())
    facilities.record(any_db, WORKS, stamp())
    qualifications.record(any_db, OFFICE, person, UT, stamp())
    any_db.commit()
    with pytest.raises(IntegrityError, match="the record is kept"):
        any_db.execute(text(statement))


def test_a_facility_is_corrected_withdrawn_and_brought_back(any_db, owner):
    first = facilities.record(any_db, WORKS, stamp())
    with pytest.raises(Conflict, match="already"):
        facilities.record(any_db, WORKS, stamp(1))
    second = facilities.correct(any_db, first.id, replace(WORKS, station_code="ZQ02"), stamp(2))
    assert [each.row.station_code for each in facility_rows.mine(any_db)] == ["ZQ02"]
    facilities.withdraw(any_db, second.id, "closed", stamp(3))
    assert facility_rows.mine(any_db) == []
    facilities.bring_back(any_db, second.id, stamp(4))
    assert [each.row.station_code for each in facility_rows.mine(any_db)] == ["ZQ02"]


def test_a_facility_needs_a_name_and_a_company_of_one_s_own(any_db, owner):
    for wrong, path in (({"name": " "}, "name"), ({"party": "Nobody"}, "party")):
        with pytest.raises(Refused) as refused:
            facilities.record(any_db, replace(WORKS, **wrong), stamp())
        assert [fault.path for fault in refused.value.faults] == [path]


def test_a_qualification_takes_the_place_of_the_one_of_its_method(any_db, person):
    first = qualifications.record(any_db, OFFICE, person, UT, stamp())
    assert qualifications.record(any_db, OFFICE, person, UT, stamp(1)).id == first.id
    later = replace(UT, valid_until=date(2029, 1, 31))
    second = qualifications.record(any_db, OFFICE, person, later, stamp(2))
    assert [each.valid_until for each in qualification_rows.counting(any_db, person)] == [
        date(2029, 1, 31)
    ]
    qualifications.withdraw(any_db, OFFICE, person, second.id, "not so", stamp(3))
    assert qualification_rows.counting(any_db, person) == []
    qualifications.bring_back(any_db, OFFICE, person, second.id, stamp(4))
    assert len(any_db.scalars(select(Qualification)).all()) == 3


def test_somebody_else_s_qualification_is_not_found(any_db, person):
    row = qualifications.record(any_db, OFFICE, person, UT, stamp())
    with pytest.raises(NotFound):
        qualifications.withdraw(any_db, OFFICE, person + 1, row.id, "", stamp())
    with pytest.raises(NotFound):
        qualifications.record(any_db, Office(frozenset((999,)), "X"), person, UT, stamp())


def test_a_method_or_level_that_nobody_knows_is_refused(any_db, person):
    wrong = NewQualification("XX", "IX", date(1700, 1, 1))
    with pytest.raises(Refused) as refused:
        qualifications.record(any_db, OFFICE, person, wrong, stamp())
    assert [fault.path for fault in refused.value.faults] == ["method", "level", "valid_until"]


@pytest.mark.parametrize(
    ("items", "day", "warned"),
    [
        (["thickness"], TODAY, []),
        (["reflective_sheeting"], TODAY, []),  # nothing is asked for
        (["thickness"], TODAY + timedelta(1), ["was valid until 2026-11-25"]),
        (["thickness", "leakage", "thickness"], TODAY, ["Leakage test asks for LT level I"]),
    ],
)
def test_who_signs_without_a_qualification_is_warned(any_db, person, items, day, warned):
    qualifications.record(any_db, OFFICE, person, UT, stamp())
    said = qualification_warnings(any_db, person, items, day)
    assert len(said) == len(warned)
    assert all(part in sentence for part, sentence in zip(warned, said, strict=True))
    assert all("common practice" in sentence for sentence in said)

"""Audits in the store of each kind: the draw, what the register says, answers, findings and their closing."""

from dataclasses import replace
from datetime import date, timedelta
from hashlib import sha256

import pytest
from sqlalchemy import text
from sqlalchemy.exc import IntegrityError

from app.actions import audits, cars, components, events
from app.actions.audits import Given, NewFinding, NewStep, Selected
from app.actions.changes import (
    NewApproval,
    NewComponent,
    NewEvent,
    NewInstallation,
    NewName,
    NewStencil,
)
from app.core.audit.points import ANSWERS
from app.errors import Conflict, NotFound, Refused
from app.store import auditing
from app.store.asked import Standpoint
from app.store.audits import AuditAnswer
from app.store.due import DueFilter
from app.store.tables import Party
from tests.actions.audits_cast import drawn_audit, every_car, fleet_of
from tests.pages.car_cast import acid_car
from tests.pages.fleet_cast import STAMP, TODAY, add

MENDED = NewStep("closed", "Tag replaced.", "Photograph 12", TODAY)
LATER = replace(STAMP, at=STAMP.at + timedelta(hours=1))


def test_a_sample_is_drawn_as_hashlib_says_and_kept_with_all_that_drew_it(any_db):
    fleet_of(any_db, 9)
    audit = drawn_audit(any_db, 4, "seed of the tests")
    names = [f"ZQKX {number}" for number in range(1001, 1010)]
    expected = sorted(names, key=lambda name: sha256(f"seed of the tests:{name}".encode()).digest())
    any_db.commit()
    assert [car.name for car in auditing.drawn(any_db, audit.id)] == expected[:4]
    assert auditing.names_drawn_from(any_db, audit.id) == names
    assert (audit.population, audit.size, audit.as_of) == (9, 4, TODAY)
    assert audit.known_at == STAMP.at


def test_a_sample_stays_when_the_fleet_changes(any_db):
    keys = fleet_of(any_db, 5)
    audit = drawn_audit(any_db, 5)
    before = [car.name for car in auditing.drawn(any_db, audit.id)]
    cars.re_mark(any_db, keys[0], NewName("ZQAX", 7, date(2026, 11, 1)), LATER)
    fleet_of_more = add(any_db, "ZQKX", 1999, date(2017, 4, 15))
    assert [car.name for car in auditing.drawn(any_db, audit.id)] == before
    assert fleet_of_more not in [car.car_id for car in auditing.drawn(any_db, audit.id)]


def test_a_sample_of_the_due_list_holds_each_car_once(any_db):
    fleet_of(any_db, 4)
    add(any_db, "ZQKX", 2001, date(2025, 1, 1))
    wanted = DueFilter(TODAY, due_to=date(2027, 12, 31))
    selected = Selected("due", {"to": "2027-12-31"}, wanted, "Due until 2027.")
    assert [name for name, _ in audits.population(any_db, selected)] == [
        "ZQKX 1001", "ZQKX 1002", "ZQKX 1003", "ZQKX 1004",
    ]  # fmt: skip


def test_a_sample_of_another_moment_is_of_the_cars_known_then(any_db):
    fleet_of(any_db, 2)
    cars_later = replace(STAMP, at=STAMP.at + timedelta(days=2))
    add(any_db, "ZQKX", 1900, date(2017, 4, 15))
    any_db.flush()
    then = Standpoint(TODAY, STAMP.at - timedelta(seconds=1))
    at_all = replace(every_car(), at=then)
    assert audits.population(any_db, at_all) == []
    assert len(audits.population(any_db, replace(at_all, at=Standpoint(TODAY, cars_later.at)))) == 3


@pytest.mark.parametrize(
    ("other", "field", "said"),
    [
        ({"size": 0}, "size", "want 1 to 3"),
        ({"size": 4}, "size", "want 1 to 3"),
        ({"seed": "  "}, "seed", "want a seed"),
        ({"seed": "só"}, "seed", "every keyboard"),
        ({"selected": every_car(region="Nowhere")}, "size", "no car answers"),
    ],
)
def test_what_cannot_be_drawn_is_refused_beside_its_field(any_db, other, field, said):
    fleet_of(any_db, 3)
    with pytest.raises(Refused) as refused:
        drawn_audit(any_db, **{"size": 1, **other})
    assert [(fault.path, said in fault.problem) for fault in refused.value.faults] == [
        (field, True)
    ]


def test_a_sample_of_another_company_is_not_drawn(any_db):
    fleet_of(any_db, 2)
    new = audits.NewAudit("Audit", every_car(), 1, "1", ("in_date",))
    with pytest.raises(NotFound):
        audits.draw(any_db, 987654, new, STAMP)


# What the register says -------------------------------------------------------------------------------------------


def said(db, car_id):
    """By point what the register says of one car, drawn as known a moment after all was recorded."""
    party = db.query(Party).order_by(Party.id).first()
    points = tuple(each.id for each in audits.built_in_points())
    new = audits.NewAudit("Audit", every_car(), 1, "1", points)
    audit = audits.draw(db, party.id, new, LATER)
    [car] = auditing.drawn(db, audit.id)
    assert car.car_id == car_id
    return audits.says(db, audit, car)


def test_the_register_says_what_it_can_tell_by_itself_and_why(any_db):
    found = said(any_db, acid_car(any_db))
    assert {point: each.answer for point, each in found.items()} == {
        # Facility and inspector are on record; the signed report is a paper.
        "reports_on_file": None,
        "owners_copy": None,
        # No stencil is on record.
        "stencil_as_worked_out": None,
        # Thickness every five years since 2018, at line C in acid.
        "in_date": "does_not",
        "relief_devices": "does_not",
        "approvals": "not_applicable",
        "thickness": "conforms",
        "lining": "not_applicable",
        "agrees": "conforms",
        "explained": "conforms",
    }
    assert "thickness, due 2023-03-15" in found["in_date"].reason
    # Papers and people are none of its business.
    assert not found.keys() & {"construction_papers", "qualified_people"}


UNSIGNED = NewEvent(date(2026, 1, 5), ("visual",), facility="Shop A")


def inspect(db, car):
    return events.record_event(db, car, UNSIGNED, STAMP)


def stencil(day):
    return lambda db, car: cars.mark_stencil(db, car, NewStencil(visual=day), STAMP)


def approve(reference):
    approval = NewApproval("visual", 60, reference)
    return lambda db, car: cars.change_approval(db, car, approval, STAMP)


def put_on(db, car):
    valve = NewInstallation(NewComponent("relief_valve", serial="S1"), "top", date(2020, 1, 2))
    components.install(db, car, valve, STAMP)


def withdraw(reason):
    return lambda db, car: events.withdraw_event(db, inspect(db, car).id, reason, STAMP)


@pytest.mark.parametrize(
    ("change", "point", "answer", "reason"),
    [
        (inspect, "reports_on_file", "does_not", "on record without inspector"),
        # The last visual inspection was on 2018-03-15, so ten years end on 2028-03-15.
        (stencil("2028"), "stencil_as_worked_out", "conforms", "visual"),
        (stencil("2028-03"), "stencil_as_worked_out", "conforms", "visual"),
        (stencil("2028-03-15"), "stencil_as_worked_out", "conforms", "visual"),
        (stencil("2028-04"), "stencil_as_worked_out", "does_not", "2028-03-15 is worked out"),
        (stencil("2027"), "stencil_as_worked_out", "does_not", "2027 is stenciled"),
        (approve(""), "approvals", "does_not", "without a reference"),
        (approve("DOT-SP 99999"), "approvals", None, "DOT-SP 99999"),
        (put_on, "relief_devices", "does_not", "setting and day of test"),
        (withdraw(""), "explained", "does_not", "without a reason: 1"),
        (withdraw("twice"), "explained", "conforms", ""),
    ],
)
def test_what_is_recorded_moves_what_the_register_says(any_db, change, point, answer, reason):
    car = acid_car(any_db)
    change(any_db, car)
    found = said(any_db, car)[point]
    assert found.answer == answer
    assert reason in found.reason


def test_the_register_says_what_it_knew_when_the_sample_was_drawn(any_db):
    [key] = fleet_of(any_db, 1)
    audit = drawn_audit(any_db, 1)
    [car] = auditing.drawn(any_db, audit.id)
    before = audits.says(any_db, audit, car)
    done = NewEvent(date(2026, 11, 1), ("visual",), facility="Shop A", inspector="R. Mott")
    events.record_event(any_db, key, done, LATER)
    assert audits.says(any_db, audit, car) == before
    assert before["reports_on_file"].answer == "not_applicable"


# Answers and findings ---------------------------------------------------------------------------------------------


@pytest.fixture
def audit(any_db):
    fleet_of(any_db, 6)
    return drawn_audit(any_db, 3, own_points=("Is the invented seal whole?",))


def test_the_latest_answer_counts_and_the_others_stay(any_db, audit):
    car = auditing.drawn(any_db, audit.id)[0]
    audits.answer(any_db, car.id, {"in_date": Given("conforms")}, STAMP)
    again = {"in_date": Given("does_not", "overdue"), "own-1": Given("conforms")}
    assert audits.answer(any_db, car.id, again, LATER) == 2
    # Sent twice it is nothing new.
    assert audits.answer(any_db, car.id, again, LATER) == 0
    held = auditing.answers(any_db, audit.id)[car.id]
    assert {point: each.answer for point, each in held.items()} == {
        "in_date": "does_not", "own-1": "conforms",
    }  # fmt: skip
    assert any_db.query(AuditAnswer).count() == 3


@pytest.mark.parametrize(
    ("given", "path"),
    [
        ({"in_date": Given("perhaps")}, "answer.in_date"),
        ({"no_point": Given("conforms")}, "answer.no_point"),
        ({"in_date": Given("does_not")}, "note.in_date"),
    ],
)
def test_a_wrong_answer_is_refused_beside_its_point(any_db, audit, given, path):
    car = auditing.drawn(any_db, audit.id)[0]
    with pytest.raises(Refused) as refused:
        audits.answer(any_db, car.id, given, STAMP)
    assert [fault.path for fault in refused.value.faults] == [path]


def test_a_finding_is_closed_with_its_proof_opened_again_and_keeps_every_step(any_db, audit):
    car = auditing.drawn(any_db, audit.id)[0]
    new = NewFinding("No setting on the tag.", "mend", TODAY, "R. Mott", car.id, "relief_devices")
    key = audits.find(any_db, audit.id, new, STAMP).id
    assert auditing.finding_or_raise(any_db, key).open
    with pytest.raises(Refused, match="proof"):
        audits.take_step(any_db, key, replace(MENDED, evidence=""), STAMP)
    audits.take_step(any_db, key, MENDED, STAMP)
    with pytest.raises(Conflict, match="closed already"):
        audits.take_step(any_db, key, MENDED, STAMP)
    assert not auditing.finding_or_raise(any_db, key).open
    again = audits.take_step(any_db, key, NewStep("reopened", "It fell off."), LATER)
    assert again.open
    assert again.late(TODAY + timedelta(days=1))
    assert not again.late(TODAY)
    assert [step.step for step in again.steps] == ["closed", "reopened"]
    assert [each.row.id for each in auditing.findings(any_db, audit.id, car.id)] == [key]


@pytest.mark.parametrize(
    ("wrong", "path", "told"),
    [
        ({"said": " "}, "said", "say what was done"),
        ({"done_on": None}, "done_on", "want the day on which it was mended"),
        ({"done_on": TODAY + timedelta(days=1)}, "done_on", "is after today"),
        ({"done_on": TODAY - timedelta(days=30)}, "done_on", "lies before the draw"),
    ],
)
def test_a_closing_that_cannot_be_is_refused_beside_its_field(any_db, audit, wrong, path, told):
    key = audits.find(any_db, audit.id, NewFinding("No tag.", "remark"), STAMP).id
    with pytest.raises(Refused) as refused:
        audits.take_step(any_db, key, replace(MENDED, **wrong), STAMP)
    assert [(fault.path, told in fault.problem) for fault in refused.value.faults] == [(path, True)]
    assert auditing.finding_or_raise(any_db, key).open


@pytest.mark.parametrize(
    ("wrong", "path"),
    [
        ({"what": " "}, "what"),
        ({"severity": "awful"}, "severity"),
        ({"due_on": None}, "due_on"),
        ({"due_on": date(2020, 1, 1)}, "due_on"),
        ({"responsible": ""}, "responsible"),
        ({"point": "no_point"}, "point"),
    ],
)
def test_a_finding_lacks_nothing(any_db, audit, wrong, path):
    new = NewFinding("A paper lacks.", "stop", TODAY, "R. Mott")
    with pytest.raises(Refused) as refused:
        audits.find(any_db, audit.id, replace(new, **wrong), STAMP)
    assert [fault.path for fault in refused.value.faults] == [path]


def test_the_summary_counts_and_says_what_is_proven_once_all_is_looked_at(any_db, audit):
    sample = auditing.drawn(any_db, audit.id)
    points = [each.id for each in audits.points_of(audit)]
    assert audits.summed(any_db, audit.id).most_wrong is None
    for car in sample:
        audits.answer(any_db, car.id, {each: Given("conforms") for each in points}, STAMP)
    audits.answer(any_db, sample[1].id, {points[0]: Given("does_not", "lacks")}, LATER)
    found = audits.summed(any_db, audit.id)
    assert (found.done, found.begun, found.judged, found.wrong) == (3, 3, 3, 1)
    assert found.points[0].counts == dict(zip(ANSWERS, (2, 1, 0, 0), strict=True))
    # Of 6 cars 3 were seen and 1 was wrong: with 5 wrong ones at most 1 among 3 is no sample at all;
    # with 4 it is 4 of the 20 samples, with confidence 95 too many to be ruled out.
    assert found.most_wrong == 4
    audits.answer(any_db, sample[0].id, {points[0]: Given("not_looked_at")}, LATER)
    assert audits.summed(any_db, audit.id).left(sample[0]) == 1


def test_the_summary_tells_how_many_cars_were_begun_and_judges_by_those_to_which_a_point_applies(
    any_db, audit
):
    one, two, three = auditing.drawn(any_db, audit.id)
    points = [each.id for each in audits.points_of(audit)]
    audits.answer(any_db, one.id, {points[0]: Given("conforms")}, STAMP)
    found = audits.summed(any_db, audit.id)
    assert (found.begun, found.done, found.most_wrong) == (1, 0, None)
    for car, word in ((one, "conforms"), (two, "conforms"), (three, "not_applicable")):
        audits.answer(any_db, car.id, {each: Given(word) for each in points}, STAMP)
    found = audits.summed(any_db, audit.id)
    assert (found.begun, found.judged) == (3, 2)
    # Two of six cars were seen and none was wrong: with 5 wrong ones no two right ones could be drawn, with 4 one pair
    # of the 15 is, which is too much to be ruled out.
    assert found.most_wrong == 4


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE audit SET seed = 'another'",
        "DELETE FROM audit_car",
        "UPDATE audit_answer SET answer = 'conforms'",
        "UPDATE audit_finding SET what = 'nothing'",
        "DELETE FROM audit_finding_step",
    ],
)
def test_no_row_of_an_audit_is_changed_or_deleted(any_db, audit, statement):
    car = auditing.drawn(any_db, audit.id)[0]
    audits.answer(any_db, car.id, {"in_date": Given("does_not", "overdue")}, STAMP)
    key = audits.find(any_db, audit.id, NewFinding("A remark.", "remark"), STAMP).id
    audits.take_step(any_db, key, MENDED, STAMP)
    any_db.commit()
    with pytest.raises(IntegrityError, match="the record is kept"):
        any_db.execute(text(statement))

"""A car goes from one register into another, of either engine: all of it, nothing else, and whole or not at all."""

import json
import shutil
import zipfile
from contextlib import contextmanager
from dataclasses import replace
from datetime import UTC, date, datetime
from decimal import Decimal

import pytest
from sqlalchemy import func, select

from app.access import EVERYTHING
from app.actions import cars, components, copies, events, hand_over, imports, pictures, retention
from app.actions.changes import (
    CarDetails,
    NewApproval,
    NewComponent,
    NewInstallation,
    NewLining,
    NewReading,
    NewStencil,
)
from app.actions.take_over import sum_of, take_over
from app.core.field.report import fold
from app.errors import Conflict, Refused
from app.files.archive import MANIFEST
from app.pictures import Attachments, Limits
from app.store import cars as fleet
from app.store import events as event_rows
from app.store import handing_over, reports
from app.store.asked import Standpoint
from app.store.columns import Base
from app.store.db import make_engine, sessions
from app.store.derived import ImportRun
from app.store.handing_over import GOES_ALONG, HandOver, Origin
from app.store.people import Person
from app.store.pictures import Photograph
from app.store.tables import Car, CarName, EventRow, Party
from tests.field.entries import Tablet
from tests.field.places import NEW_VALVE, placed
from tests.pictures import shots
from tests.store.cast import OWNER, TODAY, add_car, new_car, stamp, visual

BUYER = "Marrow Creek Cars (invented)"
ON = TODAY
ITEMS = ("visual", "relief_device", "leakage")
HANDED, TAKEN = stamp(600, "Seller Nobody"), stamp(900, "Buyer Nobody")


def history_of(place):
    """Facts of each kind, some corrected and one withdrawn; inspections, a swap, a signed report, a photograph."""
    db, car = place.db, place.car_id
    cars.change_lining(db, car, NewLining(True, "rubber", date(2019, 1, 1), 60), stamp(1))
    details = CarDetails("DOT 111A100W1", date(2015, 6, 1), inside_diameter_in=Decimal("110.25"))
    wrong = cars.change_construction(db, car, replace(details, material="A516-70"), stamp(2))
    right = replace(details, material="A515-70")
    cars.correct_fact(db, "construction", wrong.id, right, stamp(3))
    cars.change_approval(db, car, NewApproval("visual", 60, "DOT-SP 99999", True), stamp(4))
    marked = cars.mark_stencil(db, car, NewStencil(date(2020, 4, 1), visual="2030"), stamp(5))
    cars.withdraw_fact(db, "stencil", marked.id, "misread", stamp(6))
    thickness = visual(date(2020, 3, 15), items=("visual", "thickness"), inspector="R. Mott")
    measured = replace(thickness, readings=(NewReading("shell_top", Decimal("0.441")),))
    first = events.record_event(db, car, measured, stamp(7))
    again = replace(
        measured, notes="measured again", readings=(NewReading("shell_top", Decimal("0.431")),)
    )
    events.correct_event(db, first.id, again, stamp(8))
    gone = events.record_event(db, car, visual(date(2021, 5, 6)), stamp(9))
    events.withdraw_event(db, gone.id, "another car", stamp(10))
    gauge = NewInstallation(
        NewComponent("gauge", maker="Invented", serial="G-1"), "top", date(2018, 2, 3)
    )
    put_on = components.install(db, car, gauge, stamp(11))
    components.remove(db, put_on.id, date(2022, 1, 2), stamp(12))


def reported(place, attachments):
    """A report from its beginning to its signature, with the valve swapped and a photograph kept."""
    picture = shots.file()
    tablet = Tablet(place.car_id).begin(*ITEMS, taken_at="2026-11-25T12:30:00+00:00")
    bench = {"left_psig": "75", "vapor_tight_psig": "65", "protected_in_storage": True}
    on = NEW_VALVE | bench | {"tested_on": "2026-11-20"}
    tablet.add("swap", {"off_installation_id": place.valve, "on": on})
    tablet.add("leak_test", {"what": "manway", "medium": "air", "psig": "30", "outcome": "pass"})
    says = {"digest": shots.sum_of(picture), "bytes": len(picture), "type": "image/jpeg"}
    tablet.add("photograph", says | {"about": None, "taken_at": tablet.last["made_at"]})
    for item in ITEMS:
        tablet.outcome(item)
    assert set(place.states(*tablet.entries)) == {"stored"}
    place.db.commit()

    @contextmanager
    def same():
        yield place.db

    desk = pictures.Desk(attachments, Limits(1_000_000, 1_000_000), same, same)
    piece = pictures.Piece(shots.sum_of(picture), tablet.report, 0, len(picture), picture)
    assert pictures.receive(desk, piece, stamp(90)).whole
    assert place.states(tablet.sign().last) == ["stored"]


@contextmanager
def register_at(template, path):
    shutil.copyfile(template, path)
    engine = make_engine(f"sqlite:///{path}")
    with sessions(engine)(info={"reach": EVERYTHING}) as db:
        yield db
    engine.dispose()


@pytest.fixture
def there(sqlite_template, tmp_path):
    """The car with all its history, in a register on SQLite, with another car of the same company."""
    with register_at(sqlite_template, tmp_path / "there.db") as db:
        place = placed(db)
        history_of(place)
        reported(place, Attachments(tmp_path / "there"))
        add_car(db, 2)
        db.commit()
        yield place


@pytest.fixture
def file(there, tmp_path):
    made = hand_over.hand_over(there.db, there.car_id, BUYER, ON, HANDED)
    path = tmp_path / "car.zip"
    hand_over.write_file(there.db, Attachments(tmp_path / "there"), made, path)
    there.db.commit()
    return path


@pytest.fixture
def kept(tmp_path):
    """Where the photographs of the other register lie."""
    return Attachments(tmp_path / "here")


def on_record(db, car_id):
    """By table all that is on record of a car."""
    ever = datetime.max.replace(tzinfo=UTC)
    made = HandOver(car_id=car_id, recorded_at=ever, ownership_id=0, standing_id=0)
    return handing_over.rows_of(db, made)


# Keys, and what rows say of their recording.
BESIDE = {
    "id", "corrects", "original_id", "superseded_at", "recorded_at", "recorded_by", "row_id",
    "component_id", "installation_id", "event_id", "report_id", "says",
}  # fmt: skip


def stated(db, table, car_id):
    return [
        {name: value for name, value in row.items() if name not in BESIDE}
        for row in on_record(db, car_id)[table]
    ]


def test_a_car_is_taken_over_into_either_engine_with_every_row_of_it(there, file, any_db, kept):
    taken = take_over(any_db, kept, file, TAKEN)
    any_db.commit()
    for mapped in GOES_ALONG:
        name = mapped.__tablename__
        here, before = (
            stated(db, name, key) for db, key in ((any_db, taken.car_id), (there.db, there.car_id))
        )
        if name == "standing":
            before = before[:-1]
        if name == "component":
            assert {row.pop("owner_id") for row in here} == {BUYER}
            assert {row.pop("owner_id") for row in before} == {OWNER}
        assert here == before, name
        assert here or name in ("hold", "fitting", "removal_permit"), name


def test_every_table_of_a_car_goes_along_or_stays_for_a_reason():
    of_car = {name for name, table in Base.metadata.tables.items() if "car_id" in table.c}
    goes = {mapped.__tablename__ for mapped in GOES_ALONG}
    assert of_car - goes == set(handing_over.STAYS_HERE)


def test_a_car_that_goes_on_to_a_third_register_keeps_when_it_was_first_recorded(
    there, file, any_db, kept, tmp_path, sqlite_template
):
    second = take_over(any_db, kept, file, TAKEN)
    made = hand_over.hand_over(any_db, second.car_id, "Third Invented Cars", ON, stamp(1200))
    onward = tmp_path / "onward.zip"
    hand_over.write_file(any_db, kept, made, onward)
    with register_at(sqlite_template, tmp_path / "third.db") as db:
        third = take_over(db, Attachments(tmp_path / "third"), onward, stamp(1500))
        first = stated(there.db, "event", there.car_id)
        assert stated(db, "event", third.car_id) == first
        assert third.differences == ()
        moments = select(Origin.recorded_at).where(Origin.table_name == "event").order_by(Origin.id)
        there_moments = select(EventRow.recorded_at).where(EventRow.car_id == there.car_id)
        assert list(db.scalars(moments)) == list(
            there.db.scalars(there_moments.order_by(EventRow.id))
        )


def test_what_was_taken_over_is_not_taken_back_as_a_file(file, any_db, kept):
    taken = take_over(any_db, kept, file, TAKEN)
    with pytest.raises(Conflict, match="does not go back as a file"):
        imports.take_back(any_db, taken.import_id, stamp(901))


def test_every_due_item_and_reason_is_the_same_here(there, file, any_db, kept):
    taken = take_over(any_db, kept, file, TAKEN)
    assert taken.differences == ()
    assert len(taken.manifest.due) > 5
    assert all(each.reasons for each in taken.manifest.due)
    owner = any_db.get_one(Car, taken.car_id).owner_id
    here = hand_over.answer_of(any_db, taken.car_id, Standpoint(ON), owner)
    before = hand_over.answer_of(there.db, there.car_id, Standpoint(ON, stamp(500).at), 1)
    assert here.items == before.items
    assert here.thickness == before.thickness
    assert here.warnings == before.warnings


def test_every_report_is_the_same_here(there, file, any_db, kept):
    taken = take_over(any_db, kept, file, TAKEN)
    folded = []
    for db, car in ((there.db, there.car_id), (any_db, taken.car_id)):
        [listed] = reports.of_car(db, car)
        row = reports.one_or_raise(db, listed.id)
        report = fold(reports.entries(db, [row])[row.key])
        assert report.signed is not None
        parts = {each["off_installation_id"] for each in report.says("swap")}
        assert parts <= {each["id"] for each in on_record(db, car)["installation"]}
        said = [
            {name: value for name, value in entry.says.items() if not name.endswith("_id")}
            for entry in report.standing
        ]
        made = [
            (event.items, event.notes, event.inspector) for event in reports.events_of(db, row.id)
        ]
        folded.append((said, made, listed.happened_on, listed.signed))
    assert folded[0] == folded[1]


def test_the_photograph_comes_along_byte_for_byte(there, file, any_db, kept, tmp_path):
    take_over(any_db, kept, file, TAKEN)
    digest = any_db.scalar(select(Photograph.sha256))
    name = pictures.name(digest)
    assert kept.read(name) == Attachments(tmp_path / "there").read(name)
    assert kept.read(pictures.small_name(digest))
    assert pictures.first_astray(any_db, kept, lambda *_: None) is None


def test_nobody_here_knew_of_the_car_before_and_its_origin_is_kept(there, file, any_db, kept):
    taken = take_over(any_db, kept, file, TAKEN)
    rows = any_db.scalars(select(EventRow).where(EventRow.car_id == taken.car_id)).all()
    assert {row.recorded_at for row in rows} == {TAKEN.at}
    assert {row.recorded_by for row in rows} >= {f"Alba Testwell ({OWNER})"}
    assert {row.import_id for row in rows} == {taken.import_id}
    before = select(Origin.recorded_at).where(
        Origin.table_name == "event", Origin.row_id == rows[0].id
    )
    assert any_db.scalar(before) == stamp(7).at
    withdrawn = [
        each.withdrawal for each in event_rows.history(any_db, taken.car_id) if each.withdrawal
    ]
    assert [each.reason for each in withdrawn] == ["another car"]


def test_nothing_of_other_cars_or_accounts_is_in_the_file(there, file):
    with zipfile.ZipFile(file) as zipped:
        members = {name: zipped.read(name) for name in zipped.namelist()}
    every = b"".join(content for name, content in members.items() if not name.startswith("attach"))
    address = there.db.scalar(select(Person.email))
    assert address.encode() not in every
    assert not [name for name in members if "person" in name or "party" in name]
    rows = [json.loads(line) for line in members["tables/car_name.jsonl"].splitlines()]
    assert {(row["mark"], row["number"]) for row in rows} == {("ZQKX", 1045)}


def test_the_car_leaves_the_former_register_and_the_clocks_begin(there, file):
    car = there.db.get_one(Car, there.car_id)
    assert car.standing == "sold"
    assert there.db.get_one(Party, car.owner_id).name == BUYER
    assert fleet.by_name(there.db, "ZQKX", 1045) is None
    # 49 CFR 180.517: papers of construction are kept for a year after the ownership ended.
    assert hand_over.clocks(ON).papers_until == date(2027, 11, 25)
    for day, free in ((date(2027, 11, 25), []), (date(2027, 11, 26), [there.car_id])):
        assert [each.car_id for each in retention.free_papers(there.db, day)] == free


def test_the_file_can_be_made_again_later_and_says_the_same(there, file, tmp_path):
    [made] = handing_over.of_car(there.db, there.car_id)
    events.record_event(there.db, there.car_id, visual(date(2023, 7, 8)), stamp(700))
    again = tmp_path / "again.zip"
    hand_over.write_file(there.db, Attachments(tmp_path / "there"), made, again)
    with zipfile.ZipFile(file) as first, zipfile.ZipFile(again) as second:
        assert first.read(MANIFEST) == second.read(MANIFEST)


def test_a_register_that_had_the_car_does_not_take_it_as_another(there, file, tmp_path):
    with pytest.raises(Conflict, match="ZQKX 1045 was the name of another car"):
        take_over(there.db, Attachments(tmp_path / "there"), file, TAKEN)


# Refused ----------------------------------------------------------------------------------------------------------


def rewritten(path, change):
    with zipfile.ZipFile(path) as zipped:
        held = {name: zipped.read(name) for name in zipped.namelist()}
    change(held)
    with zipfile.ZipFile(path, "w") as zipped:
        for name, data in held.items():
            zipped.writestr(name, data)
    return path


def other(member, before, after):
    def change(held):
        name = next(name for name in held if name.startswith(member))
        assert before in held[name]
        held[name] = held[name].replace(before, after, 1)

    return change


def without(member):
    return lambda held: held.pop(next(name for name in held if name.startswith(member)))


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (other("tables/event.jsonl", b"2020-03-15", b"2021-03-15"), "tables/event.jsonl is not what"),
        (other("tables/reading.jsonl", b"0.431", b"0.531"), "tables/reading.jsonl is not what"),
        (other("attachments/", b"\xff\xd8", b"\xff\xd9"), "attachments/.* is not what"),
        (other("manifest.json", BUYER.encode(), b"Somebody Else (invented)    "), "its manifest is not what"),
        (without("tables/approval.jsonl"), "tables/approval.jsonl|is not expected"),
        (without("manifest.json"), "is no hand-over of a car"),
        (lambda held: held.update({"tables/more.jsonl": b""}), "tables/more.jsonl is not expected"),
    ],
)  # fmt: skip
def test_a_changed_member_is_refused_by_its_name_and_nothing_is_written(
    file, any_db, kept, change, said
):
    with pytest.raises(Refused, match=said):
        take_over(any_db, kept, rewritten(file, change), TAKEN)
    assert not any_db.scalar(select(func.count()).select_from(Car))
    assert not list(kept.files())


@pytest.mark.parametrize("left", [0, 100, 5_000, -1])
def test_half_a_file_is_refused(file, any_db, kept, left):
    file.write_bytes(file.read_bytes()[:left])
    with pytest.raises(Refused, match="is no hand-over of a car"):
        take_over(any_db, kept, file, TAKEN)


def test_a_copy_of_a_register_is_no_hand_over(engine, tmp_path, db, kept):
    add_car(db)
    db.commit()
    path = tmp_path / "copy.zip"
    place = copies.place_of(str(engine.url))
    copies.keep(engine, place, path, HANDED.at, lambda *_: None)
    with pytest.raises(Refused, match="damaged"):
        take_over(db, kept, path, TAKEN)


def test_a_name_that_another_car_bears_here_is_refused_with_the_reason(file, any_db, kept):
    add_car(any_db)
    any_db.commit()
    with pytest.raises(Conflict, match="ZQKX 1045 is in the register already"):
        take_over(any_db, kept, file, TAKEN)
    assert any_db.scalar(select(func.count()).select_from(Car)) == 1


def test_the_same_file_is_taken_over_once(file, any_db, kept):
    take_over(any_db, kept, file, TAKEN)
    with pytest.raises(Conflict, match="taken over already"):
        take_over(any_db, kept, file, stamp(901))


def test_a_look_stores_nothing_and_tells_what_would_come(file, any_db, kept):
    seen = take_over(any_db, kept, file, TAKEN, keep=False)
    assert (seen.manifest.car, seen.differences) == ("ZQKX 1045", ())
    any_db.commit()
    for table in (Car, CarName, ImportRun, Origin):
        assert not any_db.scalar(select(func.count()).select_from(table))
    assert not list(kept.files())


def test_what_is_due_otherwise_here_is_told(file, any_db, kept, monkeypatch):
    def another(db, car_id, at, owner_id, real=hand_over.answer_of):
        answer = real(db, car_id, at, owner_id)
        items = (replace(answer.items[0], due_on=date(2031, 1, 1)), *answer.items[1:])
        return replace(answer, items=items)

    monkeypatch.setattr(hand_over, "answer_of", another)
    [found] = take_over(any_db, kept, file, TAKEN).differences
    assert (found.here.due_on, found.item) == (date(2031, 1, 1), found.there.item)
    assert found.there.due_on != found.here.due_on


@pytest.mark.parametrize(
    ("to", "on", "said"),
    [
        ("", ON, "to which company"),
        (OWNER, ON, "already"),
        (BUYER, date(2026, 11, 26), "lies in the future"),
        # The last thing done to the car was its inspection on 2026-11-25.
        (BUYER, date(2026, 11, 24), "of which something is recorded"),
    ],
)
def test_what_cannot_be_handed_over_is_refused(there, to, on, said):
    with pytest.raises(Refused, match=said):
        hand_over.hand_over(there.db, there.car_id, to, on, HANDED)


def test_a_company_that_has_its_cars_here_needs_no_file(there):
    cars.add_car(there.db, new_car(7, owner=BUYER), stamp())
    with pytest.raises(Conflict, match="no file is needed"):
        hand_over.hand_over(there.db, there.car_id, BUYER, ON, HANDED)


def test_a_car_is_handed_over_once(there, file):
    with pytest.raises(Conflict, match="out of the register already"):
        hand_over.hand_over(there.db, there.car_id, BUYER, ON, stamp(601))


def test_nothing_overwrites_a_file(there, file, tmp_path):
    [made] = handing_over.of_car(there.db, there.car_id)
    before = sum_of(file)
    with pytest.raises(Refused, match="is there already"):
        hand_over.write_file(there.db, Attachments(tmp_path / "there"), made, file)
    assert sum_of(file) == before

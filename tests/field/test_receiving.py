"""Entries as they come: every kind taken and refused, each once, in order, and what becomes of the rest."""

from dataclasses import replace

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlalchemy import select

from app.store.field import FieldEntry, Report
from tests.field.entries import SIGNED, STROKES, Tablet, key_of
from tests.field.places import NEW_VALVE, person, placed
from tests.store.counting import statements

PHOTOGRAPH = {"digest": "0" * 64, "bytes": 1000, "type": "image/jpeg"}


@pytest.fixture
def place(db):
    """A session, a car with a relief valve on it, and somebody who records."""
    return placed(db)


@pytest.fixture
def any_place(any_db):
    """The same on each kind of database."""
    return placed(any_db)


# Kind, what is taken, and what is refused with the path of its fault.
KINDS = [
    ("caution", {"caution": "entry", "job": "visual", "words": "Test the air"}, {}, "says.caution"),
    ("gauge_check", {"gauge": "G-1", "standard_in": "0.500", "read_in": "0.501"},
     {"gauge": "G-1", "standard_in": "0.5 in", "read_in": "0.501"}, "says.standard_in"),
    ("reading", {"zone": "shell_top", "ring": 3, "spot": "12 o'clock", "inches": "0.438"},
     {"zone": "roof", "inches": "0.438"}, "says.zone"),
    ("reading", {"zone": "head_a", "inches": "0.4", "extent": "local", "span_in": "6", "apart_in": "20"},
     {"zone": "head_a", "inches": "0"}, "says.inches"),
    ("reading", {"zone": "head_a", "inches": "7.5", "confirmed": True},
     {"zone": "head_a", "inches": "7.5"}, "says.inches"),  # asked about, unless confirmed
    ("step", {"item": "visual", "step": "jacket", "outcome": "ok", "words": "", "value": None},
     {"item": "age_limit", "step": "jacket", "outcome": "ok"}, "says.item"),
    ("lining", {"area": "shell bottom", "condition": "sound", "spark_volts": "10000", "holidays": 0},
     {"area": "shell bottom", "condition": "fine"}, "says.condition"),
    ("leak_test", {"what": "manway", "medium": "air", "psig": "30", "minutes": "10", "outcome": "pass"},
     {"what": "manway", "psig": 30, "outcome": "pass"}, "says.psig"),
    ("defect", {"defect": "dent", "place": "B end, left", "view": "side", "x": 0.25, "y": 1},
     {"defect": "dent", "x": 1.5}, "says.x"),
    ("photograph", PHOTOGRAPH, PHOTOGRAPH | {"digest": "f" * 63}, "says.digest"),
    ("photograph", PHOTOGRAPH | {"about": key_of("report", 1)},
     PHOTOGRAPH | {"about": key_of("another")}, "says.about"),
    ("swap", {"on": {"kind": "gauge", "serial": "G-7"}}, {"position": "top"}, "says"),
    ("outcome", {"item": "visual", "outcome": "not_done", "words": "too dark"},
     {"item": "visual", "outcome": "maybe"}, "says.outcome"),
    ("withdrawn", {"entry": key_of("report", 2)}, {"entry": key_of("report", 1)}, "says.entry"),
    ("resolved", None, {"item": "visual", "other": 987654, "keep": "both"}, "says"),
    ("signed", None, SIGNED | {"strokes": []}, "says.strokes"),
    ("signed", None, SIGNED | {"method": "typed"}, "says.code"),
    ("signed", None, SIGNED | {"strokes": [[[0.1, 0.2, 0.3]]]}, "says.strokes.0.0"),
]  # fmt: skip


@pytest.mark.parametrize(("kind", "taken", "refused", "path"), KINDS)
def test_every_kind_is_taken_as_it_should_be_and_refused_with_the_place_of_its_fault(
    place, kind, taken, refused, path
):
    tablet = place.tablet("visual").add("caution", {"caution": "entry"})
    assert place.states(*tablet.entries) == ["stored", "stored"]
    wrong = place.send(tablet.add(kind, refused).last)[0]
    assert wrong.state == "refused"
    assert wrong.faults[0].path == path
    assert all(each.problem for each in wrong.faults)
    if taken is not None:
        tablet.mend()
        tablet.last["says"] = taken
        assert place.states(tablet.last) == ["stored"]


@pytest.mark.parametrize(
    ("says", "path"),
    [
        ({"car_id": 987654}, "says"),
        ({"happened_on": "2026-11-26"}, "says.happened_on"),  # tomorrow
        ({"happened_on": "2014-01-01"}, "says.happened_on"),  # before it was built
        ({"visit_id": 987654}, "says"),
        ({"items": ["damage"]}, "says.items.0"),
        ({"taken_at": "2026-11-25T08:00:00"}, "says.taken_at"),  # without its zone
        ({"facility": "x" * 201}, "says.facility"),
    ],
)
def test_a_report_begins_at_a_car_that_is_reached_on_a_day_that_has_been(place, says, path):
    tablet = Tablet(place.car_id).begin("visual", **says)
    result = place.send(*tablet.entries)[0]
    assert (result.state, [each.path for each in result.faults]) == ("refused", [path])
    assert place.db.scalars(select(Report)).all() == []


def test_a_bench_test_is_of_a_device_on_the_car_and_asks_about_one_left_outside(place):
    tablet = place.tablet()
    place.send(*tablet.entries)
    says = {
        "installation_id": place.valve,
        "found_psig": "70",
        "left_psig": "90",
        "outcome": "pass",
    }
    result = place.send(tablet.add("bench_test", says).last)[0]
    assert [each.path for each in result.faults] == ["says.left_psig"]
    assert place.states(tablet.mend(confirmed=True)) == ["stored"]
    tablet.add("bench_test", says | {"installation_id": 987654})
    assert place.states(tablet.last) == ["refused"]


def test_a_swap_is_held_to_what_the_record_of_components_takes(place):
    tablet = place.tablet()
    place.send(*tablet.entries)
    swap = {"off_installation_id": place.valve, "on": NEW_VALVE | {"tested_on": "2027-01-01"}}
    result = place.send(tablet.add("swap", swap).last)[0]
    assert [each.path for each in result.faults] == ["says.on.tested_on"]
    assert place.states(tablet.mend(on=NEW_VALVE)) == ["stored"]
    # Beside the valve that is there already: asked about.
    beside = {"position": "top", "on": NEW_VALVE | {"serial": "RV-8"}}
    result = place.send(tablet.add("swap", beside).last)[0]
    assert [each.path for each in result.faults] == ["says.position"]
    assert place.states(tablet.mend(confirmed=True)) == ["stored"]


def test_an_entry_sent_again_is_known_and_one_that_says_something_else_is_refused(any_place):
    tablet = any_place.tablet("thickness").reading("0.44")
    assert any_place.states(*tablet.entries, *tablet.entries) == ["stored"] * 2 + ["known"] * 2
    other = tablet.last | {"says": tablet.last["says"] | {"inches": "0.40"}}
    result = any_place.send(other)[0]
    assert (result.state, result.faults[0].path) == ("refused", "key")
    assert any_place.kept() == [(1, tablet.entries[0]["key"]), (2, tablet.entries[1]["key"])]


def test_what_comes_before_its_turn_waits_and_a_refused_one_is_mended_in_its_place(any_place):
    tablet = any_place.tablet("thickness").reading("0").reading("0.44")
    third = tablet.entries[2]
    assert any_place.states(third) == ["waiting"]
    assert any_place.states(*tablet.entries) == ["stored", "refused", "waiting"]
    mended = tablet.entries[1] | {
        "key": key_of("mended"),
        "says": tablet.entries[1]["says"] | {"inches": "0.41"},
    }
    assert any_place.states(third, mended) == ["stored", "stored"]
    taken = mended | {"key": key_of("third in the second place")}
    result = any_place.send(taken)[0]
    assert (result.state, result.faults[0].path) == ("refused", "place")


def test_reports_do_not_hold_each_other_up(any_place):
    first = any_place.tablet("thickness").reading("0")
    second = Tablet(any_place.car_id, "another").begin("visual").outcome("visual")
    results = any_place.send(*first.entries, *second.entries)
    assert [each.state for each in results] == ["stored", "refused", "stored", "stored"]


@pytest.mark.parametrize("given", [None, 7, {}, {"key": "x"}, {"key": key_of("a"), "report": 3}])
def test_what_is_no_entry_is_refused_and_says_why(place, given):
    result = place.send(given)[0]
    assert result.state == "refused"
    assert result.faults


def test_only_who_began_a_report_adds_to_it(place):
    tablet = place.tablet("visual")
    place.send(*tablet.entries)
    other = replace(place.by, person_id=person(place.db, "Ben Nobody").id)
    for each in (tablet.entries[0], tablet.outcome("visual").last):
        result = place.send(each, by=other)[0]
        assert (result.state, result.faults[0].path) == ("refused", "report")


def test_a_correction_names_a_standing_entry_of_its_kind(place):
    tablet = place.tablet("thickness").reading("0.44")
    place.send(*tablet.entries)
    first = tablet.last["key"]
    tablet.reading("0.43")
    tablet.last["replaces"] = first
    assert place.states(tablet.last) == ["stored"]
    for replaces, kind, says in (
        (first, "reading", tablet.last["says"]),  # no longer stands
        (key_of("nothing"), "reading", tablet.last["says"]),
        (tablet.entries[0]["key"], "reading", tablet.last["says"]),
    ):
        result = place.send(tablet.add(kind, says, replaces=replaces).last)[0]
        assert (result.state, result.faults[0].path) == ("refused", "replaces")
        tablet.entries.pop()


def test_a_report_that_is_whole_takes_no_more(place):
    tablet = place.tablet("visual").outcome("visual").sign()
    assert place.states(*tablet.entries)[-1] == "stored"
    result = place.send(tablet.reading("0.44").last)[0]
    assert (result.state, result.faults[0].path) == ("refused", "report")
    assert "correct the event" in result.faults[0].problem


def whole(car_id):
    """Two reports of a dozen entries, one of them signed."""
    first = Tablet(car_id).begin("visual", "thickness")
    for number in range(6):
        first.reading(f"0.44{number}", ring=number)
    first.add("caution", {"caution": "entry"}).outcome("visual").outcome("thickness").sign()
    second = Tablet(car_id, "another").begin("air_brake")
    for number in range(4):
        second.add("step", {"item": "air_brake", "step": f"S{number}", "outcome": "ok"})
    return first.entries + second.entries


@given(data=st.data())
@settings(
    max_examples=12, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
def test_however_sends_are_split_repeated_and_reordered_each_entry_is_stored_once_in_order(
    place, data
):
    place.db.rollback()
    entries = whole(place.car_id)
    places = st.lists(st.integers(0, len(entries) - 1), min_size=1, max_size=30)
    for some in data.draw(st.lists(places, max_size=8)):
        place.send(*(entries[at] for at in some))  # whatever the answers: they may be lost
    for _ in range(len(entries)):
        waiting = [each for each in entries if each["key"] not in {key for _, key in place.kept()}]
        if not waiting:
            break
        place.send(*waiting[:7])
    expected = {(each["report"], each["place"]): each["key"] for each in entries}
    rows = place.db.execute(
        select(Report.key, FieldEntry.place, FieldEntry.key)
        .join(Report, Report.id == FieldEntry.report_id)
        .order_by(FieldEntry.id)
    ).all()
    assert {(report, place): key for report, place, key in rows} == expected
    assert len(rows) == len(entries)
    for report in {row[0] for row in rows}:
        stored = [place for each, place, _ in rows if each == report]
        assert stored == sorted(stored)


def test_the_strokes_of_a_signature_are_kept_and_a_code_is_not(place):
    tablet = place.tablet("visual").outcome("visual").sign(code="123456")
    assert place.states(*tablet.entries)[-1] == "stored"
    row = place.db.scalars(select(FieldEntry).where(FieldEntry.kind == "signed")).one()
    assert "123456" not in row.says
    assert str(STROKES).replace(" ", "") in row.says


@pytest.mark.parametrize(
    ("kind", "state"),
    [
        ("Bottom outlet valve", "stored"),
        ("relief valve", "stored"),
        ("releif valve", "refused"),  # it would be no relief device to the calculator
        ("", "refused"),
    ],
)
def test_what_is_put_on_is_of_a_kind_that_the_register_knows(place, kind, state):
    tablet = place.tablet()
    place.send(*tablet.entries)
    tablet.add("swap", {"position": "bottom", "on": {"kind": kind, "serial": "N-1"}})
    (result,) = place.send(tablet.last)
    assert (result.state, [each.path for each in result.faults]) == (
        state,
        ["says.on.kind"] if state == "refused" else [],
    )


def test_several_readings_ask_the_store_no_more_than_one(place):
    asked = {}
    for number in (1, 5):
        tablet = Tablet(place.car_id, f"report of {number}").begin("visual", "thickness")
        place.send(*tablet.entries)
        begun = len(tablet.entries)
        for ring in range(number):
            tablet.reading("0.438", ring=ring + 1)
        with statements(place.db) as sent:
            assert set(place.states(*tablet.entries[begun:])) == {"stored"}
        asked[number] = [statement for statement, _ in sent if statement.startswith("SELECT")]
    assert len(asked[5]) == len(asked[1])

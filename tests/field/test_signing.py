"""A signed report: the eight fields are there, the due items move, others' work is not written over."""

from datetime import date, timedelta
from decimal import Decimal

import pyotp
import pytest
from sqlalchemy import select

from app.actions import components, events
from app.actions.changes import NewEvent
from app.actions.field import Receiver
from app.core.field.missing import EIGHT
from app.store import components as mounted
from app.store import due, reports
from app.store.change_log import ENTRY
from app.store.tables import EventRow, ReadingRow
from tests.field.entries import SIGNED, Tablet
from tests.field.places import NEW_VALVE, NoSeal, person, placed
from tests.store.cast import NOON, TODAY, stamp


@pytest.fixture
def place(db):
    """A session, a car with a relief valve on it, and somebody who records."""
    return placed(db)


@pytest.fixture
def any_place(any_db):
    """The same on each kind of database."""
    return placed(any_db)


def whole(place) -> Tablet:
    """A day's work: visual, forty readings, the valve swapped, a leakage test, a defect repaired."""
    tablet = place.tablet("visual", "thickness", "relief_device", "leakage")
    for number in range(40):
        tablet.reading(f"0.4{40 + number}", ring=number // 4 + 1, spot=f"{number % 4 * 3} o'clock")
    bench = {
        "found_psig": "74",
        "left_psig": "75",
        "vapor_tight_psig": "65",
        "protected_in_storage": True,
    }
    on = NEW_VALVE | bench | {"tested_on": "2026-11-20"}
    tablet.add("swap", {"off_installation_id": place.valve, "on": on})
    tablet.add("leak_test", {"what": "manway", "medium": "air", "psig": "30", "outcome": "pass"})
    defect = {
        "defect": "gouge",
        "place": "A-end head, left",
        "repaired": True,
        "how_repaired": "ground out",
    }
    tablet.add("defect", defect)
    for item in ("visual", "thickness", "relief_device", "leakage"):
        tablet.outcome(item)
    return tablet.sign()


def dates(place):
    return {row.item: row.due_on for row in due.for_car(place.db, place.car_id, TODAY, 180)}


def recorded(place):
    return [(row.items, row.outcome) for row in place.events()]


def test_a_whole_report_becomes_one_event_and_moves_the_due_items(any_place):
    place, before = any_place, dates(any_place)
    tablet = whole(place)
    assert set(place.states(*tablet.entries)) == {"stored"}
    after = dates(place)
    for item in ("visual", "thickness", "relief_device"):
        assert after[item] > (before[item] or TODAY), item
    assert recorded(place) == [
        ("relief_device_changed", "pass"),
        ("visual;thickness;relief_device;leakage", "pass"),
    ]
    event = place.events()[1]
    assert (event.facility, event.inspector, event.happened_on) == (
        "Invented Tank Car Works", "I. Nobody", TODAY,
    )  # fmt: skip
    readings = place.db.scalars(select(ReadingRow).order_by(ReadingRow.place)).all()
    assert [each.inches for each in readings] == [Decimal(f"0.4{40 + n}") for n in range(40)]
    report = reports.by_key(place.db, [tablet.report])[tablet.report]
    assert [each.id for each in reports.events_of(place.db, report.id)] == [
        each.id for each in place.events()
    ]
    assert event.reference == f"Field report {report.id}"
    for told in (
        "Leak test of manway with air: passed, 30 psig",
        "Gouge, A-end head, left; repaired: ground out",
    ):
        assert told in event.notes


def test_the_valve_that_was_put_on_carries_its_bench_values_and_owes_no_leakage_test(any_place):
    place = any_place
    place.send(*whole(place).entries)
    there = mounted.on_car(place.db, place.car_id, TODAY)
    assert [each.component.serial for each in there] == ["RV-9"]
    new = there[0].installation
    assert (new.found_psig, new.left_psig, new.vapor_tight_psig, new.tested_on) == (
        Decimal(74), Decimal(75), Decimal(65), date(2026, 11, 20),
    )  # fmt: skip
    leakage = next(
        each for each in due.for_car(place.db, place.car_id, TODAY, 180) if each.item == "leakage"
    )
    assert leakage.state != "owed"  # tested on the day of the change, and after it


def test_the_signature_names_its_entry_in_the_record_of_change(place):
    place.send(*whole(place).entries)
    place.db.commit()
    deeds = place.db.scalars(select(ENTRY.c.deed).order_by(ENTRY.c.id)).all()
    assert deeds[-1] == "report.signed"


def test_sending_all_again_records_nothing_twice(place):
    tablet = whole(place)
    place.send(*tablet.entries)
    assert set(place.states(*tablet.entries)) == {"known"}
    assert len(place.events()) == 2


def test_what_failed_is_an_event_of_its_own_and_what_was_not_done_is_none(place):
    tablet = place.tablet("visual", "thickness", "air_brake")
    tablet.reading("0.30").outcome("visual").outcome("thickness", "fail", words="thin all over")
    tablet.outcome("air_brake", "not_done", words="no air here").sign()
    assert set(place.states(*tablet.entries)) == {"stored"}
    assert recorded(place) == [("visual", "pass"), ("thickness", "fail")]
    measured = place.db.scalars(select(ReadingRow)).one()
    assert measured.event_id == place.events()[1].id
    assert place.events()[1].notes == "Thickness: thin all over"


def test_readings_beside_another_inspection_are_spot_checks_of_it(place):
    tablet = place.tablet("visual").reading("0.44").outcome("visual").sign()
    place.send(*tablet.entries)
    assert recorded(place) == [("visual", "pass")]
    assert place.db.scalars(select(ReadingRow)).one().event_id == place.events()[0].id


def test_corrections_and_what_was_taken_back_leave_only_what_stands(place):
    tablet = place.tablet("thickness").reading("0.44").reading("0.40").outcome("thickness", "fail")
    keys = [each["key"] for each in tablet.entries]
    tablet.add("reading", {"zone": "shell_bottom", "inches": "0.43"}, replaces=keys[1])
    tablet.add("withdrawn", {"entry": keys[2], "why": "read on the wrong spot"})
    tablet.add("outcome", {"item": "thickness", "outcome": "pass"}, replaces=keys[3])
    tablet.sign()
    assert set(place.states(*tablet.entries)) == {"stored"}
    assert recorded(place) == [("thickness", "pass")]
    assert [each.inches for each in place.db.scalars(select(ReadingRow))] == [Decimal("0.43")]


def bench(place, outcome="pass", **says):
    says = {"found_psig": "76", "left_psig": "75", "vapor_tight_psig": "66"} | says
    return {"installation_id": place.valve, "outcome": outcome} | says


def test_a_bench_test_of_a_valve_that_stays_qualifies_it_and_its_values_stand_in_the_event(
    any_place,
):
    place, before = any_place, dates(any_place)
    tablet = place.tablet("relief_device").add("bench_test", bench(place, words="new seat")).sign()
    assert set(place.states(*tablet.entries)) == {"stored"}
    assert recorded(place) == [("relief_device", "pass")]
    assert place.events()[0].notes == (
        f"Bench test of installation {place.valve}: "
        f"passed, found 76 psig, left 75 psig, vapor tight to 66 psig. new seat"
    )
    assert before["relief_device"] is None
    assert dates(place)["relief_device"] == date(2036, 11, 25)


# What is left out of a whole report, and where it lacks: 49 CFR 180.517(b).
LACKING = [
    (lambda t: t.outcome("visual").sign(), {"facility": ""}, ["begun.facility"]),
    (lambda t: t.outcome("visual").sign(), {"facility_address": ""}, ["begun.facility_address"]),
    (lambda t: t.outcome("visual").sign(), {"station_code": ""}, ["begun.station_code"]),
    (lambda t: t.sign(), {}, ["outcome", "outcome.visual"]),
    (lambda t: t.outcome("visual", "not_done").sign(), {}, ["outcome", "outcome.visual"]),
    (lambda t: t.outcome("visual").add("step", {"item": "lining", "step": "a", "outcome": "ok"}).sign(),
     {}, ["outcome.lining"]),
    (lambda t: t.outcome("visual").add("defect", {"defect": "dent", "repaired": True}).sign(), {},
     ["defect", "defect"]),
    (lambda t: t.outcome("visual").add(
        "photograph", {"digest": "0" * 64, "bytes": 9, "type": "image/png"}).sign(),
     {}, ["photographs"]),
]  # fmt: skip


@pytest.mark.parametrize(("filled", "begun", "paths"), LACKING)
def test_a_report_is_signed_only_when_nothing_lacks(place, filled, begun, paths):
    tablet = filled(Tablet(place.car_id).begin("visual", **begun))
    result = place.send(*tablet.entries)[-1]
    assert result.state == "refused"
    found = [each.path for each in result.faults]
    assert [path.split(".")[0] if path.startswith("defect") else path for path in found] == paths
    assert place.events() == []


def test_what_lacked_is_filled_in_by_a_correction_and_then_it_is_signed(place):
    tablet = Tablet(place.car_id).begin("visual", station_code="").outcome("visual").sign()
    assert place.states(*tablet.entries)[-1] == "refused"
    begun = tablet.entries[0]
    tablet.instead("begun", begun["says"] | {"station_code": "ZQ07"}, replaces=begun["key"])
    assert place.states(*tablet.sign().entries[-2:]) == ["stored", "stored"]


def test_the_eight_fields_are_those_of_the_rule():
    assert len(EIGHT) == 8


@pytest.mark.parametrize(
    ("entries", "why"),
    [
        (lambda place: [("bench_test", bench(place, "fail")),
                        ("outcome", {"item": "relief_device", "outcome": "pass"})],
         "failed its bench test"),
        (lambda place: [("swap", {"position": "A end", "on": NEW_VALVE}), ("bench_test", bench(place))], ""),
        (lambda place: [("bench_test", bench(place, "fail")),
                        ("swap", {"off_installation_id": place.valve, "on": NEW_VALVE}),
                        ("outcome", {"item": "relief_device", "outcome": "pass"})], ""),
    ],
)  # fmt: skip
def test_a_pass_of_the_relief_device_is_of_every_device_on_the_car(place, entries, why):
    tablet = place.tablet("relief_device")
    for kind, says in entries(place):
        tablet.add(kind, says)
    result = place.send(*tablet.sign().entries)[-1]
    assert (result.state == "refused") == bool(why)
    assert not why or why in result.faults[0].problem


def test_a_pass_of_some_devices_is_refused_while_one_is_untested(place):
    components.install(place.db, place.car_id, place.second_valve(), stamp())
    tablet = (
        place.tablet("relief_device")
        .add("bench_test", bench(place))
        .outcome("relief_device")
        .sign()
    )
    result = place.send(*tablet.entries)[-1]
    assert result.state == "refused"
    assert "RV-2 was neither tested nor replaced" in result.faults[0].problem


# What others recorded meanwhile ----------------------------------------------------------------------------------


def others(place, minutes=30, **over):
    event = NewEvent(date(2026, 11, 24), ("visual", "thickness"), facility="Made-up Shop One")
    return events.record_event(place.db, place.car_id, event, stamp(minutes, by="Ben Nobody"))


def conflicting(place, taken_at="2026-11-25T08:00:00+00:00"):
    return Tablet(place.car_id).begin("visual", taken_at=taken_at).outcome("visual").sign()


def test_what_others_recorded_since_the_work_was_taken_along_is_shown_and_a_person_decides(
    any_place,
):
    place, other = any_place, others(any_place)
    tablet = conflicting(place)
    result = place.send(*tablet.entries)[-1]
    assert result.state == "conflict"
    assert [(each.item, each.event_id, each.recorded_by) for each in result.others] == [
        ("visual", other.id, "Ben Nobody")
    ]
    assert len(place.events()) == 1
    tablet.instead("resolved", {"item": "visual", "other": other.id, "keep": "both"}).sign()
    assert place.states(*tablet.entries[-2:]) == ["stored", "stored"]
    assert recorded(place) == [("visual;thickness", "pass"), ("visual", "pass")]


def test_where_theirs_counts_the_item_is_not_recorded_again(any_place):
    place, other = any_place, others(any_place)
    tablet = conflicting(place)
    place.send(*tablet.entries)
    tablet.instead("resolved", {"item": "visual", "other": other.id, "keep": "theirs"}).sign()
    assert place.states(*tablet.entries[-2:]) == ["stored", "stored"]
    assert recorded(place) == [("visual;thickness", "pass")]


@pytest.mark.parametrize(
    ("taken_at", "expected"),
    [
        ("2026-11-25T12:29:00+00:00", "conflict"),
        ("2026-11-25T12:30:00+00:00", "stored"),  # it was in the pack
        (None, "conflict"),  # begun at nine, by the tablet
        ("2027-01-01T00:00:00+00:00", "stored"),
    ],
)
def test_what_the_pack_told_of_already_is_no_conflict(place, taken_at, expected):
    others(place)
    assert place.states(*conflicting(place, taken_at).entries)[-1] == expected


def test_what_was_recorded_after_the_report_began_to_come_in_is_one_whatever_the_tablet_s_clock_says(
    place,
):
    tablet = conflicting(place, "2027-01-01T00:00:00+00:00")
    place.send(*tablet.entries[:-1])
    others(place, minutes=90)
    assert place.states(tablet.last) == ["conflict"]


def test_what_others_withdrew_again_stands_for_nothing(place):
    other = others(place)
    tablet = conflicting(place)
    place.send(*tablet.entries)
    tablet.instead("resolved", {"item": "visual", "other": other.id, "keep": "theirs"})
    assert place.states(tablet.last) == ["stored"]
    events.withdraw_event(place.db, other.id, "never was", stamp(70))
    assert place.states(tablet.sign().last) == ["stored"]
    assert recorded(place) == [("visual;thickness", "pass"), ("visual", "pass")]


def with_the_very_same(place, outcome):
    """Somebody recorded an inspection of this day at this facility; the report is sent, and both are to be kept."""
    event = NewEvent(TODAY, ("visual",), outcome, facility="Invented Tank Car Works")
    other = events.record_event(place.db, place.car_id, event, stamp(30))
    tablet = conflicting(place)
    place.send(*tablet.entries)
    tablet.instead("resolved", {"item": "visual", "other": other.id, "keep": "both"}).sign()
    return other, tablet


def test_the_very_same_event_of_another_is_not_recorded_twice_and_the_report_tells_of_it(place):
    other, tablet = with_the_very_same(place, "pass")
    assert place.states(*tablet.entries[-2:]) == ["stored", "stored"]
    assert recorded(place) == [("visual", "pass")]
    report = reports.by_key(place.db, [tablet.report])[tablet.report]
    assert [each.id for each in reports.events_of(place.db, report.id)] == [other.id]


def test_one_that_says_otherwise_is_told_and_a_person_says_what_is_to_be(place):
    _, tablet = with_the_very_same(place, "fail")
    results = place.send(*tablet.entries[-2:])
    assert [each.state for each in results] == ["stored", "refused"]
    assert "already recorded" in results[1].faults[0].problem
    outcome = tablet.entries[1]["key"]
    not_done = {"item": "visual", "outcome": "not_done", "words": "they recorded it"}
    tablet.instead("outcome", not_done, replaces=outcome).add(
        "leak_test", {"what": "manway", "outcome": "pass"}
    ).outcome("leakage").sign()
    assert set(place.states(*tablet.entries[-4:])) == {"stored"}


# Signatures --------------------------------------------------------------------------------------------------------

SECRET = "JBSWY3DPEHPK3PXPJBSWY3DPEHPK3PXP"


def typed(place, code, secret=SECRET, at=NOON):
    somebody = person(place.db, "Cal Nobody")
    somebody.code_secret = secret
    place.by = Receiver(somebody.id, stamp(60), NoSeal())
    tablet = place.tablet("visual").outcome("visual")
    return tablet.add("signed", SIGNED | {"method": "typed", "strokes": None, "code": code})


def code_at(minutes):
    return pyotp.TOTP(SECRET).at(NOON + timedelta(minutes=minutes))


@pytest.mark.parametrize(
    ("code", "secret", "expected"),
    [
        (code_at(60), SECRET, "stored"),
        (code_at(30), SECRET, "refused"),  # of when it was typed without a connection
        ("000000", SECRET, "refused"),
        (code_at(60), None, "refused"),  # no codes are set up
    ],
)
def test_a_typed_signature_needs_the_person_s_own_code_of_this_moment(
    place, code, secret, expected
):
    result = place.send(*typed(place, code, secret).entries)[-1]
    assert result.state == expected
    assert [each.path for each in result.faults] == (["says.code"] if expected == "refused" else [])


def test_wrong_codes_slow_down_those_after_them_also_when_nothing_else_is_stored(place):
    tablet = typed(place, "000000")
    place.send(*tablet.entries)
    for _ in range(5):
        place.send(tablet.mend())
    result = place.send(tablet.mend(code=code_at(60)))[0]
    assert result.state == "refused"
    assert "wait" in result.faults[0].problem


def test_a_code_is_not_spent_on_a_report_that_lacks_something(place):
    tablet = typed(place, code_at(60))
    tablet.entries.insert(1, tablet.entries.pop(1))
    begun = tablet.entries[0]["says"]
    station, begun["station_code"] = begun["station_code"], ""
    assert place.states(*tablet.entries)[-1] == "refused"
    tablet.instead("begun", begun | {"station_code": station}, replaces=tablet.entries[0]["key"])
    tablet.add("signed", SIGNED | {"method": "typed", "strokes": None, "code": code_at(60)})
    assert place.states(*tablet.entries[-2:]) == ["stored", "stored"]


def test_events_of_a_report_are_corrected_as_any(place):
    place.send(*conflicting(place).entries)
    event = place.events()[0]
    new = NewEvent(TODAY, ("visual",), facility="Invented Tank Car Works", inspector="J. Nobody")
    events.correct_event(place.db, event.id, new, stamp(120))
    counting = place.db.scalars(select(EventRow).where(EventRow.superseded_at.is_(None))).one()
    assert (counting.inspector, counting.corrects) == ("J. Nobody", event.id)

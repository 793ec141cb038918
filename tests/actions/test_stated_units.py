"""Readings and pressures in millimetres and kilopascals: kept as they were said, judged exactly, on both engines.

Lines: 49 CFR 180.509(g), 2019 edition: the shell bottom of a non-pressure car may lose 1/16 in, half of it to line C.
"""

from datetime import date
from decimal import Decimal
from fractions import Fraction
from hashlib import sha256

import pytest
from sqlalchemy import select, text
from sqlalchemy.exc import DatabaseError

from app.actions import components, due, events, evidence_record, fleet_due, rulebooks
from app.actions.changes import CarDetails, NewEvent, NewReading, NewService
from app.core.facts import SHELL_AND_HEAD_ZONES, Settings
from app.core.measure import Stated, exact, read
from app.errors import Refused
from app.rules.reader import default_rulebook
from app.store import digests, facts, handing_over, wear
from app.store import due as due_items
from app.store.columns import table_of
from app.store.tables import EventRow, Installation, ReadingRow
from tests.actions.importing import bring_in, car, rows
from tests.actions.importing import stamp as on_day
from tests.store.cast import TODAY, add_car, relief_valve, stamp

THICK = Decimal("0.6")
ACID = NewService("Invented acid", corrosive_or_reactive=True)
# B less 1/32 is line C: 0.437007 is at it, 11.1 mm (0.43700787... in) lies a hair above.
B = Decimal("0.468257")
DETAILS = CarDetails(
    "DOT 111A100W1", built_on=date(2015, 6, 1), required_shell_bottom_in=B,
    required_shell_top_in=THICK / 2, required_head_a_in=THICK / 2, required_head_b_in=THICK / 2,
)  # fmt: skip


def measured_at_bottom(db, said: str, number: int = 1) -> int:
    """A car in acid of which all is thick but the bottom, which reads as said. Gives its key."""
    there = add_car(db, number, details=DETAILS, service=ACID)
    thick = [NewReading(zone, THICK) for zone in SHELL_AND_HEAD_ZONES if zone != "shell_bottom"]
    event = NewEvent(
        date(2026, 3, 1), ("thickness",), readings=(NewReading("shell_bottom", read(said)), *thick)
    )
    events.record_event(db, there.id, event, stamp())
    return there.id


def thickness(db, car_id: int):
    """When the thickness falls due, and after how many months."""
    row = next(row for row in due_items.for_car(db, car_id, TODAY, 180) if row.item == "thickness")
    return row.due_on, row.interval_months


def verdict(db, car_id: int) -> str:
    answer = facts.load(db, [car_id], TODAY)[car_id].whole_answer(TODAY, default_rulebook()).answer
    return next(zone.verdict for zone in answer.thickness if zone.zone == "shell_bottom")


STANDS = (
    ("0.437007", "at_or_below_c", 60),
    ("11.1 mm", "above_c", 120),  # its sixth place alone would say at line C
    ("0.437008", "above_c", 120),
    ("11.0999 mm", "at_or_below_c", 60),
    ("12.7 mm", "above_c", 120),
)


def test_a_reading_stands_to_its_line_as_its_exact_fraction_does(any_db, monkeypatch):
    keys = [measured_at_bottom(any_db, said, at) for at, (said, *_) in enumerate(STANDS, 1)]
    line = Fraction(B) - Fraction(1, 32)
    for key, (said, stands, months) in zip(keys, STANDS, strict=True):
        assert (exact(read(said)) > line) == (stands == "above_c")
        assert (verdict(any_db, key), thickness(any_db, key)[1]) == (stands, months)
    one_by_one = [thickness(any_db, key) for key in keys]
    monkeypatch.setattr(due, "FEW", 0)
    any_db.execute(text("DELETE FROM due"))
    due.refresh(any_db, keys, TODAY)
    assert [thickness(any_db, key) for key in keys] == one_by_one


def test_columns_leave_a_car_to_the_reference_only_where_the_rest_decides(any_db):
    said = ("11.1 mm", "11.2 mm", "0.437007")
    keys = [measured_at_bottom(any_db, each, number) for number, each in enumerate(said, 1)]
    programme = rulebooks.in_force(any_db)
    assert fleet_due.rebuild(any_db, keys, TODAY, programme, Settings()) == keys[:1]


def test_what_was_typed_in_millimetres_is_kept_as_it_was_said(any_db):
    car_id = measured_at_bottom(any_db, "11.1 mm")
    row = any_db.scalars(select(ReadingRow).where(ReadingRow.zone == "shell_bottom")).one()
    any_db.refresh(row)
    assert (row.stated, row.inches) == ("inches=11.1 mm", Decimal("0.437007"))
    assert str(row.as_stated("inches")) == "11.1 mm"
    event = any_db.get(EventRow, row.event_id)
    events.withdraw_event(any_db, event.id, "Another car.", stamp(1))
    again = events.bring_back_event(any_db, event.id, stamp(2))
    brought = any_db.get(ReadingRow, (again.id, row.place))
    assert (brought.stated, brought.inches, verdict(any_db, car_id)) == (
        row.stated,
        row.inches,
        "above_c",
    )


def test_a_stated_measure_on_record_is_not_changed(any_db):
    measured_at_bottom(any_db, "11.1 mm")
    for table in ("reading", "installation"):
        components.install(any_db, add_car(any_db, len(table)).id, relief_valve(table), stamp())
        with pytest.raises(DatabaseError), any_db.begin_nested():
            any_db.execute(text(f"UPDATE {table} SET stated = 'inches=12 mm'"))


VALVE = {"set_psig": Decimal(75), "tested_on": date(2026, 3, 1)}


# 49 CFR 179.15(b): within 3 psi of a setting up to 100 psi, so up to 78 psig, which is 537.791068867... kPa.
WITHIN, OUTSIDE = (
    ("537.79 kPa", "537.791068 kPa"),
    "537.791069 kPa",
)  # the sixth place of psi alone says 78


def test_a_pressure_is_held_to_its_tolerance_as_its_exact_fraction_is(db):
    for number, left in enumerate(WITHIN, 1):
        new = relief_valve(f"RV-{number}", left_psig=read(left), **VALVE)
        row = components.install(db, add_car(db, number).id, new, stamp())
        assert str(row.as_stated("left_psig")) == left
    outside, there = relief_valve("RV-9", left_psig=read(OUTSIDE), **VALVE), add_car(db, 9)
    with pytest.raises(Refused, match="confirm it"):
        components.install(db, there.id, outside, stamp())


def test_a_setting_in_kilopascals_crosses_into_the_calculator_exactly(db):
    there = add_car(db)
    components.install(
        db,
        there.id,
        relief_valve(set_psig=read("517 kPa"), found_psig=read("540 kPa")),
        stamp(),
    )
    device = facts.load(db, [there.id], TODAY)[there.id].relief_devices[0].device
    assert device.set_psig == exact(Stated(Decimal(517), "kPa"))
    (found,) = wear.benched(db, wear.WearFilter(), TODAY)
    assert found.pressures == {"set_psig": read("517 kPa"), "found_psig": read("540 kPa")}


FILE = "mark,number,kind,position,serial,maker{more}\nZQKX,1,relief_valve,top,RV-1,Orlo{value}\n"
CARS = "mark,number,specification\nZQKX,1,DOT 111A100W1\n"


def test_a_file_that_adds_a_maker_leaves_what_was_said_as_it_was(db):
    bring_in(db, "cars", CARS)
    said = {"set_psig": read("517 kPa"), "left_psig": read("520 kPa")}
    valve = relief_valve("RV-1", confirmed=True, **said)
    components.install(db, car(db).id, valve, on_day())
    # The second row is one of the register's own file, where the pressure stands rounded down.
    for days, more, value in ((1, "", ""), (2, ",set_psig,model", ",74.98451,R3")):
        bring_in(db, "components", FILE.format(more=more, value=value), days=days)
        held = rows(db, Installation)[-1]
        assert held.stated == "set_psig=517 kPa; left_psig=520 kPa"
        assert held.set_psig == Decimal("74.98451")


def test_the_digest_of_what_a_file_brought_is_what_it_was_before_units_could_differ(any_db):
    run = bring_in(any_db, "cars", CARS)
    bring_in(any_db, "components", FILE.format(more=",set_psig", value=",75"))
    told = digests.brought(any_db, run.id + 1, rows(any_db, Installation)[0].recorded_at)[
        "installation"
    ]
    row = rows(any_db, Installation)[0]
    names = [
        each.name
        for each in table_of(Installation).columns
        if each.name not in ("superseded_at", "stated")
    ]
    written = any_db.execute(
        digests._brought(any_db, table_of(Installation), run.id + 1, row.recorded_at)
    ).one()
    before = repr(tuple(written)[: len(names)]).encode() + b"\n"
    assert told == {"rows": 1, "sha256": sha256(before).hexdigest()}


def test_a_hand_over_written_before_units_could_differ_is_still_read():
    told = dict.fromkeys(
        name for name, _ in handing_over.kinds(table_of(ReadingRow)) if name != "stated"
    )
    assert handing_over.read_back(table_of(ReadingRow), told)["stated"] is None


@pytest.mark.parametrize(
    "stated", ["inches=11.2 mm", "inches=0.437007", "inches", "thickness=11.1 mm", "wide"]
)
def test_a_hand_over_that_states_what_it_does_not_keep_is_refused(stated):
    names = (name for name, _ in handing_over.kinds(table_of(ReadingRow)))
    told = dict.fromkeys(names) | {"inches": "0.437007"}
    assert handing_over.read_back(table_of(ReadingRow), told | {"stated": "inches=11.1 mm"})
    with pytest.raises(ValueError, match=r"is not|no measure|no other unit"):
        handing_over.read_back(table_of(ReadingRow), told | {"stated": stated})


def test_a_packet_tells_what_was_said_and_never_more_of_it(db):
    measured_at_bottom(db, "11.1 mm")
    row = db.scalars(select(ReadingRow).where(ReadingRow.zone == "shell_bottom")).one()
    assert evidence_record._figure(row, "inches") == "0.437007"
    assert evidence_record._reading_in_words(row) == "shell bottom 11.1 mm"

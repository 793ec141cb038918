"""Files of events and ladings: known by what they are known by, repeated or contradicted, or refused."""

import io
from datetime import date
from decimal import Decimal

import pytest
from openpyxl import Workbook
from sqlalchemy.orm import Session

from app.actions import cars, imports
from app.actions import events as changing
from app.actions.changes import NewEvent, NewName
from app.files import sheets
from app.store import due
from app.store.tables import EventRow, Lading, ReadingRow
from tests.actions.importing import (
    CARS,
    bring_in,
    car,
    counts,
    everything,
    faults,
    look,
    rows,
    stamp,
)

HEAD = "mark,number,on,items,outcome,facility,inspector,readings,reference,notes\n"
ONE = HEAD + (
    "ZQKX,1,2018-03-15,visual;thickness,pass,Example Shop,Ivo Example,"
    "shell_bottom=0.406;head_b=0.441 local 6/20,R-1,all well\n"
)


def event(cells: str, columns: str = "on,items") -> str:
    return f"mark,number,{columns}\nZQKX,1,{cells}\n"


def test_events_come_with_their_readings_and_move_the_dates(any_db: Session) -> None:
    bring_in(any_db, "cars", CARS)
    assert counts(bring_in(any_db, "events", ONE)) == (1, 0, 0)
    (stored,) = rows(any_db, EventRow)
    assert (stored.happened_on, stored.month_only, stored.items, stored.outcome) == (
        date(2018, 3, 15), False, "visual;thickness", "pass",
    )  # fmt: skip
    assert (stored.facility, stored.inspector, stored.reference, stored.notes) == (
        "Example Shop", "Ivo Example", "R-1", "all well",
    )  # fmt: skip
    first, second = sorted(
        any_db.query(ReadingRow).filter_by(event_id=stored.id), key=lambda each: each.place
    )
    assert (first.zone, first.inches, first.extent) == ("shell_bottom", Decimal("0.406"), "general")
    assert (second.zone, second.extent, second.span_in, second.apart_in) == (
        "head_b", "local", Decimal(6), Decimal(20),
    )  # fmt: skip
    # 49 CFR 180.509(c)(3), 2019 edition: a visual inspection at least every ten years
    items = {row.item: row for row in due.for_car(any_db, car(any_db).id, date(2026, 11, 25))}
    assert items["visual"].due_on == date(2028, 3, 15)


def test_the_same_events_again_add_nothing(any_db: Session) -> None:
    bring_in(any_db, "cars", CARS)
    bring_in(any_db, "events", ONE)
    before = everything(any_db)
    assert counts(bring_in(any_db, "events", ONE, days=3)) == (0, 0, 1)
    assert everything(any_db) == before


REPEATS: list[str] = [
    # said with less: columns that are absent and cells that are empty say nothing
    HEAD + "ZQKX,1,2018-03-15,visual;thickness,,Example Shop,,,,\n",
    # said in another way
    HEAD + "zqkx,0001,15/3/2018,Thickness, pass ,Example Shop,Ivo Example,,R-1,all well\n".replace(
        "Thickness, pass ", '"Thickness, Visual",PASS'
    ),
    HEAD + "ZQKX,1,2018-03-15,visual;thickness,pass,Example Shop,,head_b=0.4410 local 6/20; shell bottom=0.406,,\n",
]  # fmt: skip


@pytest.mark.parametrize("content", REPEATS)
def test_a_row_that_says_what_is_stored_is_counted_as_repeated(
    any_db: Session, content: str
) -> None:
    bring_in(any_db, "cars", CARS)
    bring_in(any_db, "events", ONE)
    assert counts(look(any_db, "events", content)) == (0, 0, 1)


CONTRADICTIONS: list[tuple[str, str]] = [
    ("outcome", HEAD + "ZQKX,1,2018-03-15,visual;thickness,fail,Example Shop,,,,\n"),
    ("inspector", HEAD + "ZQKX,1,2018-03-15,visual;thickness,,Example Shop,Another,,,\n"),
    ("readings", HEAD + "ZQKX,1,2018-03-15,visual;thickness,,Example Shop,,shell_bottom=0.407,,\n"),
    ("reference", HEAD + "ZQKX,1,2018-03-15,visual;thickness,,Example Shop,,,R-2,\n"),
]


@pytest.mark.parametrize(("column", "content"), CONTRADICTIONS)
def test_a_row_that_contradicts_a_stored_event_asks_for_a_correction(
    any_db: Session, column: str, content: str
) -> None:
    bring_in(any_db, "cars", CARS)
    bring_in(any_db, "events", ONE)
    (fault,) = faults(any_db, "events", content)
    assert fault.startswith(f"row 2, {column}: found ")
    assert fault.endswith("as is stored of this event, or record a correction on the car's page")


def test_a_stored_failure_is_not_repeated_by_a_row_that_names_no_outcome(any_db: Session) -> None:
    bring_in(any_db, "cars", CARS)
    bring_in(any_db, "events", event("2018-03-15,visual,fail", "on,items,outcome"))
    (fault,) = faults(any_db, "events", event("2018-03-15,visual"))
    assert fault.startswith("row 2, outcome: found 'pass'; want 'fail', as is stored")


@pytest.mark.parametrize("how", ["corrected", "withdrawn"])
def test_a_row_that_somebody_corrected_since_stays_as_it_is_now(any_db: Session, how: str) -> None:
    bring_in(any_db, "cars", CARS)
    bring_in(any_db, "events", ONE)
    (stored,) = rows(any_db, EventRow)
    if how == "corrected":
        now = NewEvent(date(2018, 3, 16), ("visual", "thickness"), facility="Example Shop")
        changing.correct_event(any_db, stored.id, now, stamp())
    else:
        changing.withdraw_event(any_db, stored.id, "another car was meant", stamp())
    any_db.commit()
    preview = look(any_db, "events", ONE)
    assert counts(preview) == (0, 0, 1)
    (remark,) = preview.remarks
    assert remark.startswith("Rows that somebody corrected or withdrew since they were brought in")
    assert remark.endswith("stay as they are now: 1.")


FAULTS: list[tuple[str, str]] = [
    (
        "mark,number,on,items\nZQKX,99,2018-03-15,visual\n",
        "row 2, number: found 'ZQKX 99'; want a car that is in the register; bring in the file of cars",
    ),
    (event("2026-11-26,visual"), "row 2, on: found '2026-11-26'; want a day not after today, 2026-11-25"),
    (event("1998-04-19,visual"), "row 2, on: found '1998-04-19'; want a day not before 1998-04-20, when"),
    (event("1998-03,visual"), "row 2, on: found '1998-03-01'; want a day not before 1998-04-20"),
    (event("1/2/2019,visual"), "row 2, on: found '1/2/2019'; want a date as YYYY-MM-DD, or a month"),
    (
        event("2018-03,visual,fail", "on,items,outcome"),
        "row 2, on: found '2018-03'; want the day, YYYY-MM-DD, of a failed inspection",
    ),
    (
        event("2018-03,lining_removed"),
        "row 2, on: found '2018-03'; want the day, YYYY-MM-DD, of lining_removed",
    ),
    (
        event("2018-03-15,damage,fail", "on,items,outcome"),
        "row 2, outcome: found 'fail'; want no outcome, since damage is a change",
    ),
    (event("2018-03-15,age_limit"), "row 2, items: found 'age_limit'"),
    (
        event("2018-03-15,thickness,shell_bottom=4.37", "on,items,readings"),
        "row 2, readings: found '4.37'; want a thickness below 2 in. Was 0.437 meant?",
    ),
    (
        HEAD + "ZQKX,1,2018-03-15,visual,pass,S,,,,\nZQKX,1,2018-03-15,visual,fail,S,,,,\n",
        "row 3: found 'ZQKX 1'; want one row for each car, day, items and facility; row 2 says otherwise of it",
    ),
]  # fmt: skip


@pytest.mark.parametrize(("content", "fault"), FAULTS)
def test_an_event_that_cannot_be_is_a_fault_with_its_place(
    db: Session, content: str, fault: str
) -> None:
    bring_in(db, "cars", CARS)
    (found,) = faults(db, "events", content)
    assert found.startswith(fault)


def test_a_month_counts_as_within_the_month_in_which_the_car_was_built(db: Session) -> None:
    bring_in(db, "cars", CARS)
    assert faults(db, "events", event("1998-04,visual")) == []


def test_a_row_that_stands_there_twice_is_counted_as_repeated(db: Session) -> None:
    bring_in(db, "cars", CARS)
    assert counts(look(db, "events", ONE + ONE.splitlines()[1])) == (1, 0, 1)


def test_a_car_that_was_re_marked_is_named_as_it_is_called_today(db: Session) -> None:
    bring_in(db, "cars", CARS)
    cars.re_mark(db, car(db).id, NewName("ZQAX", 77, from_on=date(2026, 1, 1)), stamp())
    db.commit()
    (fault,) = faults(db, "events", event("2026-03-15,visual"))
    assert fault == "row 2, number: found 'ZQKX 1'; want ZQAX 77, as this car is called today"


def test_every_bad_row_is_told_however_many_there_are(db: Session) -> None:
    content = "mark,number,on,items\n" + "ZQKX,99,2018-03-15,visual\n" * 10_000
    assert len(look(db, "events", content).faults) == 10_000


LADINGS = "name,un,hazard_class,packing_group,corrosive_or_reactive\nExample Acid,1789,8,II,yes\n"


def test_ladings_come_into_the_list_and_are_changed_where_they_stand(any_db: Session) -> None:
    assert counts(bring_in(any_db, "ladings", LADINGS)) == (1, 0, 0)
    assert counts(bring_in(any_db, "ladings", LADINGS)) == (0, 0, 1)
    changed = "Name,UN,Packing group\nEXAMPLE ACID,UN1789,III\nExample Brine,,\n"
    preview = look(any_db, "ladings", changed)
    assert [(each.what, each.was, each.will_be) for each in preview.changes] == [
        ("packing_group", "II", "III")
    ]
    assert counts(bring_in(any_db, "ladings", changed)) == (1, 1, 0)
    acid, brine = rows(any_db, Lading)
    assert (acid.name, acid.un, acid.packing_group, acid.corrosive_or_reactive) == (
        "Example Acid", "UN1789", "III", True,
    )  # fmt: skip
    assert (brine.un, brine.hazardous) == (None, True)


def test_an_error_in_a_workbook_is_a_fault_and_never_a_pass(any_db: Session) -> None:
    bring_in(any_db, "cars", CARS)
    book = Workbook()
    for row in (
        ("mark", "number", "on", "items", "outcome"),
        ("ZQKX", 1, "2018-03-15", "visual", "#N/A"),
        ("ZQKX", 2, "2018-03-15", "visual", "=E2"),
    ):
        book.active.append(row)
    held = io.BytesIO()
    book.save(held)
    preview = imports.preview(any_db, "events", sheets.read("e.xlsx", held.getvalue()), stamp())
    first, second = map(str, preview.faults)
    assert first.startswith("row 2, outcome: found '#N/A'; want a value, or an empty cell")
    assert second == (
        "row 3, outcome: found 'a formula without a stored value'; want its value: open the "
        "workbook, let it calculate and save it"
    )

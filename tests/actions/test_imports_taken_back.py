"""An import taken back: what it brought counts no longer, what it replaced counts again, or why not."""

from collections.abc import Callable
from datetime import date
from typing import Any

import pytest
from sqlalchemy.orm import Session

from app.actions import cars as changing
from app.actions import components, events, imports
from app.actions.changes import (
    NewComponent,
    NewEvent,
    NewInstallation,
    NewService,
)
from app.errors import Conflict
from app.store import facts as crossing
from app.store.tables import Car, EventRow, Installation
from tests.actions.importing import (
    CARS,
    bring_in,
    car,
    counts,
    everything,
    look,
    rows,
    stamp,
    what_is_due,
)

EVENTS = "mark,number,on,items\nZQKX,1,2018-03-15,visual\nZQKX,2,2019-03-15,visual;thickness\n"
VALVES = "mark,number,kind,position,serial,set_psig,tested_on\nZQKX,1,relief_valve,top,RV-1,75,2019-01-01\n"


def take_back(db: Session, import_id: int, days: int = 0) -> None:
    imports.take_back(db, import_id, stamp(days, by="Otto Example"))
    db.commit()


def test_events_taken_back_leave_what_was_due_before(any_db: Session) -> None:
    bring_in(any_db, "cars", CARS)
    before = what_is_due(any_db)
    run = bring_in(any_db, "events", EVENTS)
    assert what_is_due(any_db) != before
    take_back(any_db, run.id)
    assert what_is_due(any_db) == before
    assert rows(any_db, EventRow) == []
    assert any_db.query(EventRow).count() == 2  # nothing is deleted
    assert (run.taken_back_by, run.taken_back_at) == ("Otto Example", stamp().at)


def test_what_was_taken_back_can_be_brought_in_again(any_db: Session) -> None:
    bring_in(any_db, "cars", CARS)
    run = bring_in(any_db, "events", EVENTS)
    after = what_is_due(any_db)
    take_back(any_db, run.id)
    assert counts(bring_in(any_db, "events", EVENTS)) == (2, 0, 0)
    assert what_is_due(any_db) == after


def test_cars_taken_back_leave_the_lists_and_not_the_record(any_db: Session) -> None:
    run = bring_in(any_db, "cars", CARS)
    take_back(any_db, run.id)
    assert what_is_due(any_db) == []
    assert {each.standing for each in any_db.query(Car)} == {"withdrawn"}
    assert counts(bring_in(any_db, "cars", CARS)) == (2, 0, 0)  # their names are free


CHANGED: list[tuple[str, str]] = [
    ("commodity", "commodity,service_from\nZQKX,1,DOT 111A100W1,Example Brine,2020-01-01"),
    ("a conversion", "region\nZQKX,1,DOT 117R100W,south"),
    ("another owner", "owner\nZQKX,1,DOT 111A100W1,Example Bravo"),
    ("a first lining", "lining_applied_on\nZQKX,1,DOT 111A100W1,2019-01-01"),
    ("a stencil", "stencil_marked_on,stencil_due_visual\nZQKX,1,DOT 111A100W1,2020-01-01,2026"),
    ("an approval", "approval_visual_interval_months,approval_visual_stenciled\nZQKX,1,DOT 111A100W1,60,yes"),
    ("more of the device", "relief_device_protected_in_storage\nZQKX,1,DOT 111A100W1,yes"),
    ("another device", "relief_device_installed_on\nZQKX,1,DOT 111A100W1,2024-01-01"),
]  # fmt: skip


@pytest.mark.parametrize(("what", "content"), CHANGED)
def test_a_change_taken_back_lets_the_fact_before_hold_again(
    any_db: Session, what: str, content: str
) -> None:
    device = "relief_device_tested_on,relief_device_installed_on"
    bring_in(
        any_db,
        "cars",
        f"mark,number,specification,built_on,owner,commodity,{device}\n"
        f"ZQKX,1,DOT 111A100W1,2010-01-01,Example Alpha,Acid,2015-01-01,2015-02-01\n",
    )
    before = what_is_due(any_db)
    facts = told_of(any_db)
    run = bring_in(any_db, "cars", "mark,number,specification," + content)
    assert run.changed == 1
    assert (what_is_due(any_db), told_of(any_db)) != (before, facts), what
    take_back(any_db, run.id)
    assert what_is_due(any_db) == before
    assert told_of(any_db) == facts


def told_of(db: Session) -> Any:
    """What the calculator is told of the car."""
    record = crossing.load(db, [car(db).id], stamp().today)[car(db).id]
    devices = [each.device for each in record.relief_devices]
    return record.car, devices, record.events, record.owner_id, record.region


def test_components_taken_back_are_off_and_what_they_completed_is_as_it_was(
    any_db: Session,
) -> None:
    bring_in(any_db, "cars", CARS)
    first = bring_in(any_db, "components", VALVES)
    before, facts = what_is_due(any_db), told_of(any_db)
    more = VALVES.replace("tested_on", "tested_on,installed_on").replace(
        "2019-01-01", "2019-01-01,2019-02-01"
    )
    second = bring_in(any_db, "components", more)
    assert second.changed == 1
    take_back(any_db, second.id)
    assert (what_is_due(any_db), told_of(any_db)) == (before, facts)
    # the row put back belongs to the first import, and goes with it
    take_back(any_db, first.id, days=1)
    assert rows(any_db, Installation) == []


LATER: list[tuple[str, str, Callable[[Session], object]]] = [
    (
        "cars", "an event recorded since",
        lambda db: events.record_event(
            db, car(db).id, NewEvent(date(2020, 1, 1), ("visual",)), stamp()
        ),
    ),
    ("cars", "an event recorded since", lambda db: bring_in(db, "events", EVENTS)),
    (
        "cars", "a component put on since",
        lambda db: components.install(
            db, car(db).id, NewInstallation(NewComponent("gauge"), position="top"), stamp()
        ),
    ),
    (
        "cars", "its service changed since",
        lambda db: changing.put_into_service(
            db, car(db).id, NewService("Example Brine", from_on=date(2020, 1, 1)), stamp()
        ),
    ),
    (
        "events", "an event corrected since",
        lambda db: events.correct_event(
            db, rows(db, EventRow)[0].id, NewEvent(date(2018, 3, 16), ("visual",)), stamp()
        ),
    ),
    (
        "components", "a component taken off since",
        lambda db: components.remove(
            db, rows(db, Installation)[0].id, date(2020, 1, 1), stamp()
        ),
    ),
]  # fmt: skip


@pytest.mark.parametrize(("kind", "what", "change"), LATER)
def test_an_import_on_which_later_records_lean_is_not_taken_back(
    any_db: Session, kind: str, what: str, change: Callable[[Session], object]
) -> None:
    runs = {"cars": bring_in(any_db, "cars", CARS)}
    if kind == "events":
        runs["events"] = bring_in(any_db, "events", EVENTS)
    if kind == "components":
        runs["components"] = bring_in(any_db, "components", VALVES)
    change(any_db)
    any_db.commit()
    before = everything(any_db)
    with pytest.raises(Conflict, match="cannot be taken back: later records lean on it") as refused:
        take_back(any_db, runs[kind].id)
    told = {fault.path: fault.problem for fault in refused.value.faults}
    assert what in told["ZQKX 1"]
    any_db.rollback()
    assert everything(any_db) == before


def test_an_import_is_taken_back_once(any_db: Session) -> None:
    run = bring_in(any_db, "cars", CARS)
    take_back(any_db, run.id)
    with pytest.raises(
        Conflict, match=r"cars\.csv was taken back already, by Otto Example at 2026"
    ):
        take_back(any_db, run.id)


def test_a_list_of_ladings_is_not_taken_back(any_db: Session) -> None:
    run = bring_in(any_db, "ladings", "name\nExample Acid\n")
    with pytest.raises(Conflict, match="list of ladings"):
        take_back(any_db, run.id)


def test_what_was_known_before_it_was_taken_back_can_still_be_asked(any_db: Session) -> None:
    bring_in(any_db, "cars", CARS)
    run = bring_in(any_db, "events", EVENTS, days=1)
    take_back(any_db, run.id, days=5)
    car_id, today = car(any_db).id, stamp(9).today
    then = crossing.load(any_db, [car_id], today, known_at=stamp(3).at)[car_id]
    now = crossing.load(any_db, [car_id], today)[car_id]
    assert (len(then.events), len(now.events)) == (1, 0)


def test_taking_back_one_of_two_files_that_say_the_same_is_told_by_the_counts(
    any_db: Session,
) -> None:
    bring_in(any_db, "cars", CARS)
    first = bring_in(any_db, "events", EVENTS)
    bring_in(any_db, "events", EVENTS)
    take_back(any_db, first.id)
    assert counts(look(any_db, "events", EVENTS)) == (2, 0, 0)

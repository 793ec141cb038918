"""What moved since a day, against the list of then worked out anew by looking back: neither knows of the other."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from app.access import Reach
from app.actions import cars, events, looking_back
from app.actions import due as rebuild
from app.actions.changes import NewEvent, NewStanding
from app.actions.stamp import Stamp
from app.store import due, due_before, mornings
from app.store.asked import Standpoint
from app.store.due import DueFilter
from app.store.names import read_prefix
from app.store.tables import Car
from tests.store.cast import TODAY, add_car, new_car
from tests.store.counting import statements

YESTERDAY = TODAY - timedelta(days=1)
DAYS = 60


def at(day, hour=9):
    return Stamp("Alba Testwell", datetime(day.year, day.month, day.day, hour, tzinfo=UTC), day)


def stands(rows):
    return {(row.car_id, row.item): (row.status, row.due_on) for row in rows}


def now(db, day=TODAY):
    kinds = [DueFilter(day, DAYS), *(DueFilter(day, DAYS, status=each) for each in due.UNDATED)]
    return stands(row for each in kinds for row in due.each(db, each))


def then(db, day):
    """The same as it stood when the day began."""
    midnight = datetime(day.year, day.month, day.day, tzinfo=UTC)
    known = Standpoint(day, midnight - timedelta(microseconds=1))
    kinds = [DueFilter(day, DAYS), *(DueFilter(day, DAYS, status=each) for each in due.UNDATED)]
    found = [row for each in kinds for row in looking_back.due_items(db, known, each).each()]
    return stands(found)


def moved(db, since, day=TODAY):
    return {
        (each.car_id, each.item): ((each.was, each.was_due_on), (each.status, each.due_on))
        for each in due_before.each_moved(db, DueFilter(day, DAYS), since)
    }


IN_VIEW = ("overdue", "due_now", "soon", "unknown")


def stated(stands):
    """What is left of a status and a day when the day on which they are looked at is taken away."""
    status, day = stands
    return ("dated" if status in ("overdue", "soon", "in_date") else status), day


def expected(db, since, day=TODAY):
    """Every difference between the two lists, but what only the passing of days changed."""
    before, after = then(db, since), now(db, day)
    nothing = (None, None)
    found = {}
    for key in before.keys() | after.keys():
        was, is_ = before.get(key, nothing), after.get(key, nothing)
        if stated(was) != stated(is_) and (was[0] in IN_VIEW or is_[0] in IN_VIEW):
            found[key] = (was, is_)
    return found


@pytest.fixture
def fleet(any_db):
    """Five cars of last week; what happened to them since, on which day."""
    week_ago = TODAY - timedelta(days=7)
    made = {
        name: cars.add_car(any_db, new_car(number), at(week_ago)).id
        for number, name in enumerate(("left alone", "inspected", "failed", "stored", "twice"), 1)
    }
    inspected = NewEvent(YESTERDAY, ("visual", "structural_integrity", "safety_systems"))
    events.record_event(any_db, made["inspected"], inspected, at(YESTERDAY))
    failed = NewEvent(TODAY, ("visual",), outcome="fail")
    events.record_event(any_db, made["failed"], failed, at(TODAY))
    cars.change_standing(any_db, made["stored"], NewStanding("stored", "", TODAY), at(TODAY))
    events.record_event(any_db, made["twice"], replace(inspected, items=("visual",)), at(YESTERDAY))
    failed = NewEvent(YESTERDAY, ("visual",), outcome="fail", facility="Made-up Shop One")
    events.record_event(any_db, made["twice"], failed, at(TODAY))
    others = new_car(99, owner="Another Invented Owner", region="south")
    made["new"] = cars.add_car(any_db, others, at(TODAY)).id
    any_db.flush()
    return made


@pytest.mark.parametrize("days", [0, 1, 3, 6, 7, 30])
def test_what_moved_is_the_difference_between_the_list_of_then_and_now(any_db, fleet, days):
    since = TODAY - timedelta(days=days)
    assert expected(any_db, since)  # else the test would hold of nothing
    # A car that is in no list any more has no status, and its day is still told.
    told = {
        key: (was, is_ if is_[0] else (None, None))
        for key, (was, is_) in moved(any_db, since).items()
    }
    assert told == expected(any_db, since)


def test_a_day_that_passed_by_itself_moved_nothing(any_db, fleet):
    later = TODAY + timedelta(days=20)
    assert moved(any_db, TODAY + timedelta(days=1), later) == {}


def test_working_out_the_same_again_moves_nothing(any_db, fleet):
    tomorrow = TODAY + timedelta(days=1)
    rebuild.refresh_all(any_db, tomorrow)
    assert moved(any_db, tomorrow, tomorrow) == {}


def test_many_cars_worked_out_as_columns_keep_what_was_before_as_few_do(any_db, fleet, monkeypatch):
    monkeypatch.setattr(rebuild, "FEW", 1)
    happened = NewEvent(TODAY, ("visual",), outcome="fail")
    events.record_event(any_db, fleet["left alone"], happened, at(TODAY, 11))
    assert (fleet["left alone"], "visual") in moved(any_db, TODAY)
    told = {
        key: (was, is_ if is_[0] else (None, None))
        for key, (was, is_) in moved(any_db, TODAY).items()
    }
    assert told == expected(any_db, TODAY)


def kept_from(db):
    return mornings.beside(db, TODAY).kept_from


def test_what_is_kept_is_forgotten_after_some_weeks(any_db, fleet):
    assert kept_from(any_db) == TODAY - timedelta(days=7)
    due_before.clear_up(any_db, TODAY + due_before.KEPT_FOR)
    assert kept_from(any_db) == TODAY
    assert now(any_db)


def paged(db, seen, since, count, limit=2):
    """What moved page by page, on to the end and back again."""
    there = [due_before.moved(db, seen, since, count, None, limit)]
    while after := there[-1].next_after:
        there.append(due_before.moved(db, seen, since, count, after, limit))
    back = there[-1:]
    while before := back[0].previous:
        back.insert(0, due_before.moved(db, seen, since, count, before, limit))
    rows = [row for each in there for row in each.rows]
    assert [row for each in back for row in each.rows] == rows
    return rows


NARROWED = ({}, {"item": "visual"}, {"region": "south"}, {"search": read_prefix("ZQKX 9")})


@pytest.mark.parametrize("wanted", NARROWED, ids=str)
@pytest.mark.parametrize("days", [0, 1, 30])
def test_much_that_moved_is_found_by_name_as_little_is_by_what_was_written(
    any_db, fleet, days, wanted
):
    seen, since = DueFilter(TODAY, DAYS, **wanted), TODAY - timedelta(days=days)
    every = due_before.each_moved(any_db, seen, since)
    assert paged(any_db, seen, since, 1) == every
    assert paged(any_db, seen, since, due_before.MANY) == every
    assert due_before.count_moved(any_db, seen, since, 1_000) == len(every)


def test_who_reaches_some_cars_finds_of_much_what_moved_of_these(any_db, fleet):
    owner = any_db.get_one(Car, fleet["new"]).owner_id
    everywhere, theirs = DueFilter(TODAY, DAYS), DueFilter(TODAY, DAYS, owner_id=owner)
    told = paged(any_db, theirs, YESTERDAY, due_before.MANY)
    assert {row.car_id for row in told} == {fleet["new"]}
    any_db.info["reach"] = Reach(frozenset((owner,)))
    for count in (1, due_before.MANY):
        assert paged(any_db, everywhere, YESTERDAY, count) == told
    assert due_before.each_moved(any_db, everywhere, YESTERDAY) == told


def test_where_nothing_moved_nothing_is_looked_for(any_db):
    with statements(any_db) as sent:
        assert due_before.moved(any_db, DueFilter(TODAY, DAYS), TODAY, 0).rows == ()
    assert sent == []


def test_a_count_stops_where_it_is_told_to(any_db, fleet):
    add_car(any_db, 50)
    whole = len(moved(any_db, YESTERDAY))
    assert due_before.count_moved(any_db, DueFilter(TODAY, DAYS), YESTERDAY, 1_000) == whole
    assert due_before.count_moved(any_db, DueFilter(TODAY, DAYS), YESTERDAY, 2) == 2

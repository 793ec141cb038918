"""Letting reports go: only what need be kept no longer, past triggers that refuse all else, and recorded."""

from datetime import date

import pytest
from sqlalchemy import text
from sqlalchemy.exc import IntegrityError

from app.actions import cars, events, retention
from app.actions.changes import NewEvent, NewStanding
from app.errors import NotFound, Refused
from app.store import proof, proof_rows
from app.store.changes import Change
from app.store.db import read_session, sessions, write_session
from app.store.tables import EventRow, ReadingRow
from tests.actions.importing import bring_in
from tests.store.cast import SHOP, TODAY, add_car, stamp, visual

OLD, NEW = date(2016, 3, 4), date(2026, 2, 3)
FILE = (
    "mark,number,on,items,facility,inspector,readings\n"
    "ZQKX,1045,2016-03-04,thickness,Shop,I. Nobody,shell_top=0.45\n"
    "ZQKX,1045,2026-02-03,thickness,Shop,I. Nobody,shell_top=0.44\n"
)


@pytest.fixture
def factory(any_engine):
    """An old and a new visual inspection of one car, and two thickness tests that came with a file."""
    factory = sessions(any_engine)
    with write_session(factory) as db:
        car = add_car(db)
        for on in (OLD, NEW):
            said = {"inspector": "I. Nobody", "reference": f"R-{on}", "notes": "a dent"}
            events.record_event(db, car.id, visual(on, **said), stamp())
        bring_in(db, "events", FILE)
    return factory


def free(db):
    return {each.event_id: each.since for each in retention.free_reports(db, TODAY)}


def keys(db, on):
    return sorted(row.id for row in db.query(EventRow).filter_by(happened_on=on))


def test_what_may_go_is_listed_with_the_day_and_goes_with_its_readings(factory):
    with write_session(factory) as db:
        old = keys(db, OLD)
        assert free(db) == dict.fromkeys(old, NEW)
        retention.remove(db, old, "asked for", stamp(5, "A. Keeper"))
    with read_session(factory) as db:
        assert free(db) == {}
        for key in old:
            row = db.get(EventRow, key)
            assert (row.inspector, row.reference, row.notes) == ("", "", "")
            assert (row.happened_on, row.outcome, row.superseded_at) == (OLD, "pass", None)
            assert db.query(ReadingRow).filter_by(event_id=key).count() == 0
        last = db.query(Change).order_by(Change.id.desc()).first()
        assert last.deed == "report.removed"
        assert '"went":"' in last.body
        assert "I. Nobody" not in last.body


def test_the_record_is_whole_afterwards_and_a_hand_on_the_rest_still_shows(factory):
    def silent(*_):
        pass

    with write_session(factory) as db:
        retention.remove(db, keys(db, OLD), "asked for", stamp(5))
    with read_session(factory) as db:
        assert proof.first_break(db, None, silent) is None
        told = proof.replay(db, silent)
        assert proof_rows.first_change_behind(db, told, silent) is None
        assert told.bulks[0].brought["reading"]["rows"] == 1


def test_what_has_to_be_kept_is_refused_each_with_its_reason(factory):
    with write_session(factory) as db:
        car = db.query(EventRow).first().car_id
        damage = events.record_event(db, car, NewEvent(OLD, ("damage",), facility=SHOP), stamp(1))
        wanted = [*keys(db, NEW), damage.id]
        with pytest.raises(Refused) as refused:
            retention.remove(db, wanted, "asked for", stamp(5))
        assert {fault.path for fault in refused.value.faults} == {str(key) for key in wanted}
        with pytest.raises(NotFound):
            retention.remove(db, [987654], "asked for", stamp(5))


def test_it_goes_once(factory):
    with write_session(factory) as db:
        old = keys(db, OLD)
        retention.remove(db, old, "asked for", stamp(5))
        with pytest.raises(Refused):
            retention.remove(db, old, "asked for", stamp(6))


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE event SET inspector = '' WHERE id = {old}",
        "DELETE FROM reading WHERE event_id = {read}",
        # Even of what may go, nothing but emptying the details.
        "UPDATE event SET inspector = 'another' WHERE id = {gone}",
        "UPDATE event SET facility = '' WHERE id = {gone}",
        "UPDATE event SET outcome = 'fail', inspector = '' WHERE id = {gone}",
        "DELETE FROM event WHERE id = {gone}",
        "UPDATE removal_permit SET reason = ''",
        "DELETE FROM removal_permit",
    ],
)
def test_the_database_lets_nothing_else_go(factory, statement):
    with write_session(factory) as db:
        gone, read = keys(db, OLD)
        new = keys(db, NEW)[0]
        retention.remove(db, [gone], "asked for", stamp(5))
    with read_session(factory) as db, pytest.raises(IntegrityError, match="the record is kept"):
        db.execute(text(statement.format(old=new, gone=gone, read=read)))


def test_papers_of_a_car_that_was_sold_are_listed_a_year_later(factory):
    with write_session(factory) as db:
        car = db.query(EventRow).first().car_id
        cars.change_standing(db, car, NewStanding("sold", "", date(2025, 11, 24)), stamp(5))
        (papers,) = retention.free_papers(db, TODAY)
        assert (papers.since, papers.event_id) == (date(2025, 11, 24).replace(year=2026), None)
        assert not list(retention.free_papers(db, date(2026, 11, 24)))

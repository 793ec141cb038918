"""Two people at once: nothing is recorded twice, nothing is lost, and the later one is told."""

import threading

from app.actions import cars, events
from app.actions.changes import NewService
from app.errors import Conflict
from app.store import due
from app.store.db import read_session, sessions, write_session
from app.store.facts import load
from app.store.tables import EventRow
from tests.store.cast import TODAY, add_car, stamp, visual


def at_once(engine, *works):
    """Run each in its own thread and transaction; what each raised, or None."""
    factory, together = sessions(engine), threading.Barrier(len(works))
    raised: list[Exception | None] = [None] * len(works)

    def run(place, work):
        together.wait()
        try:
            with write_session(factory) as db:
                work(db)
        except Exception as fault:
            raised[place] = fault

    threads = [threading.Thread(target=run, args=each) for each in enumerate(works)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return raised


def a_car(engine):
    with write_session(sessions(engine)) as db:
        return add_car(db).id


def test_the_same_inspection_recorded_by_two_at_once_is_recorded_once(any_engine):
    car_id = a_car(any_engine)
    raised = at_once(
        any_engine,
        *[lambda db: events.record_event(db, car_id, visual(), stamp())] * 3,
    )
    assert sorted(type(each).__name__ for each in raised) == ["Conflict", "Conflict", "NoneType"]
    with read_session(sessions(any_engine)) as db:
        assert db.query(EventRow).count() == 1


def test_an_event_corrected_by_two_at_once_is_corrected_once(any_engine):
    car_id = a_car(any_engine)
    with write_session(sessions(any_engine)) as db:
        old = events.record_event(db, car_id, visual(), stamp()).id
    raised = at_once(
        any_engine,
        lambda db: events.correct_event(db, old, visual(inspector="A"), stamp(1)),
        lambda db: events.correct_event(db, old, visual(inspector="B"), stamp(1)),
    )
    assert [type(each) for each in raised if each] == [Conflict]


def test_one_name_given_to_two_cars_at_once_goes_to_one(any_engine):
    raised = at_once(any_engine, *[lambda db: add_car(db)] * 2)
    assert [type(each) for each in raised if each] == [Conflict]


def test_two_changes_of_one_car_at_once_are_both_in_its_due_items(any_engine):
    car_id = a_car(any_engine)
    acid = NewService("Invented acid", corrosive_or_reactive=True, from_on=TODAY)
    raised = at_once(
        any_engine,
        lambda db: cars.put_into_service(db, car_id, acid, stamp()),
        lambda db: events.record_event(db, car_id, visual(), stamp()),
    )
    assert raised == [None, None]
    with read_session(sessions(any_engine)) as db:
        record = load(db, [car_id], TODAY)[car_id]
        assert (record.car.service.commodity, len(record.events)) == ("Invented acid", 1)
        by_item = {row.item: row for row in due.for_car(db, car_id, TODAY)}
        assert by_item["visual"].basis_on == visual().happened_on
        assert by_item["thickness"].interval_months == 60

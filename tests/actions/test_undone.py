"""What was recorded wrongly is undone by rows of its own, and what was recorded with it goes along."""

from dataclasses import replace
from datetime import date

import pytest

from app.actions import cars, components, events
from app.actions.changes import NewStencil
from app.errors import Conflict, Refused
from app.store.tables import EventRow, Installation
from tests.store.cast import add_car, measured, relief_valve, stamp, visual

ON, LATER, TAKEN = date(2026, 3, 3), date(2026, 4, 4), date(2026, 5, 5)
CHANGED = "relief_device_changed"


def put_on(db, car, on=ON, serial="S1", minutes=0):
    new = replace(relief_valve(), installed_on=on, is_change=True, position=serial)
    new = replace(new, component=replace(new.component, serial=serial))
    return components.install(db, car.id, new, stamp(minutes)), new


def changes(db, car):
    """The days of the changes of the relief device that count."""
    rows = db.query(EventRow).filter_by(car_id=car.id, items=CHANGED, superseded_at=None)
    return sorted(row.happened_on for row in rows)


def test_a_wrong_day_is_corrected_with_its_change(any_db):
    car = add_car(any_db)
    row, new = put_on(any_db, car)
    components.correct(any_db, row.id, replace(new, is_change=False, installed_on=LATER), stamp(1))
    assert changes(any_db, car) == [LATER]
    (moved,) = any_db.query(EventRow).filter_by(superseded_at=None)
    assert moved.corrects is not None


def test_a_correction_of_a_correction_moves_the_change_again(any_db):
    car = add_car(any_db)
    row, new = put_on(any_db, car)
    new = replace(new, is_change=False)
    row = components.correct(any_db, row.id, replace(new, tested_on=ON), stamp(1))
    row = components.correct(any_db, row.id, replace(new, installed_on=LATER), stamp(2))
    components.correct(any_db, row.id, replace(new, installed_on=TAKEN), stamp(3))
    assert changes(any_db, car) == [TAKEN]


def test_a_correction_to_no_day_is_refused_while_its_change_is_on_record(any_db):
    car = add_car(any_db)
    row, new = put_on(any_db, car)
    with pytest.raises(Refused, match="needs one"):
        components.correct(
            any_db, row.id, replace(new, is_change=False, installed_on=None), stamp(1)
        )


def test_a_change_that_another_device_leans_on_stays(any_db):
    car = add_car(any_db)
    row, new = put_on(any_db, car)
    put_on(any_db, car, serial="S2")
    assert changes(any_db, car) == [ON]
    components.correct(any_db, row.id, replace(new, is_change=False, installed_on=LATER), stamp(1))
    assert changes(any_db, car) == [ON, LATER]


def test_a_change_that_a_person_corrected_is_theirs_and_stays(any_db):
    car = add_car(any_db)
    row, _ = put_on(any_db, car)
    (event,) = any_db.query(EventRow)
    mended = replace(visual(ON), items=(CHANGED,), facility="Made-up Shop One")
    events.correct_event(any_db, event.id, mended, stamp(1))
    components.withdraw(any_db, row.id, "never there", stamp(2))
    assert changes(any_db, car) == [ON]


def test_what_was_recorded_on_the_wrong_car_goes_to_the_right_one_with_all_that_belongs_to_it(
    any_db,
):
    wrong, right = add_car(any_db, 1), add_car(any_db, 2)
    row, _ = put_on(any_db, wrong)
    components.remove(any_db, row.id, TAKEN, stamp(1))
    moved = components.correct_car(any_db, row.id, right.id, "misread the number", stamp(2))
    assert (moved.car_id, moved.installed_on, moved.component_id) == (
        right.id,
        ON,
        row.component_id,
    )
    assert changes(any_db, wrong) == []
    assert changes(any_db, right) == [ON, TAKEN]
    assert any_db.get(Installation, row.id).superseded_at is not None


def test_it_is_not_moved_onto_the_car_where_it_is(any_db):
    car = add_car(any_db)
    row, _ = put_on(any_db, car)
    with pytest.raises(Refused, match="Choose another"):
        components.correct_car(any_db, row.id, car.id, "", stamp(1))


def test_undoing_a_removal_undoes_its_change(any_db):
    car = add_car(any_db)
    row, _ = put_on(any_db, car)
    components.remove(any_db, row.id, TAKEN, stamp(1))
    assert changes(any_db, car) == [ON, TAKEN]
    components.withdraw_removal(any_db, row.id, "it stayed on", stamp(2))
    assert changes(any_db, car) == [ON]


def test_a_withdrawn_installation_is_brought_back_with_its_change_once(any_db):
    car = add_car(any_db)
    row, _ = put_on(any_db, car)
    components.withdraw(any_db, row.id, "thought it was another", stamp(1))
    assert changes(any_db, car) == []
    back = components.bring_back(any_db, row.id, stamp(2))
    assert (back.corrects, back.installed_on) == (row.id, ON)
    assert changes(any_db, car) == [ON]
    with pytest.raises(Conflict, match="once"):
        components.bring_back(any_db, row.id, stamp(3))


def test_a_withdrawn_event_is_brought_back_with_its_readings_once(any_db):
    car = add_car(any_db)
    event = events.record_event(any_db, car.id, visual(readings=(measured("0.44"),)), stamp())
    with pytest.raises(Conflict, match="nothing to bring back"):
        events.bring_back_event(any_db, event.id, stamp(1))
    events.withdraw_event(any_db, event.id, "another car", stamp(1))
    back = events.bring_back_event(any_db, event.id, stamp(2))
    assert (back.corrects, back.facility) == (event.id, event.facility)
    with pytest.raises(Conflict, match="once"):
        events.bring_back_event(any_db, event.id, stamp(3))


def test_a_withdrawn_fact_holds_again(any_db):
    car = add_car(any_db)
    painted = cars.mark_stencil(any_db, car.id, NewStencil(visual="2031-01"), stamp())
    cars.withdraw_fact(any_db, "stencil", painted.id, "another car", stamp(1))
    back = cars.bring_back_fact(any_db, "stencil", painted.id, stamp(2))
    assert (back.visual, back.from_on, back.corrects) == ("2031-01", painted.from_on, painted.id)

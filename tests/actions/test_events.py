"""Recording, correcting and withdrawing events, on a real database."""

from dataclasses import replace
from datetime import date
from decimal import Decimal

import pytest
from sqlalchemy import func, select
from sqlalchemy.orm import Session

from app.actions import cars, events
from app.actions.changes import NewEvent, NewStanding
from app.errors import Conflict, NotFound, Refused
from app.store import due, facts
from app.store import events as recorded
from app.store.tables import EventRow, ReadingRow
from tests.store.cast import NOON, SHOP, TODAY, add_car, measured, stamp, visual


def due_on(db: Session, car_id: int, item: str) -> date | None:
    return next(row.due_on for row in due.for_car(db, car_id, TODAY) if row.item == item)


def test_recording_an_inspection_moves_its_due_date_in_the_same_transaction(any_db):
    car = add_car(any_db)
    assert due_on(any_db, car.id, "visual") == date(2025, 6, 1)  # ten years from construction
    events.record_event(any_db, car.id, visual(date(2020, 3, 15)), stamp())
    # 49 CFR 180.509(d), 2019 edition: at least every 10 years.
    assert due_on(any_db, car.id, "visual") == date(2030, 3, 15)


def test_the_same_inspection_twice_is_refused_by_name(any_db):
    car = add_car(any_db)
    first = events.record_event(any_db, car.id, visual(), stamp())
    with pytest.raises(Conflict, match=f"ZQKX 1045.*visual.*already recorded as event {first.id}"):
        events.record_event(any_db, car.id, visual(facility=f"  {SHOP} "), stamp(1))


def test_a_form_sent_twice_is_one_event(any_db):
    car = add_car(any_db)
    form = visual(form_key="form-1")
    first = events.record_event(any_db, car.id, form, stamp())
    again = events.record_event(any_db, car.id, form, stamp(1))
    assert again.id == first.id
    assert any_db.scalar(select(func.count()).select_from(EventRow)) == 1


def test_items_are_kept_once_each_in_the_order_of_the_calculator(db):
    car = add_car(db)
    mixed = visual(items=("lining_applied", "thickness", "visual", "thickness"))
    assert (
        events.record_event(db, car.id, mixed, stamp()).items == "visual;thickness;lining_applied"
    )


@pytest.mark.parametrize(
    ("event", "path", "problem"),
    [
        (visual(date(2026, 11, 26)), "happened_on", "lies in the future"),  # tomorrow
        (visual(date(2015, 5, 31)), "happened_on", "before the car was built on 2015-06-01"),
        (visual(items=()), "items", "say what was inspected"),
        (visual(items=("visuell",)), "items", "'visuell' is not known"),
        (visual(items=("age_limit",)), "items", "counted, never inspected"),
        (visual(outcome="perhaps"), "outcome", "'perhaps' is not known"),
        # A change takes no outcome.
        (visual(items=("damage",), outcome="fail"), "outcome", "has no outcome"),
        (visual(opens=("visual",)), "opens", "can say what must now be inspected"),
        (visual(items=("damage",), opens=("damage",)), "opens", "'damage' is not known"),
        # A month counts as its first day, which is not the safe side for these two.
        (visual(month_only=True, outcome="fail"), "happened_on", "needs its day"),
        (visual(month_only=True, items=("damage",)), "happened_on", "needs its day"),
        (visual(readings=(measured("0"),)), "readings.0.inches", "must be above 0"),
        (visual(readings=(measured("-0.4", confirmed=True),)), "readings.0.inches", "0 or more"),
        (visual(readings=(measured("0.4", "roof"),)), "readings.0.zone", "'roof' is not known"),
        (visual(readings=(measured("0.4375001"),)), "readings.0.inches", "more than six decimals"),
        (visual(facility="x" * 201), "facility", "longer than 200"),
    ],
)
def test_what_cannot_be_is_refused_at_its_field(db, event, path, problem):
    car = add_car(db)
    with pytest.raises(Refused) as refusal:
        events.record_event(db, car.id, event, stamp())
    assert any(each.path == path and problem in each.problem for each in refusal.value.faults)
    assert db.scalar(select(func.count()).select_from(EventRow)) == 0


def test_everything_wrong_is_told_at_once(db):
    car = add_car(db)
    wrong = visual(date(2030, 1, 1), items=("nothing",), readings=(measured("4.37"),))
    with pytest.raises(Refused) as refusal:
        events.record_event(db, car.id, wrong, stamp())
    assert {each.path for each in refusal.value.faults} == {
        "happened_on", "items", "readings.0.inches",
    }  # fmt: skip


@pytest.mark.parametrize(
    ("inches", "meant"),
    [
        ("4.37", "0.437"),  # a point in the wrong place
        ("43.7", "0.437"),
        ("437", "0.437"),
        ("3.01", "0.301"),  # just above what any shell measures
        ("0.0437", "0.437"),
        ("0.049", "0.49"),
    ],
)
def test_an_unlikely_reading_is_asked_about(db, inches, meant):
    car = add_car(db)
    with pytest.raises(Refused, match=f"did you mean {meant}"):
        events.record_event(db, car.id, visual(readings=(measured(inches),)), stamp())


@pytest.mark.parametrize("inches", ["3", "0.05", "0.437", "1.5"])
def test_a_likely_reading_is_taken(db, inches):
    car = add_car(db)
    events.record_event(db, car.id, visual(readings=(measured(inches),)), stamp())
    assert db.scalar(select(ReadingRow.inches)) == Decimal(inches)


def test_an_unlikely_reading_is_taken_once_a_person_confirmed_it(db):
    car = add_car(db)
    events.record_event(db, car.id, visual(readings=(measured("4.37", confirmed=True),)), stamp())
    assert db.scalar(select(ReadingRow.inches)) == Decimal("4.37")


def test_ten_times_the_owners_minimum_is_asked_about_though_below_three_inches(db):
    thin = replace(_details(), required_shell_top_in=Decimal("0.25"))
    car = add_car(db, details=thin)
    with pytest.raises(Refused, match=r"did you mean 0\.25"):
        events.record_event(db, car.id, visual(readings=(measured("2.5", "shell_top"),)), stamp())


def test_a_month_counts_as_its_first_day(db):
    car = add_car(db)
    row = events.record_event(db, car.id, visual(date(2020, 3, 15), month_only=True), stamp())
    assert (row.happened_on, row.month_only) == (date(2020, 3, 1), True)


def test_one_inspection_for_many_cars_is_recorded_for_all_or_none(any_db):
    cars = [add_car(any_db, number) for number in (1, 2, 3)]
    ids = [car.id for car in cars]
    with pytest.raises(NotFound, match="key 999"):
        events.record_event_for_many(any_db, [*ids, 999], visual(), stamp())
    rows = events.record_event_for_many(any_db, ids, visual(form_key="many"), stamp())
    assert [row.car_id for row in rows] == ids
    again = events.record_event_for_many(any_db, ids, visual(form_key="many"), stamp(1))
    assert [row.id for row in again] == [row.id for row in rows]
    assert {due_on(any_db, car_id, "visual") for car_id in ids} == {date(2030, 3, 15)}


def test_a_correction_takes_the_place_of_an_event_and_both_stay_visible(any_db):
    car = add_car(any_db)
    old = events.record_event(any_db, car.id, visual(date(2020, 3, 15)), stamp())
    new = events.correct_event(any_db, old.id, visual(date(2019, 3, 15)), stamp(5))
    assert due_on(any_db, car.id, "visual") == date(2029, 3, 15)
    shown = {each.row.id: each for each in recorded.history(any_db, car.id)}
    assert shown[old.id].corrected_by == new.id
    assert shown[old.id].row.superseded_at == stamp(5).at
    assert shown[new.id].in_force
    assert not shown[old.id].in_force


def test_a_correction_may_keep_what_tells_the_event_from_others(any_db):
    car = add_car(any_db)
    old = events.record_event(any_db, car.id, visual(inspector="A. Wrong"), stamp())
    new = events.correct_event(any_db, old.id, visual(inspector="B. Right"), stamp(1))
    assert (new.corrects, new.inspector) == (old.id, "B. Right")


def test_correcting_what_was_corrected_names_the_newer_row(any_db):
    car = add_car(any_db)
    old = events.record_event(any_db, car.id, visual(), stamp())
    new = events.correct_event(any_db, old.id, visual(inspector="B. Right"), stamp(1))
    with pytest.raises(Conflict, match=f"already corrected: event {new.id}"):
        events.correct_event(any_db, old.id, visual(inspector="C. Late"), stamp(2))


def test_a_correction_sent_twice_is_one_correction(any_db):
    car = add_car(any_db)
    old = events.record_event(any_db, car.id, visual(), stamp())
    form = visual(date(2019, 1, 1), form_key="mend")
    first = events.correct_event(any_db, old.id, form, stamp(1))
    assert events.correct_event(any_db, old.id, form, stamp(2)).id == first.id


def test_a_refused_correction_leaves_the_event_in_force(db):
    car = add_car(db)
    old = events.record_event(db, car.id, visual(), stamp())
    db.commit()
    with pytest.raises(Refused):
        events.correct_event(db, old.id, visual(date(2030, 1, 1)), stamp(1))
    db.rollback()
    assert recorded.event_or_raise(db, old.id).superseded_at is None


def test_a_withdrawn_event_counts_no_longer_and_shows_who_withdrew_it_and_why(any_db):
    car = add_car(any_db)
    old = events.record_event(any_db, car.id, visual(), stamp())
    events.withdraw_event(any_db, old.id, "was another car", stamp(3, by="Ben Testwell"))
    assert due_on(any_db, car.id, "visual") == date(2025, 6, 1)
    (shown,) = recorded.history(any_db, car.id)
    assert shown.withdrawal is not None
    assert (shown.withdrawal.recorded_by, shown.withdrawal.reason) == (
        "Ben Testwell", "was another car",
    )  # fmt: skip
    with pytest.raises(Conflict, match="already withdrawn by Ben Testwell"):
        events.correct_event(any_db, old.id, visual(), stamp(4))


def test_what_was_withdrawn_can_be_recorded_anew(any_db):
    car = add_car(any_db)
    old = events.record_event(any_db, car.id, visual(), stamp())
    events.withdraw_event(any_db, old.id, "", stamp(1))
    assert events.record_event(any_db, car.id, visual(), stamp(2)).id != old.id


def test_a_correction_keeps_its_place_within_the_day(any_db):
    """A fail and then a pass on one day leave nothing owed; mending the fail must not turn them."""
    car = add_car(any_db)
    day = date(2020, 3, 15)
    fail = events.record_event(any_db, car.id, visual(day, outcome="fail", facility="a"), stamp())
    events.record_event(any_db, car.id, visual(day, facility="b"), stamp(1))
    mended = visual(day, outcome="fail", facility="a", inspector="B. Right")
    again = events.correct_event(any_db, fail.id, mended, stamp(2))
    events.correct_event(any_db, again.id, replace(mended, notes="once more"), stamp(3))
    loaded = facts.load(any_db, [car.id], TODAY)[car.id]
    assert [event.outcome for event in loaded.events] == ["fail", "pass"]
    (row,) = [each for each in due.for_car(any_db, car.id, TODAY) if each.item == "visual"]
    assert (row.status, row.due_on) == ("in_date", date(2030, 3, 15))


def test_a_failed_inspection_is_due_now_until_a_later_pass(any_db):
    car = add_car(any_db)
    events.record_event(any_db, car.id, visual(date(2026, 1, 10), outcome="fail"), stamp())
    (row,) = [each for each in due.for_car(any_db, car.id, TODAY) if each.item == "visual"]
    assert row.status == "due_now"
    assert car.next_item == "visual"


def test_as_known_at_an_earlier_moment_the_correction_is_not_there(any_db):
    car = add_car(any_db)
    old = events.record_event(any_db, car.id, visual(date(2020, 3, 15)), stamp())
    events.correct_event(any_db, old.id, visual(date(2019, 3, 15)), stamp(10))
    before = facts.load(any_db, [car.id], TODAY, known_at=stamp(9).at)[car.id]
    after = facts.load(any_db, [car.id], TODAY, known_at=stamp(10).at)[car.id]
    assert [event.on for event in before.events] == [date(2020, 3, 15)]
    assert [event.on for event in after.events] == [date(2019, 3, 15)]
    assert facts.load(any_db, [car.id], TODAY, known_at=NOON.replace(hour=11)) == {}


def test_an_unknown_event_is_not_found(db):
    with pytest.raises(NotFound, match="number 77"):
        events.correct_event(db, 77, NewEvent(TODAY, ("visual",)), stamp())


def _details():
    from tests.store.cast import new_car

    return new_car().details


SOLD = date(2024, 3, 10)


@pytest.mark.parametrize("standing", ["sold", "scrapped"])
@pytest.mark.parametrize(
    ("event", "refused"),
    [
        (visual(SOLD), True),  # from this day on it is gone
        (visual(date(2024, 5, 1), items=("damage",)), True),  # changes as well
        (visual(date(2024, 3, 9)), False),
        (visual(date(2024, 3, 1), month_only=True), False),  # in that month, perhaps before
    ],
)
def test_nothing_is_recorded_of_a_car_after_it_was_sold_or_scrapped(
    any_db, standing, event, refused
):
    car = add_car(any_db)
    cars.change_standing(any_db, car.id, NewStanding(standing, from_on=SOLD), stamp())
    if not refused:
        assert events.record_event(any_db, car.id, event, stamp(1))
        return
    with pytest.raises(Refused, match=f"{event.happened_on} .* {standing} on 2024-03-10"):
        events.record_event(any_db, car.id, event, stamp(1))


def test_what_happened_between_a_sale_and_the_return_of_a_car_is_not_recorded(any_db):
    car = add_car(any_db)
    cars.change_standing(any_db, car.id, NewStanding("sold", from_on=SOLD), stamp())
    back = NewStanding("in_service", from_on=date(2025, 1, 1))
    cars.change_standing(any_db, car.id, back, stamp(1))
    with pytest.raises(Refused, match="sold on 2024-03-10"):
        events.record_event(any_db, car.id, visual(date(2024, 12, 31)), stamp(2))
    assert events.record_event(any_db, car.id, visual(date(2025, 1, 1)), stamp(2))

"""The database itself keeps the record, against any hand and any program."""

from datetime import date, timedelta

import pytest
from sqlalchemy import text
from sqlalchemy.exc import IntegrityError

from app.actions import components, events
from app.store.tables import EventRow
from tests.store.cast import NOON, add_car, measured, relief_valve, stamp, visual

NOT_KEPT = "the record is kept"


@pytest.fixture
def kept(any_db):
    car = add_car(any_db)
    events.record_event(any_db, car.id, visual(readings=(measured("0.44"),)), stamp())
    event = visual(date(2021, 1, 1))
    events.withdraw_event(
        any_db, events.record_event(any_db, car.id, event, stamp()).id, "", stamp()
    )
    components.install(any_db, car.id, relief_valve(), stamp())
    any_db.commit()
    return any_db


@pytest.mark.parametrize(
    "statement",
    [
        "DELETE FROM event",
        "DELETE FROM reading",
        "DELETE FROM construction",
        "DELETE FROM installation",
        "DELETE FROM withdrawal",
        "UPDATE event SET happened_on = '2024-01-01' WHERE superseded_at IS NULL",
        "UPDATE event SET outcome = 'fail' WHERE superseded_at IS NULL",
        "UPDATE event SET recorded_by = 'nobody' WHERE superseded_at IS NULL",
        "UPDATE reading SET inches = 500000",
        "UPDATE car_name SET number = 7",
        "UPDATE service SET commodity = 'another'",
        "UPDATE installation SET tested_on = '2024-01-01'",
        "UPDATE withdrawal SET reason = 'another'",
        # Stamped once: neither taken off again nor moved.
        "UPDATE event SET superseded_at = NULL WHERE superseded_at IS NOT NULL",
        "UPDATE event SET superseded_at = '2026-11-25 13:00:00' WHERE superseded_at IS NOT NULL",
        # Hidden beside an allowed stamp.
        "UPDATE event SET superseded_at = '2026-11-25 13:00:00', outcome = 'fail' WHERE id = 1",
    ],
)
def test_no_row_of_the_record_is_changed_or_deleted(kept, statement):
    with pytest.raises(IntegrityError, match=NOT_KEPT):
        kept.execute(text(statement))


def test_a_row_can_be_stamped_as_superseded(kept):
    done = kept.execute(
        text("UPDATE event SET superseded_at = '2026-11-25 13:00:00' WHERE superseded_at IS NULL")
    )
    assert done.rowcount == 1


def test_postgresql_refuses_to_empty_the_record(kept):
    if kept.bind.dialect.name != "postgresql":
        assert kept.bind.dialect.name == "sqlite"  # which has no TRUNCATE
        return
    with pytest.raises(IntegrityError, match=NOT_KEPT):
        kept.execute(text("TRUNCATE event CASCADE"))


@pytest.mark.parametrize(
    ("day", "kept_out"),
    [
        (NOON.date(), False),
        (NOON.date() + timedelta(days=1), False),  # it is tomorrow already somewhere on Earth
        (NOON.date() + timedelta(days=2), True),
        (date(2031, 1, 1), True),
    ],
)
def test_the_database_refuses_an_event_of_the_future(any_db, day, kept_out):
    car = add_car(any_db)
    add = text(
        "INSERT INTO event (car_id, happened_on, month_only, items, outcome, opens, facility,"
        " inspector, reference, notes, recorded_at, recorded_by)"
        " VALUES (:car, :day, :no, 'visual', 'pass', '', '', '', '', '', :at, 'x')"
    )
    at = NOON if any_db.bind.dialect.name == "postgresql" else NOON.strftime("%F %T.000000")
    values = {"car": car.id, "day": day.isoformat(), "no": False, "at": at}
    if any_db.bind.dialect.name == "postgresql":
        values["day"] = day
    if kept_out:
        with pytest.raises(IntegrityError, match=r"future|after the day"):
            any_db.execute(add, values)
    else:
        any_db.execute(add, values)


@pytest.mark.parametrize(("day", "kept_out"), [("2024-05-01", False), ("2024-05-02", True)])
def test_a_month_without_its_day_is_kept_as_its_first(any_db, day, kept_out):
    car = add_car(any_db)
    row = EventRow(
        car_id=car.id, happened_on=date.fromisoformat(day), month_only=True, items="visual",
        recorded_at=NOON, recorded_by="x",
    )  # fmt: skip
    any_db.add(row)
    if kept_out:
        with pytest.raises(IntegrityError, match=r"first of its month|on_its_first"):
            any_db.flush()
    else:
        any_db.flush()


@pytest.mark.parametrize(
    ("statement", "name"),
    [
        ("UPDATE car SET mark = 'zqkx'", "mark"),
        ("UPDATE car SET number = 0", "number"),
        ("UPDATE car SET standing = 'lost'", "standing"),
        ("UPDATE due SET due_on = NULL WHERE state = 'dated'", "dated"),
    ],
)
def test_the_database_refuses_what_no_car_can_be(kept, statement, name):
    with pytest.raises(IntegrityError, match=rf"ck_\w+_{name}"):
        kept.execute(text(statement))


def test_a_reading_of_nothing_is_refused_by_the_database(kept):
    with pytest.raises(IntegrityError, match="inches_above_zero"):
        kept.execute(
            text(
                "INSERT INTO reading (event_id, place, car_id, zone, inches, extent)"
                " SELECT event_id, 9, car_id, zone, 0, extent FROM reading"
            )
        )


def test_two_cars_in_record_cannot_bear_one_name(kept):
    add_car(kept, 77)
    with pytest.raises(IntegrityError, match=r"uq_car_name_in_record|UNIQUE.*car\.mark"):
        kept.execute(text("UPDATE car SET number = 1045 WHERE number = 77"))

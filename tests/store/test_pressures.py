"""Pressures of a lading: kept exactly, in force from a day on, guarded as the rest of the record."""

from datetime import date
from decimal import Decimal
from fractions import Fraction

import pytest
from sqlalchemy import inspect, text
from sqlalchemy.exc import DatabaseError

from app.actions import cars
from app.actions.changes import CarDetails, NewCar, NewName, NewOwnership, NewService
from app.core.facts import LadingPressures
from app.store import facts
from app.store.tables import PRESSURES
from tests.actions.importing import bring_in, car, stamp

TODAY = date(2026, 11, 25)
FILE = (
    "mark,number,specification,commodity,service_from,vapor_pressure_psig_115f,gas_pad_psig\n"
    "ZQKX,1,DOT 111A100W1,Mild lading,{on},{vapor},0\n"
)


def held_on(db, car_id: int, day: date) -> LadingPressures:
    return facts.load(db, [car_id], day)[car_id].car.service.pressures


def test_the_pressures_that_hold_on_a_day_are_those_of_the_lading_then(any_db):
    bring_in(any_db, "cars", FILE.format(on="2019-05-02", vapor="40.25"))
    bring_in(any_db, "cars", FILE.format(on="2024-05-02", vapor="0"))
    car_id = car(any_db).id
    early, late = (held_on(any_db, car_id, day) for day in (date(2020, 1, 1), TODAY))
    assert early == LadingPressures(Fraction("40.25"), gas_pad_psig=Fraction(0))
    assert late.vapor_pressure_psig_115f == 0
    assert held_on(any_db, car_id, date(2001, 1, 1)) == LadingPressures()


def test_a_new_lading_says_nothing_of_the_pressures_of_the_one_before(any_db):
    bring_in(any_db, "cars", FILE.format(on="2019-05-02", vapor="40.25"))
    other = (
        "mark,number,specification,commodity,service_from\nZQKX,1,DOT 111A100W1,Other,2025-01-01\n"
    )
    bring_in(any_db, "cars", other)
    assert not held_on(any_db, car(any_db).id, TODAY).has_vapor_pressure


def test_a_car_added_by_hand_keeps_every_pressure(any_db):
    stated = {name: Decimal(place) for place, name in enumerate(PRESSURES, 1)}
    new = NewCar(
        NewName("ZQKX", 1), NewOwnership("Example Alpha Lines"), CarDetails("DOT 111A100W1"),
        service=NewService("Mild lading", **stated),
    )  # fmt: skip
    held = held_on(any_db, cars.add_car(any_db, new, stamp()).id, TODAY)
    assert held == LadingPressures(*(Fraction(place) for place in range(1, 6)))


@pytest.mark.parametrize("column", PRESSURES)
def test_a_pressure_on_record_is_not_changed_and_is_not_below_nothing(any_db, column):
    bring_in(any_db, "cars", FILE.format(on="2019-05-02", vapor="40.25"))
    for statement in (
        f"UPDATE service SET {column} = 1",
        f"INSERT INTO lading (name, hazardous, {column}) VALUES ('Invented', true, -1)",
    ):
        with pytest.raises(DatabaseError), any_db.begin_nested():
            any_db.execute(text(statement))


def test_what_a_bench_test_measured_is_guarded_too(any_db):
    bring_in(any_db, "cars", FILE.format(on="2019-05-02", vapor="40.25"))
    bring_in(
        any_db, "components",
        "mark,number,kind,position,vapor_tight_psig\nZQKX,1,relief_valve,top,60\n",
    )  # fmt: skip
    with pytest.raises(DatabaseError), any_db.begin_nested():
        any_db.execute(text("UPDATE installation SET vapor_tight_psig = 1"))


def test_the_columns_are_where_lading_and_service_need_them(any_engine):
    found = inspect(any_engine)
    for table in ("service", "lading"):
        assert set(PRESSURES) <= {column["name"] for column in found.get_columns(table)}

"""The fleet's wear on both engines: the same rows, within what the session reaches, and of few enough cars."""

from datetime import date

import pytest
from sqlalchemy import select
from sqlalchemy.orm import Session

from app.access import Reach
from app.actions import fleet_wear
from app.errors import Refused
from app.store.tables import Car
from app.store.wear import WearFilter
from tests.pages.car_cast import TODAY
from tests.pages.wear_cast import read_on, worn_fleet


@pytest.fixture
def keys(any_db: Session) -> list[int]:
    return worn_fleet(any_db)


def found(db: Session, **wanted) -> fleet_wear.FleetWear:
    return fleet_wear.fleet_wear(db, WearFilter(**wanted), TODAY)


def test_each_car_has_the_rate_of_the_zone_that_wears_fastest(any_db, keys):
    shells = {each.car.id: each for each in found(any_db).shells}
    assert [round(-1000 * (shells[key].a_year or 0), 2) for key in keys] == [2, 1, 0, 0]
    assert shells[keys[3]].a_year is None
    assert [shells[key].measured for key in keys] == [(5, 2), (5, 2), (5, 2), (0, 0)]
    assert [each.failed_on for each in shells.values() if each.failed_on] == [(date(2025, 1, 2),)]


def test_linings_and_valves_are_those_that_were_recorded(any_db, keys):
    wear = found(any_db)
    assert [(each.car.id, each.life.failed_early) for each in wear.linings] == [
        (keys[0], True), (keys[1], False), (keys[2], False),
    ]  # fmt: skip
    assert [(each.car.id, each.outside) for each in wear.valves] == [
        (keys[0], True), (keys[1], False), (keys[2], True),
    ]  # fmt: skip


def test_what_was_recorded_for_a_later_day_does_not_count_yet(any_db, keys):
    early = fleet_wear.fleet_wear(any_db, WearFilter(), date(2018, 3, 14))
    assert {each.measured.days for each in early.shells if each.car.id != keys[3]} == {1}
    assert all(each.a_year is None for each in early.shells)


def test_a_session_counts_only_cars_that_it_reaches(any_db, keys):
    car = any_db.scalars(select(Car)).first()
    any_db.info["reach"] = Reach(frozenset((car.owner_id + 77,)))
    wear = found(any_db)
    assert (wear.shells, wear.linings, wear.valves) == ([], [], [])


def test_a_region_or_an_owner_alone_is_counted_where_that_is_asked(any_db, keys):
    assert [each.car.id for each in found(any_db, region="Gulf").shells] == keys[:3]
    assert found(any_db, region="Nowhere").shells == []


def test_more_cars_than_can_be_waited_for_are_refused(any_db, keys, monkeypatch):
    monkeypatch.setattr(fleet_wear, "MOST_CARS", 3)
    with pytest.raises(Refused, match="at most 3 at once"):
        found(any_db)


def test_a_lining_applied_since_ends_the_line_of_the_fleet_too(any_db, keys):
    read_on(any_db, keys[0], date(2024, 1, 1), "0.396", "thickness", "lining_applied")
    shells = {each.car.id: each for each in found(any_db).shells}
    assert shells[keys[0]].a_year is None
    applied = [each.life.applied for each in found(any_db).linings if each.car.id == keys[0]]
    assert [(each.on, each.by) for each in applied] == [
        (date(2008, 3, 10), ""),
        (date(2024, 1, 1), "Shop A"),
    ]

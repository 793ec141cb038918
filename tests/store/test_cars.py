"""The register: prefix search, filters, pages, plans; and everything ever recorded of a car."""

from datetime import date

import pytest

from app.actions import cars as change
from app.actions.changes import NewName, NewStanding
from app.errors import NotFound
from app.store import car_counts, cars
from app.store.cars import RegisterFilter
from app.store.names import read_prefix
from tests.store.cast import OWNER, TODAY, add_car, stamp
from tests.store.counting import plan, statements


@pytest.fixture
def fleet(any_db):
    for number in (1045, 10450, 104599, 10460, 7):
        add_car(any_db, number)
    add_car(any_db, 1045, mark="ZQAX", owner="Second Invented Owner", region="south")
    add_car(any_db, 2, mark="ZQAX", specification="DOT 105J300W")
    gone = add_car(any_db, 104501)
    change.change_standing(any_db, gone.id, NewStanding("scrapped", from_on=TODAY), stamp())
    return any_db


def names(db, wanted):
    return [row.name for row in cars.register(db, wanted).rows]


@pytest.mark.parametrize(
    ("search", "found"),
    [
        ("ZQKX 1045", ["ZQKX 1045", "ZQKX 10450", "ZQKX 104599"]),
        ("zqkx-1046", ["ZQKX 10460"]),
        ("1045", ["ZQAX 1045", "ZQKX 1045", "ZQKX 10450", "ZQKX 104599"]),
        ("ZQA", ["ZQAX 2", "ZQAX 1045"]),
        ("ZQ 1045", []),  # a number after a mark means the whole mark
        ("ZQZZ", []),
    ],
)
def test_the_search_finds_what_begins_so(fleet, search, found):
    assert names(fleet, RegisterFilter(search=read_prefix(search))) == found


@pytest.mark.parametrize(
    ("search", "found"),
    [
        ("ZQHX 33", ["ZQAX 2"]),  # called so once
        ("zqhx-3", ["ZQAX 2", "ZQHX 39"]),  # beside what is called so now
        ("ZQAX 2", ["ZQAX 2"]),
        ("ZQHX", ["ZQHX 39"]),  # a mark alone lists what bears it now
    ],
)
def test_the_search_finds_a_car_by_a_name_it_had(fleet, search, found):
    add_car(fleet, 39, mark="ZQHX")
    car = cars.by_name(fleet, "ZQAX", 2)
    change.re_mark(fleet, car.id, NewName("ZQHX", 33, date(2020, 1, 1)), stamp())
    change.re_mark(fleet, car.id, NewName("ZQAX", 2, date(2021, 1, 1)), stamp())
    prefix = read_prefix(search)
    wanted = RegisterFilter(search=prefix, once_so_named=cars.once_beginning(fleet, prefix))
    assert names(fleet, wanted) == found
    assert car_counts.count(fleet, wanted) == len(found)


@pytest.mark.parametrize(
    ("wanted", "found"),
    [
        ({"region": "south"}, ["ZQAX 1045"]),
        ({"specification_class": "105"}, ["ZQAX 2"]),
        ({"standing": "scrapped"}, ["ZQKX 104501"]),
        ({"commodity": "no such lading"}, []),
    ],
)
def test_a_filter_keeps_what_it_says(fleet, wanted, found):
    assert names(fleet, RegisterFilter(**wanted)) == found
    assert car_counts.count(fleet, RegisterFilter(**wanted)) == len(found)


def test_scrapped_cars_leave_the_list_but_not_the_record(fleet):
    assert "ZQKX 104501" not in names(fleet, RegisterFilter())
    assert "ZQKX 104501" in names(fleet, RegisterFilter(standing="all"))


def test_pages_put_together_are_the_register(fleet):
    whole = names(fleet, RegisterFilter())
    found, after = [], None
    while True:
        page = cars.register(fleet, RegisterFilter(), after, limit=2)
        found += [row.name for row in page.rows]
        after = page.next_after
        if after is None:
            break
    assert found == whole
    assert [row.name for row in cars.register(fleet, RegisterFilter(), page.previous, 2).rows] == (
        whole[4:6]
    )


@pytest.mark.parametrize(
    "wanted",
    [
        RegisterFilter(),
        RegisterFilter(owner_id=1),
        RegisterFilter(standing="stored"),
        RegisterFilter(standing="all"),
        RegisterFilter(region="north"),
        RegisterFilter(search=read_prefix("ZQKX 1045")),
        RegisterFilter(search=read_prefix("ZQK")),
    ],
    ids=str,
)
def test_the_register_reads_an_index_in_its_order_with_one_query(db, wanted):
    for number in range(1, 20):
        add_car(db, number)
    cursor = cars.register(db, wanted, limit=1).next_after
    with statements(db) as sent:
        cars.register(db, wanted)
        cars.register(db, wanted, cursor)
    assert len(sent) == 2
    lines = plan(db, sent)
    assert not [line for line in lines if "TEMP B-TREE" in line]
    assert [line for line in lines if "car USING INDEX" in line]


def test_owners_and_regions_are_those_of_cars_in_record(fleet):
    assert [(each.name, each.cars) for each in car_counts.owners(fleet)] == [
        (OWNER, 6), ("Second Invented Owner", 1),
    ]  # fmt: skip
    assert car_counts.regions(fleet) == ["north", "south"]
    assert car_counts.specification_classes(fleet) == ["105", "111"]


def test_a_car_answers_to_its_name_of_today_and_is_found_by_an_old_one(any_db):
    car = add_car(any_db, 5)
    change.re_mark(any_db, car.id, NewName("ZQBX", 6, TODAY), stamp(1))
    assert cars.by_name(any_db, "ZQKX", 5) is None
    assert cars.by_name(any_db, "ZQBX", 6).id == car.id
    assert [each.id for each in cars.once_named(any_db, "ZQKX", 5)] == [car.id]


def test_the_history_shows_every_row_with_who_recorded_it(any_db):
    car = add_car(any_db, 5)
    change.re_mark(any_db, car.id, NewName("ZQBX", 6, TODAY), stamp(1, by="Ben Testwell"))
    told = cars.histories(any_db, car.id)
    assert [(each.row.mark, each.row.recorded_by, each.in_force) for each in told.names] == [
        ("ZQBX", "Ben Testwell", True), ("ZQKX", "Alba Testwell", False),
    ]  # fmt: skip
    assert told.parties[told.ownerships[0].row.owner_id] == OWNER


def test_a_history_asks_a_bounded_number_of_queries(db):
    car = add_car(db)
    for number in range(2, 9):
        change.re_mark(db, car.id, NewName("ZQBX", number, TODAY), stamp(number))
    with statements(db) as sent:
        cars.histories(db, car.id)
    assert len(sent) <= 12


def test_an_unknown_car_is_not_found(db):
    with pytest.raises(NotFound, match="key 12"):
        cars.car_or_raise(db, 12)

"""Rows about a car by its name, when names changed hands: who bore it on the row's day is meant."""

from datetime import date

import pytest
from sqlalchemy.orm import Session

from app.actions import cars
from app.actions.changes import CarDetails, NewCar, NewName, NewOwnership, NewStanding
from app.store.tables import CarName, EventRow, Installation
from tests.actions.importing import bring_in, counts, everything, faults, rows, stamp

HEAD = "mark,number,on,items\n"
COMPONENTS = "mark,number,kind,position,serial,installed_on\n"


def new(number: int, built: date, from_on: date | None = None, mark: str = "ZQKX") -> NewCar:
    return NewCar(
        NewName(mark, number, from_on),
        NewOwnership("Example Alpha Lines"),
        CarDetails("DOT 111A100W1", built_on=built),
    )


@pytest.fixture
def two(any_db: Session) -> tuple[int, int]:
    """ZQKX 1 until it was re-marked ZQAX 77 in 2015, and another that was ZQHX 9 until it took that name in 2020."""
    first = cars.add_car(any_db, new(1, date(1998, 4, 20)), stamp())
    cars.re_mark(any_db, first.id, NewName("ZQAX", 77, date(2015, 1, 1)), stamp())
    second = cars.add_car(any_db, new(9, date(2001, 1, 1), mark="ZQHX"), stamp())
    cars.re_mark(any_db, second.id, NewName("ZQKX", 1, date(2020, 1, 1)), stamp())
    any_db.commit()
    return first.id, second.id


# Which car a row of ZQKX 1 on that day is about: the first or the second.
DAYS: list[tuple[str, int]] = [
    ("2010-05-05", 0),  # borne by the first, which is called otherwise today
    ("2014-12-31", 0),  # its last day with the name
    ("2014-12", 0),  # or month
    ("2018-05-05", 1),  # borne by nobody then; today's car, and nobody else in between
    ("2020-01-01", 1),  # the second's first day with the name
    ("2024-05", 1),
]


@pytest.mark.parametrize(("day", "which"), DAYS)
def test_an_event_belongs_to_the_car_that_bore_the_name_on_its_day(
    any_db: Session, two: tuple[int, int], day: str, which: int
) -> None:
    content = f"{HEAD}ZQKX,1,{day},visual\n"
    assert counts(bring_in(any_db, "events", content)) == (1, 0, 0)
    (stored,) = rows(any_db, EventRow)
    assert stored.car_id == two[which]
    before = everything(any_db)
    assert counts(bring_in(any_db, "events", content)) == (0, 0, 1)
    assert everything(any_db) == before


@pytest.mark.parametrize(("day", "which"), [*DAYS, ("", 1)])
def test_a_component_belongs_to_the_car_that_bore_the_name_when_it_was_put_on(
    any_db: Session, two: tuple[int, int], day: str, which: int
) -> None:
    content = f"{COMPONENTS}ZQKX,1,gauge,top,G-1,{day}\n"
    bring_in(any_db, "components", content)
    (stored,) = rows(any_db, Installation)
    assert stored.car_id == two[which]
    assert counts(bring_in(any_db, "components", content)) == (0, 0, 1)


def test_a_component_taken_off_belongs_to_the_car_that_bore_the_name_then(
    any_db: Session, two: tuple[int, int]
) -> None:
    content = "mark,number,kind,position,serial,removed_on\nZQKX,1,gauge,top,G-1,2010-05-05\n"
    bring_in(any_db, "components", content)
    (stored,) = rows(any_db, Installation)
    assert stored.car_id == two[0]


def test_a_name_that_went_through_other_hands_since_is_asked_about(any_db: Session) -> None:
    last = cars.add_car(any_db, new(9, date(2001, 1, 1), mark="ZQHX"), stamp())
    between = cars.add_car(any_db, new(8, date(2001, 1, 1), mark="ZQHX"), stamp())
    cars.re_mark(any_db, between.id, NewName("ZQKX", 1, date(2012, 1, 1)), stamp())
    cars.re_mark(any_db, between.id, NewName("ZQHX", 5, date(2015, 1, 1)), stamp())
    cars.re_mark(any_db, last.id, NewName("ZQKX", 1, date(2020, 1, 1)), stamp())
    any_db.commit()
    (fault,) = faults(any_db, "events", f"{HEAD}ZQKX,1,2008-05-05,visual\n")
    assert fault.startswith("row 2, number: found 'ZQKX 1'; want a name that means one car; 2 bore")
    assert "the one that is ZQHX 5 today" in fault
    assert "the one that is ZQKX 1 today" in fault
    assert fault.endswith("record it on the car's page")


def test_of_a_month_in_which_a_name_changed_hands_the_car_is_asked_for(any_db: Session) -> None:
    first = cars.add_car(any_db, new(1, date(1998, 4, 20)), stamp())
    sold = NewStanding("sold", from_on=date(2020, 3, 10))
    cars.change_standing(any_db, first.id, sold, stamp())
    second = cars.add_car(any_db, new(1, date(2001, 1, 1), date(2020, 3, 10)), stamp())
    any_db.commit()
    (fault,) = faults(any_db, "events", f"{HEAD}ZQKX,1,2020-03,visual\n")
    assert "2 bore this one then or since" in fault
    bring_in(any_db, "events", f"{HEAD}ZQKX,1,2020-03-09,visual\nZQKX,1,2020-03-10,visual\n")
    assert [row.car_id for row in rows(any_db, EventRow)] == [first.id, second.id]


def test_what_was_done_to_a_scrapped_car_before_another_was_built_is_its_own(
    any_db: Session,
) -> None:
    old = cars.add_car(any_db, new(1, date(1970, 1, 1)), stamp())
    scrapped = NewStanding("scrapped", from_on=date(2011, 1, 1))
    cars.change_standing(any_db, old.id, scrapped, stamp())
    young = cars.add_car(any_db, new(1, date(2018, 6, 1)), stamp())
    any_db.commit()
    bring_in(any_db, "events", f"{HEAD}ZQKX,1,2009-05-05,visual\nZQKX,1,2019-05-05,visual\n")
    assert [row.car_id for row in rows(any_db, EventRow)] == [old.id, young.id]


def test_nothing_is_recorded_of_a_car_after_it_was_sold(any_db: Session) -> None:
    old = cars.add_car(any_db, new(1, date(1998, 4, 20)), stamp())
    cars.change_standing(any_db, old.id, NewStanding("sold", from_on=date(2020, 3, 10)), stamp())
    any_db.commit()
    (fault,) = faults(any_db, "events", f"{HEAD}ZQKX,1,2020-03-10,visual\n")
    assert fault == (
        "row 2, number: found 'ZQKX 1'; want a day before 2020-03-10; no car of the register bore "
        "that name on 2020-03-10 or does today"
    )
    assert counts(bring_in(any_db, "events", f"{HEAD}ZQKX,1,2020-03-09,visual\n")) == (1, 0, 0)


def test_a_name_given_up_is_told_with_what_the_car_is_called_today(
    any_db: Session, two: tuple[int, int]
) -> None:
    (fault,) = faults(any_db, "events", f"{HEAD}ZQHX,9,2021-05-05,visual\n")
    assert fault == "row 2, number: found 'ZQHX 9'; want ZQKX 1, as this car is called today"


def test_a_car_brought_in_under_a_name_given_up_bears_it_since_then(
    any_db: Session, two: tuple[int, int]
) -> None:
    content = "mark,number,specification,built_on,owner\nZQHX,9,DOT 111A100W1,1999-01-01,Example\n"
    bring_in(any_db, "cars", content)
    *_, name = rows(any_db, CarName, mark="ZQHX", number=9)
    assert name.from_on == date(2020, 1, 1)
    bring_in(any_db, "events", f"{HEAD}ZQHX,9,2019-05-05,visual\nZQHX,9,2020-05-05,visual\n")
    assert [row.car_id for row in rows(any_db, EventRow)] == [two[1], name.car_id]

"""Files of components: put on, completed, taken off, known again, or refused where they contradict."""

from datetime import date
from decimal import Decimal

import pytest
from sqlalchemy.orm import Session

from app.store import components
from app.store.columns import BEGINNING
from app.store.tables import Component, Installation, Removal
from tests.actions.importing import (
    CARS,
    TODAY,
    bring_in,
    car,
    counts,
    everything,
    faults,
    look,
    rows,
)

HEAD = "mark,number,kind,position,serial,"


def one(columns: str, values: str, kind: str = "relief_valve", serial: str = "RV-1") -> str:
    return f"{HEAD}{columns}\nZQKX,1,{kind},top,{serial},{values}\n"


def with_cars(db: Session, content: str) -> None:
    bring_in(db, "cars", CARS)
    bring_in(db, "components", content)


def test_a_component_comes_onto_its_car_with_all_that_is_said(any_db: Session) -> None:
    columns = (
        "maker,model,lot,set_psig,tested_on,installed_on,protected_in_storage,interval_months,"
        "found_psig,left_psig"
    )
    with_cars(any_db, one(columns, "Example Maker,M1,L7,75,2018-11-02,2019-03,yes,96,77.5,75"))
    (mounted,) = components.on_car(any_db, car(any_db).id, TODAY)
    assert (mounted.component.maker, mounted.component.lot, mounted.component.serial) == (
        "Example Maker", "L7", "RV-1",
    )  # fmt: skip
    put_on = mounted.installation
    assert (put_on.installed_on, put_on.installed_month_only, put_on.from_on) == (
        date(2019, 3, 1), True, date(2019, 3, 1),
    )  # fmt: skip
    assert (put_on.set_psig, put_on.found_psig, put_on.owner_interval_months) == (
        Decimal(75), Decimal("77.5"), 96,
    )  # fmt: skip
    assert put_on.protected_in_storage is True


def test_one_that_nobody_knows_since_when_is_on_the_car_from_the_beginning(any_db: Session) -> None:
    with_cars(any_db, one("maker", "Example Maker"))
    assert rows(any_db, Installation)[0].from_on == BEGINNING


def test_the_same_file_again_adds_nothing(any_db: Session) -> None:
    content = one("tested_on,installed_on,removed_on", "2010-01-01,2010-02-01,2020-02-01")
    with_cars(any_db, content)
    before = everything(any_db)
    assert counts(bring_in(any_db, "components", content)) == (0, 0, 1)
    assert everything(any_db) == before


def test_what_nobody_knew_of_it_is_added_as_a_correction(any_db: Session) -> None:
    with_cars(any_db, one("set_psig", "75"))
    more = one("set_psig,tested_on,maker", "75,2020-01-01,Example Maker")
    preview = look(any_db, "components", more)
    assert {(each.what, each.was, each.will_be) for each in preview.changes} == {
        ("tested_on", "", "2020-01-01"), ("maker", "", "Example Maker"),
    }  # fmt: skip
    assert counts(bring_in(any_db, "components", more)) == (0, 1, 0)
    (put_on,) = rows(any_db, Installation)
    assert (put_on.set_psig, put_on.tested_on) == (Decimal(75), date(2020, 1, 1))
    assert rows(any_db, Component)[-1].maker == "Example Maker"
    assert counts(look(any_db, "components", more)) == (0, 0, 1)


def test_being_taken_off_is_added_to_what_is_known(any_db: Session) -> None:
    with_cars(any_db, one("installed_on", "2010-02-01"))
    off = one("installed_on,removed_on", "2010-02-01,2020-02-01")
    assert counts(bring_in(any_db, "components", off)) == (0, 1, 0)
    assert [each.removed_on for each in rows(any_db, Removal)] == [date(2020, 2, 1)]
    assert components.on_car(any_db, car(any_db).id, TODAY) == []
    # a row that does not speak of it says nothing against it
    assert counts(look(any_db, "components", one("installed_on", "2010-02-01"))) == (0, 0, 1)


def test_one_that_was_taken_off_can_be_put_on_again(any_db: Session) -> None:
    with_cars(any_db, one("installed_on,removed_on", "2010-02-01,2020-02-01"))
    again = one("installed_on", "2021-05-01")
    assert counts(bring_in(any_db, "components", again)) == (1, 0, 0)
    assert len(rows(any_db, Installation)) == 2
    assert counts(look(any_db, "components", again)) == (0, 0, 1)


def test_the_device_known_from_the_file_of_cars_gets_its_kind_and_serial(any_db: Session) -> None:
    bring_in(
        any_db,
        "cars",
        "mark,number,specification,relief_device_set_psig\nZQKX,1,DOT 111A100W1,75\n",
    )
    assert counts(bring_in(any_db, "components", one("set_psig", "75"))) == (0, 1, 0)
    (mounted,) = components.on_car(any_db, car(any_db).id, TODAY)
    assert (mounted.component.kind, mounted.component.serial) == ("relief_valve", "RV-1")


def test_two_at_one_place_with_their_own_serials_are_two(any_db: Session) -> None:
    bring_in(any_db, "cars", CARS)
    content = one("set_psig", "75") + "ZQKX,1,relief_valve,top,RV-2,75\n"
    assert counts(bring_in(any_db, "components", content)) == (2, 0, 0)
    assert counts(look(any_db, "components", content)) == (0, 0, 2)


FAULTS: list[tuple[str, str]] = [
    (one("tested_on", "2026-11-26"), "row 2, tested_on: found '2026-11-26'; want a day not after today"),
    (
        one("installed_on,removed_on", "2020-02-01,2019-02-01"),
        "row 2, removed_on: found '2019-02-01'; want a day not before 2020-02-01, when it was put on",
    ),
    (one("set_psig", "80"), "row 2, set_psig: found '80'; want '75', as is stored of this relief_valve"),
    (one("removed_on", "2019-02"), "row 2, removed_on: found '2019-02'; want a date as YYYY-MM-DD"),
    (one("maker", "x", kind="releif valve"), "row 2, kind: found 'releif valve'; want a kind"),
    (
        one("set_psig", "75") + "ZQKX,1,relief_valve,Top,RV-1,80\n",
        "row 3: found 'ZQKX 1'; want one row for each car, kind, position, serial and day put on; row 2 says",
    ),
]  # fmt: skip


@pytest.mark.parametrize(("content", "fault"), FAULTS)
def test_a_component_that_cannot_be_is_a_fault_with_its_place(
    db: Session, content: str, fault: str
) -> None:
    with_cars(db, one("set_psig,installed_on", "75,2018-01-01"))
    (found,) = faults(db, "components", content)
    assert found.startswith(fault)


def warned(db: Session, content: str) -> list[tuple[int, str]]:
    return [(each.row, each.text) for each in look(db, "components", content).warnings]


def test_a_relief_device_in_a_place_that_is_taken_is_a_warning(any_db: Session) -> None:
    with_cars(any_db, one("maker", "Orlo"))
    text = (
        "another relief device, relief valve RV-1, is at 'top' already; if it came off, say so with "
        "removed_on"
    )
    second = one("maker", "Orlo", serial="RV-2")
    assert warned(any_db, second) == [(2, text)]
    assert warned(any_db, one("maker", "Orlo", kind="relief_disc", serial="D-1")) == [(2, text)]
    # the same one again, one elsewhere, one that is off by now, and what is no relief device
    assert warned(any_db, one("maker", "Orlo")) == []
    assert warned(any_db, second.replace(",top,", ",manway,")) == []
    assert warned(any_db, one("removed_on", "2019-05-05", serial="RV-2")) == []
    assert warned(any_db, one("maker", "Orlo", kind="gauge", serial="G-1")) == []


def test_two_relief_devices_of_a_file_in_one_place_are_a_warning(any_db: Session) -> None:
    bring_in(any_db, "cars", CARS)
    content = (
        one("maker", "Orlo")
        + "ZQKX,1,relief_valve,Top,RV-2,Orlo\nZQKX,2,relief_valve,top,RV-3,Orlo\n"
    )
    ((row, told),) = warned(any_db, content)
    assert row == 3
    assert told.startswith("another relief device, relief valve RV-1, is at 'Top' already")

"""What the printed page of a car's reasons checks beside them: stencil, relief devices, test pressure.

Sources: 49 CFR 179.15(b) and 179.201-1, annual edition of October 1, 2019; 173.31(c), 2015.
"""

from datetime import UTC, date, datetime
from decimal import Decimal

import pytest
from fastapi.testclient import TestClient
from sqlalchemy.orm import Session

from app.actions import components, facts
from app.actions.changes import CarDetails, NewComponent, NewInstallation, NewService
from app.actions.stamp import Stamp
from app.store.tables import Car
from tests.fixtures.web import Record
from tests.pages.car_cast import acid_car
from tests.pages.test_car import text

# The car itself is recorded on 2026-11-20.
LATER = Stamp("Bo Quist", datetime(2026, 11, 23, 10, 15, tzinfo=UTC), date(2026, 11, 23))
# 179.201-1: no bottom outlet on a W2; 179.15(b): 75 to 165 psig; 173.31(c): 133 % of 180.
TOLD = (
    "The setting, 60 psig, is 15 psi below what is allowed (75 to 165 psig)",
    "allows no bottom outlet; but one is recorded on the car",
    "Needed, as far as known 239.4 psig",
)


def at_odds(db: Session) -> int:
    """A car whose stencil, relief valve and lading were recorded, since, as they cannot be."""
    key = acid_car(db)
    low = NewInstallation(
        NewComponent("relief_valve", serial="V-60"), "top C", set_psig=Decimal(60)
    )
    components.install(db, key, low, LATER)
    components.install(db, key, NewInstallation(NewComponent("bottom_outlet"), "bottom"), LATER)
    closed = CarDetails("DOT 111A100W2", built_on=date(2008, 3, 1), from_on=date(2010, 1, 1))
    facts.change(db, db.get_one(Car, key), closed, LATER)
    gas = NewService(
        "Invented gas", vapor_pressure_psig_115f=Decimal(180), from_on=date(2020, 1, 1)
    )
    facts.change(db, db.get_one(Car, key), gas, LATER)
    return key


@pytest.fixture
def key(record: Record[int]) -> int:
    return record(at_odds)


def test_the_printed_page_holds_facts_and_devices_against_what_they_may_be(
    client: TestClient, key: int
) -> None:
    read = text(client.get(f"/cars/{key}/worked-out"))
    assert [told for told in TOLD if told not in read] == []


@pytest.mark.parametrize(("known", "told"), [("2026-11-22", False), ("2026-11-23", True)])
def test_looking_back_it_holds_against_each_other_what_was_known_then(
    client: TestClient, key: int, known: str, told: bool
) -> None:
    read = text(client.get(f"/cars/{key}/worked-out?as_of=2026-11-24&known={known}"))
    assert [each in read for each in TOLD] == [told] * len(TOLD)

"""Undoing on pages: what was withdrawn comes back, a component goes to the car that it was put on."""

import pytest

from app.actions import cars, components, events
from app.actions.changes import NewStencil
from tests.store.cast import add_car, relief_valve, stamp, visual


@pytest.fixture
def two_cars(record):
    for number in (1, 2):
        record(lambda db, number=number: add_car(db, number))


@pytest.mark.parametrize(
    ("do", "undo", "address", "called"),
    [
        (
            lambda db: events.record_event(db, 1, visual(), stamp()),
            lambda db: events.withdraw_event(db, 1, "by mistake", stamp(1)),
            "/events/1/bring-back",
            "Event",
        ),
        (
            lambda db: cars.mark_stencil(db, 1, NewStencil(visual="2031-01"), stamp()),
            lambda db: cars.withdraw_fact(db, "stencil", 1, "by mistake", stamp(1)),
            "/facts/stencil/1/bring-back",
            "Stencil on the car",
        ),
        (
            lambda db: components.install(db, 1, relief_valve(), stamp()),
            lambda db: components.withdraw(db, 1, "by mistake", stamp(1)),
            "/installations/1/bring-back",
            "Component",
        ),
    ],
)
def test_what_was_withdrawn_is_brought_back_once(
    client, record, two_cars, do, undo, address, called
):
    record(do)
    record(undo)
    assert f'href="{address}"' in client.get("/cars/1").text
    asked = client.get(address)
    assert asked.status_code == 200
    assert f"{called}, recorded on 20" in asked.text
    assert client.post(address).status_code == 200
    again = client.post(address)
    assert again.status_code == 422
    assert "can be brought back, once" in again.text


def test_a_component_is_moved_to_the_car_that_it_was_put_on(client, record, two_cars):
    record(lambda db: components.install(db, 1, relief_valve(), stamp()))
    address = "/installations/1/other-car"
    assert f'href="{address}"' in client.get("/cars/1").text
    wrong = client.post(address, data={"car": "ZQKX 77", "reason": "misread"})
    assert wrong.status_code == 422
    assert "There is not one car named" in wrong.text
    assert client.post(address, data={"car": "ZQKX 2", "reason": "misread"}).status_code == 200
    assert 'href="/installations/2/correct"' in client.get("/cars/2").text

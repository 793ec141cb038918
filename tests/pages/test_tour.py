"""First steps: where the demo is loaded a path through it, ticked off, put away and brought back; else another."""

import re

import pytest

from app.pages.tour import DEMO, OWN
from app.store.gathering import note
from tests.fixtures.web import TestClient
from tests.pages.car_cast import acid_car
from tests.pages.test_car import text


@pytest.fixture
def demo(record) -> int:
    """A register that began as the command for the demo begins one, with one car. Gives its key."""

    def begun(db) -> int:
        note(db, "demo.loaded")
        return acid_car(db)

    return record(begun)


def led_to(client: TestClient, address: str) -> str:
    return client.get(address, follow_redirects=False).headers["location"]


def test_whoever_sees_the_demo_first_is_shown_the_way(client, demo):
    home = client.get("/").text
    assert "First steps in the demo" in home
    assert re.findall(r'href="/tour/(\w+)"', home) == [stop.name for stop in DEMO]
    assert "6 steps are left" in home


def test_what_was_looked_at_is_ticked_off(client, demo):
    assert led_to(client, "/tour/overdue") == "/overdue"
    home = text(client.get("/"))
    assert "5 steps are left" in home
    assert home.count("looked at") == 1
    for stop in DEMO:
        client.get(f"/tour/{stop.name}", follow_redirects=False)
    assert "You have looked at all of it." in text(client.get("/"))


def test_it_is_put_away_and_brought_back_from_the_foot_of_every_page(client, demo):
    client.get("/tour/overdue", follow_redirects=False)
    assert client.post("/tour/close", follow_redirects=False).headers["location"] == "/"
    assert "First steps in the demo" not in client.get("/").text
    assert '<a href="/tour">First steps</a>' in client.get("/fleet").text
    assert "looked at" in text(client.get("/tour"))
    client.post("/tour/open", follow_redirects=False)
    assert "6 steps are left" in text(client.get("/"))


def test_without_the_car_that_is_shown_a_step_leads_to_the_list(client, demo):
    assert led_to(client, "/tour/car") == "/fleet"


def test_a_register_of_ones_own_has_another_path_and_no_panel(client, record):
    assert '<a href="/tour">First steps</a>' in client.get("/").text  # empty
    record(acid_car)
    assert "First steps in the demo" not in client.get("/").text
    page = client.get("/tour").text
    assert re.findall(r'href="/tour/(\w+)"', page) == [stop.name for stop in OWN]
    assert led_to(client, "/tour/fleet") == "/imports?kind=cars"


def test_an_unknown_step_is_not_found(client, demo):
    answer = client.get("/tour/elsewhere")
    assert answer.status_code == 404
    assert "There is no such step." in text(answer)

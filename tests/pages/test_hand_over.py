"""Handing a car over on its page: the form, what it says of the clocks, and the file for the new owner."""

import io
import json
import zipfile

import pytest

from app.store.tables import Car
from tests.pages.car_cast import plain_car
from tests.pages.reading import Page

BUYER = "Marrow Creek Cars (invented)"


@pytest.fixture
def car(record) -> int:
    return record(plain_car)


def hand_over(client, car: int, **form: str):
    return client.post(f"/cars/{car}/hand-over", data={"to": BUYER, "on": "2026-11-25"} | form)


def test_the_page_of_a_car_leads_to_the_form_which_says_what_goes_along(client, car):
    assert f'href="/cars/{car}/hand-over"' in client.get(f"/cars/{car}").text
    words = Page(client.get(f"/cars/{car}/hand-over").text).words
    assert "accounts, visits to shops, owners’ own steps and other cars do not" in words
    assert "The car leaves this register" in words


def test_a_car_is_handed_over_and_its_file_taken(client, car, record):
    answer = hand_over(client, car)
    words = Page(answer.text).words
    assert "The car is handed over." in words
    assert "Until 2027-11-25 the certificate of construction" in words
    address = answer.text.split('href="/hand-overs/')[1].split('"')[0]
    file = client.get(f"/hand-overs/{address}")
    assert "hand-over-zqkx-104513-2026-11-25.zip" in file.headers["content-disposition"]
    with zipfile.ZipFile(io.BytesIO(file.content)) as zipped:
        told = json.loads(zipped.read("manifest.json"))
    assert (told["car"], told["to_party"]) == ("ZQKX 104513", BUYER)
    assert record(lambda db: db.get_one(Car, car).standing) == "sold"
    assert "Hand the car over" not in client.get(f"/cars/{car}/hand-over").text
    changes = Page(client.get("/changes").text).words
    assert "handed a car over to another register" in changes


@pytest.mark.parametrize(
    ("form", "said"),
    [
        ({"to": ""}, "needed"),
        ({"on": "soon"}, "soon"),
        ({"on": "2026-11-26"}, "lies in the future"),
        ({"to": "Quillon Tank Lines"}, "the car is Quillon Tank Lines’s already"),
    ],
)
def test_a_wrong_form_says_why_and_keeps_what_was_typed(client, car, record, form, said):
    answer = hand_over(client, car, **form)
    assert answer.status_code == 422
    assert said.lower() in Page(answer.text).words.lower()
    assert record(lambda db: db.get_one(Car, car).standing) == "in_service"

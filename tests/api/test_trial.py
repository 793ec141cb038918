"""Trying a change by HTTP: before and after, every item's move, and nothing recorded."""

from typing import Any

import pytest

from tests.api.conftest import added

THICKNESS = {"on": "2018-03-15", "items": ["thickness"], "recorded_by": "a test",
             "readings": [{"zone": "shell_bottom", "inches": 0.4}]}  # fmt: skip


def post(client, car: int, **tried: Any):
    return client.post(f"/api/v1/cars/{car}/trial", json=tried)


def test_an_items_move_is_told_beside_both_answers(client) -> None:
    car = added(client, service={"commodity": "Light cycle oil", "corrosive_or_reactive": False})
    client.post(f"/api/v1/cars/{car}/events", json=THICKNESS)
    answer = post(client, car, stated={"corrosive_or_reactive": True})
    assert answer.status_code == 200, answer.text
    told = answer.json()
    move = next(each for each in told["moves"] if each["item"] == "thickness")
    # 49 CFR 180.509(f)(2), 2019 edition: five years for a thin tank in a corrosive lading.
    assert (move["before"]["due_on"], move["after"]["due_on"]) == ("2028-03-15", "2023-03-15")
    assert (move["direction"], move["days"]) == ("earlier", -1827)
    assert told["before"] == client.get(f"/api/v1/cars/{car}/due").json()
    assert told["after"]["loading"]["verdict"] == "may_not_load"


def test_trying_nothing_gives_the_same_answer_twice(client, car: int) -> None:
    told = post(client, car).json()
    assert told["before"] == told["after"]
    assert {each["direction"] for each in told["moves"]} == {"unchanged"}


@pytest.mark.parametrize(
    ("tried", "path"),
    [
        ({"lading": {}}, "lading"),
        ({"service": {"comodity": "Acid"}}, "service.comodity"),
        ({"lining": {"what": "painted", "on": "2026-01-01"}}, "lining.what"),
        ({"lining": {"what": "applied"}}, "lining.on"),
        ({"lining": {"what": "applied", "on": "2026-12-01"}}, "lining.on"),
        ({"lining": {"what": "applied", "on": "2026-10"}}, "lining.on"),
        ({"stencil": {"marked_on": "2027-01-01", "due": {"visual": "2030"}}}, "stencil.marked_on"),
        ({"approval": {"item": "leakage", "interval_months": 12}}, "approval.item"),
        ({"owner_interval_months": {"lining": 0}}, "owner_interval_months.lining"),
        ({"settings": {"due_precision": "week"}}, "settings.due_precision"),
        ({"as_of": "2026-11"}, "as_of"),
        ({"as_of": 20261125}, "as_of"),
    ],
)
def test_what_cannot_be_tried_is_refused_at_its_place(client, car: int, tried, path: str) -> None:
    answer = post(client, car, **tried)
    assert answer.status_code == 422
    assert [fault["path"] for fault in answer.json()["error"]["faults"]] == [path]


def test_no_car_is_404(client) -> None:
    assert post(client, 999).status_code == 404

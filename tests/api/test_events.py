"""Inspections by HTTP: recorded once, moving the dates in the same answer, corrected with both kept."""

from typing import Any

import pytest

from app.api.events import CORRECTION, INSPECTION
from tests.api.conftest import added

KEY = {"Idempotency-Key": "5f0c1f7e-6f0b-4d2a-9d5e-0c6a3f4b7a11"}


def visual(answer: dict[str, Any]) -> str:
    return next(item["due_on"] for item in answer["items"] if item["item"] == "visual")


def record(client, car: int, headers: dict[str, str] | None = None, **fields: Any):
    return client.post(f"/api/v1/cars/{car}/events", json=INSPECTION | fields, headers=headers)


def history(client, car: int) -> list[dict[str, Any]]:
    rows: list[dict[str, Any]] = client.get(f"/api/v1/cars/{car}/events").json()["rows"]
    return rows


def test_recording_moves_the_dates_in_the_same_answer(client, car: int) -> None:
    before = client.get(f"/api/v1/cars/{car}/due").json()
    answer = record(client, car)
    assert answer.status_code == 201, answer.text
    # Ten years from the inspection, 49 CFR 180.509(c)(2), 2019 edition.
    assert (visual(before), visual(answer.json()["due"])) == ("2018-03-15", "2036-11-03")
    assert client.get(f"/api/v1/cars/{car}/due").json() == answer.json()["due"]
    shown = client.get(answer.headers["Location"]).json()
    assert shown == answer.json()["event"] == history(client, car)[0]
    assert [reading["inches"] for reading in shown["readings"]] == [0.441, 0.437]
    assert (shown["recorded_by"], shown["in_force"]) == (
        "Test Planner (maintenance system)",
        True,
    )


def test_a_month_is_kept_as_a_month(client, car: int) -> None:
    assert record(client, car, on="2026-10").json()["event"]["on"] == "2026-10"


def test_the_same_inspection_twice_is_a_conflict(client, car: int) -> None:
    record(client, car)
    again = record(client, car)
    assert again.status_code == 409
    assert "already recorded as event 1" in again.json()["error"]["message"]
    assert len(history(client, car)) == 1


def test_a_request_sent_again_with_its_key_adds_nothing(any_client) -> None:
    car = added(any_client)
    first = record(any_client, car, KEY)
    again = record(any_client, car, KEY)
    assert (first.status_code, again.status_code) == (201, 200)
    assert again.json() == first.json()
    assert len(history(any_client, car)) == 1


@pytest.mark.parametrize(
    "other",
    [
        {"on": "2026-11-02"},
        {"outcome": "fail"},
        {"notes": "more"},
        {"readings": []},
        {"readings": [INSPECTION["readings"][0] | {"inches": 0.442}, INSPECTION["readings"][1]]},
    ],
)
def test_a_key_used_for_something_else_is_a_conflict_and_not_lost(
    client, car: int, other: dict[str, Any]
) -> None:
    record(client, car, KEY)
    answer = record(client, car, KEY, **other)
    assert answer.status_code == 409
    assert "which says something else" in answer.json()["error"]["message"]


def test_a_correction_takes_the_place_of_the_event_and_both_stay(client, car: int) -> None:
    record(client, car)
    answer = client.post("/api/v1/events/1/correction", json=CORRECTION, headers=KEY)
    assert answer.status_code == 201, answer.text
    assert visual(answer.json()["due"]) == "2036-11-04"
    new, old = history(client, car)
    assert (new["corrects"], new["in_force"], new["notes"]) == (1, True, "the day was misread")
    assert (old["corrected_by"], old["in_force"], old["on"]) == (new["id"], False, "2026-11-03")
    again = client.post("/api/v1/events/1/correction", json=CORRECTION, headers=KEY)
    assert (again.status_code, again.json()) == (200, answer.json())
    other = client.post("/api/v1/events/1/correction", json=CORRECTION | {"on": "2026-11-05"})
    assert other.status_code == 409
    assert "already corrected" in other.json()["error"]["message"]


@pytest.mark.parametrize(
    ("fields", "paths"),
    [
        ({"on": "2026-11-26"}, ["on"]),  # in the future
        ({"on": "2008-03-14"}, ["on"]),  # before the car was built
        ({"on": "11/3/2026"}, ["on"]),
        ({"on": "2026-10", "outcome": "fail"}, ["on"]),  # a failure needs its day
        ({"items": []}, ["items"]),
        ({"items": ["paint"]}, ["items.0"]),
        ({"items": ["age_limit"]}, ["items.0"]),  # a last day is counted, never inspected
        ({"opens": ["visual"]}, ["opens"]),
        ({"inspecter": "I. Nobody"}, ["inspecter"]),
        ({"facility": "x" * 201}, ["facility"]),
        ({"facility": "a\x00b"}, ["request"]),
        ({"readings": [{"zone": "roof", "inches": 0.4}]}, ["readings.0.zone"]),
        ({"readings": [{"zone": "head_a", "inches": 0}]}, ["readings.0.inches"]),
        ({"readings": [{"zone": "head_a", "inches": 0.4375001}]}, ["readings.0.inches"]),
        ({"readings": [{"zone": "head_a", "inches": True}]}, ["readings.0.inches"]),
    ],
)
def test_a_fault_is_told_at_its_place_and_nothing_is_recorded(
    client, car: int, fields: dict[str, Any], paths: list[str]
) -> None:
    answer = record(client, car, **fields)
    assert answer.status_code == 422, answer.text
    assert [fault["path"] for fault in answer.json()["error"]["faults"]] == paths
    assert history(client, car) == []


def test_a_likely_slip_is_asked_about_and_taken_when_confirmed(client, car: int) -> None:
    slip = {"zone": "shell_top", "inches": 4.37}
    asked = record(client, car, readings=[slip])
    assert asked.status_code == 422
    assert "did you mean 0.437?" in asked.json()["error"]["faults"][0]["problem"]
    assert record(client, car, readings=[slip | {"confirmed": True}]).status_code == 201


@pytest.mark.parametrize("key", ["", "x" * 41])
def test_a_key_that_cannot_be_kept_is_422(client, car: int, key: str) -> None:
    answer = record(client, car, {"Idempotency-Key": key})
    assert answer.status_code == 422
    assert [fault["path"] for fault in answer.json()["error"]["faults"]] == ["idempotency-key"]


@pytest.mark.parametrize(
    ("method", "address"),
    [
        ("GET", "/api/v1/events/7"),
        ("POST", "/api/v1/events/7/correction"),
        ("POST", "/api/v1/cars/7/events"),
    ],
)
def test_what_is_not_in_the_register_is_404(client, method: str, address: str) -> None:
    answer = client.request(method, address, json=INSPECTION)
    assert answer.status_code == 404
    assert "7" in answer.json()["error"]["message"]

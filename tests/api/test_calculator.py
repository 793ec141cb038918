"""Due dates and stencils by HTTP: the same answers and the same faults as everywhere."""

import json

import pytest

from app import answers
from app.api.calculator import REQUEST
from app.errors import Refused


def test_a_request_is_answered_as_the_calculator_answers_it(client) -> None:
    answer = client.post("/api/v1/due-dates", json=REQUEST)
    assert answer.status_code == 200
    assert answer.json() == answers.due_dates(REQUEST)


def test_a_list_of_requests_gives_a_list_of_answers(client) -> None:
    answer = client.post("/api/v1/due-dates", json=[REQUEST, REQUEST])
    assert answer.json() == answers.due_dates([REQUEST, REQUEST])


def test_a_number_keeps_every_digit_that_is_written(client) -> None:
    # One part in 10**20 above line C of 7/16 in (0.40625, 49 CFR 180.509(g), 2019 edition) is
    # above it; the nearest binary number is not.
    body = json.dumps(REQUEST | {"car": REQUEST["car"] | {"tank": {
        "required_thickness_in": {"shell_bottom": 0.4375}}}})  # fmt: skip
    for inches, verdict in (
        ("0.40625", "at_or_below_c"),
        ("0.40625000000000000001", "above_c"),
    ):
        answer = client.post(
            "/api/v1/due-dates",
            content=body.replace('"inches": 0.4375', f'"inches": {inches}'),
            headers={"Content-Type": "application/json"},
        )
        zones = {zone["zone"]: zone for zone in answer.json()["thickness"]}
        assert zones["shell_bottom"]["verdict"] == verdict


@pytest.mark.parametrize(
    ("content", "kind", "path", "problem"),
    [
        (b"", "application/json", "request", "is required"),
        (b"{", "application/json", "request", "not JSON: column 2"),
        (b"7", "application/json", "request", "must be an object, got 7"),
        (b"[[]]", "application/json", "0", "must be an object"),
        (b'{"a": NaN}', "application/json", "request", "NaN is no number"),
        (b"\xff", "application/json", "request", "not UTF-8"),
        (b'["\\ud800"]', "application/json", "request", "a \\u escape names no character"),
        (b"[" * 99_999, "application/json; charset=utf-8", "request", "lists and objects are"),
        (b"{}", "text/plain", "request", "is not marked as JSON"),
        (b"{}", "application/x-www-form-urlencoded", "request", "is not marked as JSON"),
        (b'{"as_of": "2026-11-25"}', "application/json", "car", "is required"),
        (b'{"asof": 1}', "application/merge-patch+json", "asof", "is not a field that is known"),
    ],
)
def test_what_cannot_be_read_is_422_with_the_place(
    client, content: bytes, kind: str, path: str, problem: str
) -> None:
    answer = client.post("/api/v1/due-dates", content=content, headers={"Content-Type": kind})
    assert answer.status_code == 422
    faults = answer.json()["error"]["faults"]
    assert any(
        fault["path"] == path and fault["problem"].startswith(problem) for fault in faults
    ), faults


def test_faults_are_those_of_the_calculator_itself(client) -> None:
    wrong = REQUEST | {"car": REQUEST["car"] | {"number": 0, "built_on": "2030-01-01"}}
    with pytest.raises(Refused) as refused:
        answers.due_dates(wrong)
    faults = [{"path": fault.path, "problem": fault.problem} for fault in refused.value.faults]
    assert client.post("/api/v1/due-dates", json=wrong).json()["error"]["faults"] == faults


@pytest.mark.parametrize("text", ["DOT 111A100W1", "dot111a100w1", "DOT%20111A100W1"])
def test_a_specification_is_decoded(client, text: str) -> None:
    answer = client.get(f"/api/v1/stencils/{text}")
    assert answer.json() == answers.decode("DOT 111A100W1")


@pytest.mark.parametrize("text", ["DOT 999A100W1", "111/A", "%20", "%00", "9" * 150])
def test_what_is_no_specification_is_422_and_shows_the_place(client, text: str) -> None:
    answer = client.get(f"/api/v1/stencils/{text}")
    assert answer.status_code == 422
    assert [fault["path"] for fault in answer.json()["error"]["faults"]] == ["specification"]

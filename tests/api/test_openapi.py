"""The API's own description: complete, true to what is answered, and readable by people."""

import json
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from jsonschema_rs import Draft202012Validator
from sqlalchemy.orm import Session

from app.actions import directives
from app.actions.directives import NewDirective, Term
from app.actions.stamp import Stamp
from app.answers.request import Request
from app.api.cars import NEW_CAR
from app.api.cars_in import CarIn
from app.api.event_schemas import EventIn
from app.api.field import BEGUN
from app.api.field_pictures import EXAMPLE
from app.store import facilities
from tests.fixtures.web import NOW, TODAY

Operation = tuple[str, str, dict[str, Any]]
# What the addresses name, by the examples that were sent before: the first of each.
NAMED = {
    "car_id": 1, "event_id": 1, "visit_id": 1, "text": "DOT 111A100W1",
    "mark": NEW_CAR["mark"], "number": NEW_CAR["number"], "report_key": BEGUN["report"],
    "digest": EXAMPLE, "directive_id": 1,
}  # fmt: skip
DESCRIPTION = "/api/v1/openapi.json"


@pytest.fixture
def described(client) -> dict[str, Any]:
    found: dict[str, Any] = client.get(DESCRIPTION).json()
    return found


def operations(described: dict[str, Any]) -> Iterator[Operation]:
    for path, methods in described["paths"].items():
        for method, told in methods.items():
            yield method, path, told


def check(described: dict[str, Any], schema: dict[str, Any], value: Any) -> None:
    whole = schema | {"components": described["components"]}
    faults = [str(fault.message) for fault in Draft202012Validator(whole).iter_errors(value)]
    assert not faults


def answer_schema(told: dict[str, Any], status: int) -> dict[str, Any]:
    schema: dict[str, Any] = told["responses"][str(status)]["content"]["application/json"]["schema"]
    return schema


def bodies(told: dict[str, Any]) -> list[Any]:
    content = told.get("requestBody", {}).get("content", {}).get("application/json", {})
    return [each["value"] for each in content.get("examples", {}).values()]


def takes_bytes(told: dict[str, Any]) -> bool:
    """A piece of a file, of which no example is worth reading."""
    return "application/octet-stream" in told.get("requestBody", {}).get("content", {})


def test_every_operation_is_described_in_full(described) -> None:
    for method, path, told in operations(described):
        assert path.startswith("/api/v1/")
        assert told["summary"], path
        assert told["description"], path
        assert told["tags"], path
        sends = bool(bodies(told)) or takes_bytes(told)
        assert ("requestBody" in told) == sends == (method in ("post", "put")), path
        assert all(each.get("description") or each["in"] == "path" or each["schema"]
                   for each in told.get("parameters", ())), path  # fmt: skip


def test_every_error_has_the_one_shape(described) -> None:
    for method, path, told in operations(described):
        errors = [status for status in told["responses"] if status.startswith(("4", "5"))]
        assert "422" in errors, path
        names_a_thing = any(each in path for each in ("_id}", "_key}", "{mark}"))
        # Of a photograph that nobody sent, nothing has come; only its report must be there.
        assert ("404" in errors) == (names_a_thing or method == "put"), path
        for status in errors:
            assert answer_schema(told, int(status)) == {"$ref": "#/components/schemas/ErrorOut"}
    assert "HTTPValidationError" not in described["components"]["schemas"]


def test_the_pages_for_people_are_not_in_it(described) -> None:
    assert all(path.startswith("/api/v1/") for path in described["paths"])


def test_every_example_fits_its_schema_and_works_when_it_is_sent(client, described, record) -> None:
    """In the order of the description: a car is added before an event of it is recorded."""
    record(_directive)
    sent = 0
    order = sorted(operations(described), key=lambda each: (each[0] == "get", len(each[1])))
    for method, path, told in order:
        address = path.format(**NAMED)
        if takes_bytes(told):
            continue
        for body in bodies(told) or [None]:
            if body is not None:
                schema = told["requestBody"]["content"]["application/json"]["schema"]
                check(described, schema, body)
            answer = client.request(method, address, json=body)
            assert answer.status_code in (200, 201), (address, answer.text)
            check(described, answer_schema(told, answer.status_code), answer.json())
            sent += 1
    assert sent == 27


def _directive(db: Session) -> None:
    """Directives are made on pages alone."""
    party = facilities.own_parties(db)[0]
    order = NewDirective(
        party.id, "maker", "Invented Works", "B-7", "Look at the skids", "Look at them.", TODAY, TODAY,
        Term(due_days=90), {"specification": "DOT 111"},
    )  # fmt: skip
    directives.freeze(db, order, Stamp("Fixture", NOW, TODAY))


def test_every_example_of_an_answer_fits_its_schema(described) -> None:
    found = 0
    for _, _, told in operations(described):
        for answer in told["responses"].values():
            content = answer.get("content", {}).get("application/json", {})
            if "example" in content:
                check(described, content["schema"], content["example"])
                found += 1
    assert found == 2


@pytest.mark.parametrize(
    ("method", "address", "body", "status"),
    [
        ("GET", "/api/v1/nothing", None, 404),
        ("GET", "/api/v1/due-dates", None, 405),
        ("DELETE", "/api/v1/cars/1", None, 405),
        ("GET", "/api/v1/cars/1", None, 404),
        ("POST", "/api/v1/cars", {}, 422),
        ("GET", "/api/v1/cars?limit=x", None, 422),
    ],
)
def test_what_goes_wrong_is_answered_in_that_shape(
    client, described, method: str, address: str, body: Any, status: int
) -> None:
    answer = client.request(method, address, json=body)
    assert answer.status_code == status
    check(described, {"$ref": "#/components/schemas/ErrorOut"}, answer.json())


def test_a_change_that_another_site_asks_for_is_refused(client) -> None:
    answer = client.post("/api/v1/cars", json={}, headers={"Sec-Fetch-Site": "cross-site"})
    assert answer.status_code == 403
    assert answer.json()["error"]["message"]


@pytest.mark.parametrize("model", [Request, CarIn, EventIn])
def test_a_misspelt_field_is_refused_by_every_body(model) -> None:
    assert model.model_config["extra"] == "forbid"


def test_the_page_for_people_tells_every_operation_and_loads_nothing_from_elsewhere(
    client, described
) -> None:
    answer = client.get("/api/v1/docs")
    assert answer.status_code == 200
    assert "default-src 'none'" in answer.headers["Content-Security-Policy"]
    for _, path, told in operations(described):
        assert path in answer.text
        assert told["summary"].replace("'", "&#39;") in answer.text
    assert "http://" not in answer.text
    assert "https://" not in answer.text
    assert "<script>" not in answer.text


@pytest.mark.parametrize("address", ["/docs", "/redoc", "/openapi.json"])
def test_the_framework_s_own_pages_are_off(client, address: str) -> None:
    assert client.get(address).status_code == 404


def test_the_description_is_plain_json_without_machine_paths(client) -> None:
    """No path of the machine it runs on: of a home, or of where the program, Python or its data lie."""
    text = json.dumps(client.get(DESCRIPTION).json())
    lying = [Path(__file__).resolve().parents[2], Path(sys.prefix), Path(tempfile.gettempdir())]
    places = [Path.home(), *lying, *(place for each in lying for place in each.parents)]
    assert not [place for place in places if place.name and f"{place}/" in text]

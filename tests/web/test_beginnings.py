"""Routers are tried by how their addresses begin, and answer as if all were tried."""

import pytest
from fastapi import APIRouter, FastAPI
from fastapi.testclient import TestClient

from app.web.beginnings import by_beginning


def made(*routers: tuple[str, APIRouter]) -> TestClient:
    return TestClient(FastAPI(routes=by_beginning(APIRouter(), routers)))


@pytest.fixture
def client() -> TestClient:
    api, first, second = APIRouter(), APIRouter(), APIRouter(prefix="/cars")
    api.get("/cars/{key}")(lambda key: f"api {key}")
    first.get("/")(lambda: "home")
    first.get("/cars/{key}/now")(lambda key: f"now {key}")
    first.get("/fleet.csv")(lambda: "csv")
    second.get("/{key}")(lambda key: f"car {key}")
    second.post("/{key}")(lambda key: f"changed {key}")
    return made(("/api/v1", api), ("", first), ("", second))


@pytest.mark.parametrize(
    ("address", "status", "said"),
    [
        ("/", 200, "home"),
        ("/cars/7", 200, "car 7"),
        ("/cars/7/now", 200, "now 7"),  # two routers begin so
        ("/cars/7/", 200, "car 7"),  # led on to the address without its slash
        ("/fleet.csv", 200, "csv"),
        ("/api/v1/cars/7", 200, "api 7"),
        ("/fleet", 404, None),
        ("/car", 404, None),
        ("/cars", 404, None),
        ("//cars/7", 404, None),
        ("/api/v1", 404, None),
        ("/api/v2/cars/7", 404, None),
    ],
)
def test_an_address_leads_to_the_route_that_has_it(
    client: TestClient, address: str, status: int, said: str | None
) -> None:
    answer = client.get(f"http://testserver{address}")
    assert (answer.status_code, answer.json() if said else None) == (status, said)


def test_a_method_that_the_address_does_not_take_is_told_as_such(client: TestClient) -> None:
    assert client.post("/cars/7").json() == "changed 7"
    answer = client.post("/cars/7/now")
    assert (answer.status_code, answer.headers["Allow"]) == (405, "GET")


def test_a_router_that_begins_with_something_variable_is_refused() -> None:
    with pytest.raises(ValueError, match="something variable"):
        made(("", APIRouter(routes=_variable())))


def test_a_router_within_a_router_is_refused() -> None:
    within, around = APIRouter(), APIRouter()
    within.get("/cars")(lambda: "cars")
    around.include_router(within)
    with pytest.raises(TypeError, match="never be tried"):
        made(("", around))


def _variable() -> list:
    router = APIRouter()
    router.get("/{what}/now")(lambda what: what)
    return router.routes

"""A change is taken only when a page of the register asked for it."""

from collections.abc import Iterator
from typing import Any

import pytest
from fastapi import FastAPI
from fastapi.routing import APIRoute
from fastapi.testclient import TestClient
from starlette.routing import BaseRoute

from app import api, pages
from app.main import create_app
from app.settings import Settings
from app.web.admission import READING

SIGNED_IN = [{"Cookie": "session=x"}, {"Cookie": "__Host-session=x"}, {"Cookie": "a=b; session=x"}]


@pytest.fixture
def bare(web_app: FastAPI) -> Iterator[TestClient]:
    """A client that says nothing of where it asks from."""
    with TestClient(web_app, raise_server_exceptions=False) as asking:
        yield asking


def api_routes(routes: list[BaseRoute]) -> Iterator[APIRoute]:
    for route in routes:
        if isinstance(route, APIRoute):
            yield route
        inner = getattr(route, "original_router", None) or getattr(route, "router", None)
        if inner is not None:
            yield from api_routes(inner.routes)


@pytest.mark.parametrize("cookie", SIGNED_IN)
def test_with_a_sign_in_a_change_says_which_page_asked(
    bare: TestClient, cookie: dict[str, str]
) -> None:
    refused = bare.post("/ladings/new", headers=cookie, data={"name": "Slipped in"})
    assert refused.status_code == 403
    assert "did not say which page" in refused.text


@pytest.mark.parametrize(
    "said", [{"Sec-Fetch-Site": "same-origin"}, {"Origin": "http://testserver"}]
)
def test_either_way_of_saying_so_passes_the_gate(bare: TestClient, said: dict[str, str]) -> None:
    answer = bare.post("/nothing", headers=SIGNED_IN[0] | said)
    assert answer.status_code == 404


@pytest.mark.parametrize(
    ("base", "public", "origin", "status"),
    [
        ("http://localhost", "", "http://localhost", 404),
        ("http://localhost", "", "https://localhost", 403),  # the same host by the other scheme
        ("https://localhost", "", "http://localhost", 403),
        ("http://localhost:8000", "", "http://localhost:8000", 404),
        ("http://localhost:8000", "", "http://localhost", 403),  # another port
        ("http://localhost", "", "null", 403),  # a page without an origin
        ("http://localhost", "", "", 403),
        ("http://localhost", "", "//localhost", 403),
        ("https://register.example", "https://register.example", "https://register.example", 404),
        ("https://register.example", "https://register.example", "http://register.example", 403),
        # A proxy on the machine itself that keeps no name: the address people open is told.
        ("http://localhost", "https://register.example", "https://register.example", 404),
    ],
)
def test_an_older_browser_tells_the_asking_page_by_scheme_host_and_port(
    sqlite_url: str, base: str, public: str, origin: str, status: int
) -> None:
    app = create_app(Settings(database_url=sqlite_url, public_url=public))
    options: dict[str, Any] = {"client": ("127.0.0.1", 5000), "raise_server_exceptions": False}
    with TestClient(app, base_url=base, **options) as asking:
        assert asking.post("/nothing", headers={"Origin": origin}).status_code == status


def test_a_program_with_a_token_and_no_cookie_need_not_say_it(bare: TestClient) -> None:
    assert bare.post("/nothing", headers={"Authorization": "Bearer x"}).status_code == 404


def test_reading_with_a_sign_in_needs_no_such_word(bare: TestClient) -> None:
    assert bare.get("/nothing", headers=SIGNED_IN[0]).status_code == 404


@pytest.mark.parametrize("method", ["POST", "PUT", "PATCH", "DELETE", "LINK", "post"])
@pytest.mark.parametrize("site", ["cross-site", "same-site", "", "SAME-ORIGIN", "anything"])
def test_every_method_but_reading_is_held_to_it(bare: TestClient, method: str, site: str) -> None:
    answer = bare.request(method, "/about", headers={"Sec-Fetch-Site": site})
    assert answer.status_code == 403


def test_every_route_that_changes_something_is_behind_the_gate(bare: TestClient) -> None:
    changing = _changing()
    assert len(changing) > 15
    for method, path in changing:
        headers = {"Sec-Fetch-Site": "cross-site"}
        assert bare.request(method, path, headers=headers).status_code == 403, (method, path)


def _changing() -> set[tuple[str, str]]:
    return {
        (method, route.path)
        for router in (*pages.ROUTERS, api.router)
        for route in api_routes(router.routes)
        for method in route.methods - READING
    }


def test_no_other_site_may_read_an_answer(bare: TestClient) -> None:
    for path in ("/about", "/api/v1/openapi.json", "/health"):
        answer = bare.get(path, headers={"Origin": "http://evil.example"})
        assert not [name for name in answer.headers if name.startswith("access-control")]
        assert answer.headers["cross-origin-resource-policy"] == "same-origin"


def test_a_question_ahead_of_a_change_from_elsewhere_gets_no_leave(bare: TestClient) -> None:
    asked = {
        "Origin": "http://evil.example",
        "Access-Control-Request-Method": "POST",
        "Access-Control-Request-Headers": "content-type",
    }
    answer = bare.options("/api/v1/cars", headers=asked)
    assert answer.status_code == 405
    assert not [name for name in answer.headers if name.startswith("access-control")]

"""How often one address or one person may ask."""

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import pytest
from fastapi import Request
from fastapi.testclient import TestClient

from app.main import create_app
from app.settings import Settings
from app.web.limits import COSTLY, Limits, cost_of, count_person, counted_address


@contextmanager
def asked_from(url: str, client: str, **given: Any) -> Iterator[TestClient]:
    app = create_app(Settings(database_url=url, **given))

    def mine(request: Request) -> dict[str, str]:
        count_person(request, request.headers["person"])
        return {}

    app.add_api_route("/mine", mine)
    app.add_api_route("/api/mine", mine)
    with TestClient(app, client=(client, 5000), raise_server_exceptions=False) as asking:
        yield asking


def test_an_address_that_asks_too_often_is_told_when_to_come_back(sqlite_url: str) -> None:
    with asked_from(sqlite_url, "203.0.113.9", requests_per_minute_address=5) as client:
        assert [client.get("/about").status_code for _ in range(5)] == [200] * 5
        answer = client.get("/about")
        assert answer.status_code == 429
        assert 1 <= int(answer.headers["retry-after"]) <= 60
        assert "Try again in" in answer.text
        assert "<html" in answer.text, "our own page"
        assert client.get("/api/v1/docs").json()["error"]["message"]
        assert client.get("/static/style.css").status_code == 200, "or the page could not be read"


def test_another_address_is_not_held_up(sqlite_url: str) -> None:
    limits = Limits(Settings(requests_per_minute_address=3))
    assert [limits.count("address", "203.0.113.9") for _ in range(4)][3] > 0
    assert limits.count("address", "203.0.113.10") == 0


def test_behind_a_proxy_the_browser_is_counted_and_cannot_lie_about_itself(sqlite_url: str) -> None:
    given = {"requests_per_minute_address": 2, "trusted_proxies": ("10.1.2.3",)}
    with asked_from(sqlite_url, "10.1.2.3", **given) as client:
        for number in range(2):  # each time another lie before what the proxy wrote
            told = {"X-Forwarded-For": f"192.0.2.{number}, 198.51.100.4"}
            assert client.get("/about", headers=told).status_code == 200
        third = {"X-Forwarded-For": "192.0.2.99, 198.51.100.4"}
        assert client.get("/about", headers=third).status_code == 429
        assert client.get("/about", headers={"X-Forwarded-For": "198.51.100.5"}).status_code == 200


@pytest.mark.parametrize("client", ["127.0.0.1", "::1", "testclient"])
def test_the_tools_of_this_machine_are_not_counted(sqlite_url: str, client: str) -> None:
    given = {"requests_per_minute_address": 2, "requests_per_minute_person": 2}
    with asked_from(sqlite_url, client, **given) as asking:
        assert {asking.get("/health").status_code for _ in range(6)} == {200}
        assert {asking.get("/mine", headers={"person": "1"}).status_code for _ in range(4)} == {200}


def test_a_person_is_counted_wherever_they_ask_from(sqlite_url: str) -> None:
    given = {"requests_per_minute_person": 3, "trusted_proxies": ("10.1.2.3",)}
    with asked_from(sqlite_url, "10.1.2.3", **given) as client:
        ada = [{"person": "1", "X-Forwarded-For": f"203.0.113.{n}"} for n in range(5)]
        told = [client.get("/mine", headers=each).status_code for each in ada[:4]]
        assert told == [200] * 3 + [429]
        answer = client.get("/api/mine", headers=ada[4])
        assert answer.status_code == 429
        assert int(answer.headers["retry-after"]) >= 1
        assert client.get("/mine", headers=ada[0] | {"person": "2"}).status_code == 200


def test_nought_is_no_limit() -> None:
    limits = Limits(Settings(requests_per_minute_address=0))
    assert not any(limits.count("address", "203.0.113.9") for _ in range(5_000))


@pytest.mark.parametrize(
    ("method", "path", "cost"),
    [
        ("GET", "/fleet", 1),
        ("GET", "/static/style.css", 0),
        ("GET", "/fleet.csv", COSTLY),
        ("GET", "/due.xlsx", COSTLY),
        ("POST", "/imports", COSTLY),
        ("GET", "/imports", 1),
        ("POST", "/cars/3/events", 1),
    ],
)
def test_what_takes_much_work_counts_for_more(method: str, path: str, cost: int) -> None:
    assert cost_of(method, path) == cost


@pytest.mark.parametrize(
    ("client", "counted"),
    [
        ("203.0.113.9", "203.0.113.9"),
        ("2001:db8:1:2:3::4", "2001:db8:1:2::/64"),  # a customer may take any of these
        ("2001:db8:1:2:ffff::9", "2001:db8:1:2::/64"),
        ("127.0.0.9", ""),
        ("", ""),
    ],
)
def test_an_address_is_counted_by_whose_it_is(client: str, counted: str) -> None:
    assert counted_address((client, 1)) == counted


def test_wrong_answers_to_the_gate_are_counted_as_well(sqlite_url: str) -> None:
    with asked_from(sqlite_url, "203.0.113.9", requests_per_minute_address=3) as client:
        elsewhere = {"Origin": "http://evil.example"}
        told = [
            client.post("/imports/0/take-back", headers=elsewhere).status_code for _ in range(5)
        ]
    assert told[-1] == 429

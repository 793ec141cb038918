"""The application on a real store on 25 November 2026, and one car to ask about."""

import warnings
from collections.abc import Iterator
from datetime import UTC, datetime
from typing import Any

import pytest

from app.api.cars import NEW_CAR
from app.main import create_app
from app.settings import Settings
from tests.fixtures.people import COOKIES, beforehand, let_in

with warnings.catch_warnings():
    # It would rather have another HTTP client than the one our lock file holds.
    warnings.simplefilter("ignore")
    from starlette.testclient import TestClient

NOON = datetime(2026, 11, 25, 12, tzinfo=UTC)


@pytest.fixture
def client(sqlite_url: str) -> Iterator[TestClient]:
    with _signed_in(sqlite_url) as asking:
        yield asking


@pytest.fixture
def any_client(migrated_url: str) -> Iterator[TestClient]:
    """The same on each kind of database."""
    with _signed_in(migrated_url) as asking:
        yield asking


def _signed_in(url: str) -> TestClient:
    app = create_app(Settings(database_url=url), lambda: NOON)
    with beforehand(app.state.sessions) as db:
        let_in(db)
    return TestClient(app, cookies=dict(COOKIES), headers={"Origin": "http://testserver"})


@pytest.fixture
def car(client: TestClient) -> int:
    """The key of a car in the register."""
    return added(client)


def added(client: TestClient, **facts: Any) -> int:
    answer = client.post("/api/v1/cars", json=NEW_CAR | facts)
    assert answer.status_code == 201, answer.text
    key: int = answer.json()["id"]
    return key

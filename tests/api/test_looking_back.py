"""The register by HTTP as of a day, as known at a moment."""

from collections.abc import Iterator
from datetime import UTC, datetime
from typing import Any

import pytest
from fastapi.testclient import TestClient

from app.main import create_app
from app.settings import Settings
from tests.api.conftest import added
from tests.fixtures.people import beforehand, let_in
from tests.fixtures.web import asking as signed_in


class Clock:
    """The application's, to be put forward."""

    now = datetime(2026, 11, 20, 12, tzinfo=UTC)

    def __call__(self) -> datetime:
        return self.now


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def asking(migrated_url: str, clock: Clock) -> Iterator[TestClient]:
    app = create_app(Settings(database_url=migrated_url), clock)
    with beforehand(app.state.sessions) as db:
        let_in(db)
    with signed_in(app) as client:
        yield client


def answers(client: TestClient, key: int, **asked: str) -> list[Any]:
    """Of a car, its due items, the due list and the register; without what says from where they were seen."""
    found = [
        client.get(path, params=asked).json()
        for path in (
            f"/api/v1/cars/{key}",
            f"/api/v1/cars/{key}/due",
            "/api/v1/due",
            "/api/v1/cars",
        )
    ]
    for answer in found:
        known_at = answer.pop("known_at", None)
        assert (known_at is None) is ("known" not in asked)
        answer.pop("next_after", None)
    return found


def test_what_was_answered_before_an_event_is_answered_again(
    asking: TestClient, clock: Clock
) -> None:
    key = added(asking, relief_device=None)
    before = answers(asking, key)
    clock.now = datetime(2026, 11, 25, 12, tzinfo=UTC)
    event = {"on": "2026-11-19", "items": ["visual"], "recorded_by": "maintenance system"}
    assert asking.post(f"/api/v1/cars/{key}/events", json=event).status_code == 201
    after = answers(asking, key)
    assert after[2]["rows"] != before[2]["rows"]
    assert answers(asking, key, known="2026-11-20T12:00") == before
    assert answers(asking, key, as_of="2026-11-20", known="2026-11-24") == before
    assert answers(asking, key, known="2026-11-25T12:00") == after
    assert answers(asking, key, as_of="2026-11-25") == after
    # By what is known now, seen from the day before it happened, it does not count either.
    then = answers(asking, key, as_of="2026-11-18")
    items = {item["item"]: item["due_on"] for item in then[1]["items"]}
    assert items["visual"] == next(
        item["due_on"] for item in before[1]["items"] if item["item"] == "visual"
    )


def test_it_says_from_where_it_was_seen(asking: TestClient, clock: Clock) -> None:
    key = added(asking)
    clock.now = datetime(2026, 11, 25, 12, tzinfo=UTC)
    for path in (f"/api/v1/cars/{key}", f"/api/v1/cars/{key}/due", "/api/v1/due", "/api/v1/cars"):
        answer = asking.get(path, params={"known": "2026-11-20"}).json()
        assert answer["as_of"] == "2026-11-20", path
        assert answer["known_at"] == "2026-11-20T23:59:59.999999Z", path


def test_a_moment_of_an_answer_can_be_asked_for(asking: TestClient, clock: Clock) -> None:
    clock.now = datetime(2026, 11, 20, 12, 0, 20, 500_000, tzinfo=UTC)
    key = added(asking)
    clock.now = datetime(2026, 11, 25, 12, tzinfo=UTC)
    address = f"/api/v1/cars/{key}"
    for asked, status, known_at in (
        ("2026-11-20T12:00:19Z", 404, None),
        ("2026-11-20T12:00:20.499999Z", 404, None),
        ("2026-11-20T12:00:20.5Z", 200, "2026-11-20T12:00:20.599999Z"),
        ("2026-11-20T12:00:20.500000Z", 200, "2026-11-20T12:00:20.500000Z"),
        ("2026-11-20T12:00:20Z", 200, "2026-11-20T12:00:20.999999Z"),
        ("2026-11-20T13:00+01:00", 200, "2026-11-20T12:00:59.999999Z"),
    ):
        answer = asking.get(address, params={"known": asked})
        assert answer.status_code == status, asked
        if known_at:
            assert answer.json()["known_at"] == known_at
            again = asking.get(address, params={"known": known_at})
            assert again.json() == answer.json()


@pytest.mark.parametrize(
    ("asked", "path", "said"),
    [
        ({"known": "2026-11-21"}, "known", "has not come yet"),
        ({"known": "soon"}, "known", "want a day YYYY-MM-DD"),
        ({"as_of": "1066-10-14"}, "as_of", "want a day from 1850-01-01"),
        ({"as_of": "9999-12-31"}, "as_of", "want a day from 1850-01-01"),
    ],
)
def test_what_cannot_be_asked_is_told_at_its_place(
    asking: TestClient, asked: dict[str, str], path: str, said: str
) -> None:
    key = added(asking)
    for address in (
        f"/api/v1/cars/{key}",
        f"/api/v1/cars/{key}/due",
        "/api/v1/due",
        "/api/v1/cars",
    ):
        answer = asking.get(address, params=asked)
        [fault] = answer.json()["error"]["faults"]
        assert (answer.status_code, fault["path"]) == (422, path)
        assert said in fault["problem"]


def test_a_car_that_was_not_known_then_is_not_found(asking: TestClient, clock: Clock) -> None:
    key = added(asking)
    for path in (f"/api/v1/cars/{key}", f"/api/v1/cars/{key}/due"):
        assert asking.get(path, params={"known": "2026-11-20T11:59"}).status_code == 404
    for path in ("/api/v1/due", "/api/v1/cars"):
        assert asking.get(path, params={"known": "2026-11-20T11:59"}).json()["rows"] == []


def test_pages_of_then_miss_no_row(asking: TestClient) -> None:
    for number in (1, 2, 3):
        added(asking, number=number)
    for path in ("/api/v1/due", "/api/v1/cars"):
        asked = {"known": "2026-11-20T12:00", "limit": "2"}
        found: list[Any] = []
        while asked:
            page = asking.get(path, params=asked).json()
            found += page["rows"]
            asked = asked | {"after": page["next_after"]} if page["next_after"] else {}
        assert (
            found
            == asking.get(path, params={"known": "2026-11-20T12:00", "limit": "500"}).json()["rows"]
        )

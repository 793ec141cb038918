"""A car's version by HTTP: what is to follow on what was read is refused when something came between."""

import pytest

from app.api.cars import NEW_CAR
from app.api.events import CORRECTION, INSPECTION
from app.main import create_app
from app.settings import Settings
from tests.fixtures.people import beforehand, let_in
from tests.fixtures.web import NOW, asking

KEY = {"Idempotency-Key": "5f0c1f7e-6f0b-4d2a-9d5e-0c6a3f4b7a11"}


@pytest.fixture
def signed_in(migrated_url):
    app = create_app(Settings(database_url=migrated_url), clock=lambda: NOW)
    with beforehand(app.state.sessions) as db:
        let_in(db)
    with asking(app) as client:
        yield client
    app.state.engine.dispose()


@pytest.fixture
def car(signed_in):
    answer = signed_in.post("/api/v1/cars", json=NEW_CAR)
    assert answer.status_code == 201, answer.text
    return f"/api/v1/cars/{answer.json()['id']}"


def record(client, car, headers=None, **fields):
    return client.post(f"{car}/events", json=INSPECTION | fields, headers=headers)


def history(client, car):
    return client.get(f"{car}/events").json()["rows"]


def test_a_change_is_made_only_while_the_car_is_as_it_was_read(signed_in, car):
    read = signed_in.get(car).headers["ETag"]
    first = record(signed_in, car, {"If-Match": read})
    assert first.status_code == 201
    late = record(signed_in, car, {"If-Match": read}, on="2026-11-10")
    assert late.status_code == 412
    assert "its version is" in late.json()["error"]["message"]
    assert len(history(signed_in, car)) == 1
    now = signed_in.get(car).headers["ETag"]
    correction = signed_in.post(
        f"{first.headers['Location']}/correction",
        json=CORRECTION | {"on": "2026-11-11"},
        headers={"If-Match": f'"car-0-0", {now}'},
    )
    assert correction.status_code == 201
    assert record(signed_in, car, {"If-Match": "*"}, on="2026-11-12").status_code == 201


def test_a_request_sent_again_with_its_key_is_no_late_change(signed_in, car):
    read = signed_in.get(car).headers["ETag"]
    answers = [record(signed_in, car, KEY | {"If-Match": read}).status_code for _ in range(2)]
    assert answers == [201, 200]

"""Visits by the API: sending a car, noting that it arrived and was released, and the list of those away."""

from collections.abc import Iterator
from datetime import date

import pytest
from sqlalchemy import select

from app.actions import visits as actions
from app.actions.visits import Planning
from app.api.visits import ARRIVAL, RELEASE, SENDING
from app.main import create_app
from app.settings import Settings
from app.store.tables import Party
from tests.access.parties import (
    MARK,
    NUMBER,
    OWNER,
    STAMP,
    asks,
    browser,
    companies,
    lined_car,
    signed_in,
)
from tests.fixtures.people import beforehand
from tests.fixtures.web import NOW, TestClient


@pytest.fixture
def planner(migrated_url: str) -> Iterator[TestClient]:
    """A planner of the one company, which has car 1."""
    app = create_app(Settings(database_url=migrated_url), clock=lambda: NOW)
    with beforehand(app.state.sessions) as db:
        party = companies(db, OWNER)
        signed_in(db, party[OWNER], "planner")
        lined_car(db, party[OWNER])
    yield browser(app, OWNER, "planner")
    app.state.engine.dispose()


def test_a_car_goes_to_a_shop_and_comes_back(planner):
    sent = planner.post("/api/v1/cars/1/visits", json=SENDING)
    assert sent.status_code == 201
    visit = sent.json()
    assert (visit["mark"], visit["number"], visit["shop"]) == (MARK, NUMBER, SENDING["shop"])
    assert (visit["sent_on"], visit["arrived_on"], visit["released_on"]) == (
        "2026-11-10",
        None,
        None,
    )
    assert planner.get("/api/v1/visits").json() == {"rows": [visit], "next_after": None}
    arrived = planner.post(f"/api/v1/visits/{visit['id']}/arrival", json=ARRIVAL)
    assert (visit["state"], visit["month"], visit["days_out"], visit["work"]) == (
        "sent", None, None, [],
    )  # fmt: skip
    assert arrived.json() == visit | {"arrived_on": "2026-11-14", "state": "in_shop"}
    released = planner.post(f"/api/v1/visits/{visit['id']}/release", json=RELEASE)
    assert released.json() == visit | {
        "arrived_on": "2026-11-14", "released_on": "2026-11-24", "state": "released",
    }  # fmt: skip
    assert planner.get("/api/v1/visits").json()["rows"] == []
    assert planner.get("/api/v1/cars/1/visits").json()["rows"] == [released.json()]


# What is sent where, the status, and the place or the words of the refusal.
REFUSED = [
    ("cars/1/visits", {"shop": "x"}, 422, "sent_on"),
    ("cars/1/visits", SENDING | {"shop": ""}, 422, "shop"),
    ("cars/1/visits", SENDING | {"shop": "a\x00b"}, 422, "character"),
    ("cars/1/visits", SENDING | {"sent_on": "2026-11-26"}, 422, "lies in the future"),
    ("cars/1/visits", SENDING | {"until": "2027-01-01"}, 422, "until"),
    ("cars/987/visits", SENDING, 404, "no car with the key 987"),
    ("visits/987/arrival", ARRIVAL, 404, "no visit with the number 987"),
    ("visits/1/arrival", {"on": "2026-11-09"}, 422, "before the car was sent"),
    ("visits/1/release", {"on": "yesterday"}, 422, "on"),
    ("visits/1/release", {}, 422, "on"),
    ("cars/1/visits", SENDING, 409, "is not released"),
]


@pytest.mark.parametrize(("address", "body", "status", "said"), REFUSED)
def test_what_does_not_fit_is_refused_in_the_one_shape(planner, address, body, status, said):
    planner.post("/api/v1/cars/1/visits", json=SENDING)
    answer = planner.post(f"/api/v1/{address}", json=body)
    assert answer.status_code == status, answer.text
    assert said in str(answer.json()["error"])
    assert len(planner.get("/api/v1/cars/1/visits").json()["rows"]) == 1


def test_the_same_step_twice_is_a_conflict(planner):
    planner.post("/api/v1/cars/1/visits", json=SENDING)
    for step, body in (("arrival", ARRIVAL), ("release", RELEASE)):
        statuses = [
            planner.post(f"/api/v1/visits/1/{step}", json=body).status_code for _ in range(2)
        ]
        assert statuses == [200, 409]


def test_a_planned_visit_tells_its_month_its_work_and_what_of_it_is_done(planner):
    with beforehand(planner.app.state.sessions) as db:
        owner = db.scalars(select(Party).where(Party.name == OWNER)).one()
        session = asks(db, owner, "planner", "plan")
        planning = Planning(SENDING["shop"], date(2027, 2, 1), ("visual", "leakage"), 20)
        actions.plan(session, 1, planning, STAMP)
    [visit] = planner.get("/api/v1/visits").json()["rows"]
    assert (visit["state"], visit["month"], visit["days_out"]) == ("planned", "2027-02", 20)
    assert [(each["item"], each["done_on"]) for each in visit["work"]] == [
        ("visual", None), ("leakage", None),
    ]  # fmt: skip
    sending = {"shop": SENDING["shop"], "sent_on": "2026-11-10"}
    sent = planner.post("/api/v1/cars/1/visits", json=sending).json()
    assert (sent["id"], sent["state"]) == (visit["id"], "sent")
    inspection = {"on": "2026-11-12", "items": ["visual"]}
    assert planner.post("/api/v1/cars/1/events", json=inspection).status_code == 201
    [visit] = planner.get("/api/v1/visits").json()["rows"]
    assert [each["done_on"] for each in visit["work"]] == ["2026-11-12", None]

"""A clock that is moved back: what was known at a moment stays what it was, and the chain holds."""

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from fastapi import FastAPI
from sqlalchemy import select

from app import jobs
from app.actions.verifying import Asked, verify
from app.jobs.doing import Doer
from app.main import create_app
from app.settings import Settings
from app.store.changes import Change
from app.store.db import read_session, write_session
from app.store.derived import ImportRun, Upload
from app.store.facts import load
from app.store.tables import EventRow
from tests.fixtures.web import TestClient
from tests.pages.signing import Clock, Newcomer, browser, cheap_hashes, set_up, sign_in

CAR: dict[str, Any] = {
    "mark": "ZQKX", "number": 104512, "specification": "DOT 111A100W1", "built_on": "2009-06-03",
    "owner": "Quarrel Invented Leasing",
}  # fmt: skip
FILE = b"mark,number,specification\nZQKX,9,DOT 111A100W1\n"
SECOND = timedelta(seconds=1)
pytestmark = pytest.mark.usefixtures(cheap_hashes.__name__)


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def app(sqlite_url: str, clock: Clock) -> FastAPI:
    return create_app(Settings(database_url=sqlite_url), clock=clock)


@pytest.fixture
def client(app: FastAPI, clock: Clock) -> Iterator[TestClient]:
    """Somebody signed in, on a day after that of the machine's own clock, which so is one moved back."""
    with browser(app) as asking:
        set_up(app, asking)
        clock.now = datetime.now(UTC) + timedelta(days=1)
        sign_in(asking, Newcomer())
        yield asking


def inspected(client: TestClient, address: str, day: str, facility: str) -> int:
    event = {"on": day, "items": ["visual"], "facility": facility}
    answer = client.post(address, json=event)
    assert answer.status_code == 201, answer.text
    return int(answer.json()["event"]["id"])


def known(app: FastAPI, car_id: int, at: datetime) -> object:
    """What the calculator is given of the car, as known at a moment."""
    with read_session(app.state.sessions) as db:
        record = load(db, [car_id], at.date(), known_at=at).get(car_id)
        return record and (record.car, record.events)


def test_what_was_known_stays_what_it_was_though_the_clock_was_moved_back(
    app: FastAPI, client: TestClient, clock: Clock
) -> None:
    car = client.post("/api/v1/cars", json=CAR).json()["id"]
    events, saved = f"/api/v1/cars/{car}/events", {}
    first = inspected(client, events, "2018-03-15", "Example Shop")
    clock.on(hours=1)
    inspected(client, events, "2019-03-15", "Example Shop")
    saved[clock.now] = known(app, car, clock.now)
    for back in (3, 200):
        clock.on(hours=-back)
        first = inspected(
            client, f"/api/v1/events/{first}/correction", "2017-03-15", f"Shop {back}"
        )
        with read_session(app.state.sessions) as db:
            latest = db.scalars(select(EventRow.recorded_at).order_by(EventRow.id.desc())).first()
        assert latest
        saved[latest] = known(app, car, latest)
        assert saved[latest] == known(app, car, latest + 1000 * SECOND)  # the newest known
    for moment, answer in saved.items():
        assert known(app, car, moment) == answer
    with read_session(app.state.sessions) as db:
        rows = db.scalars(select(EventRow).order_by(EventRow.id)).all()
        moments = [row.recorded_at for row in rows]
        assert moments == sorted(set(moments))
        assert all(row.superseded_at > row.recorded_at for row in rows if row.superseded_at)
        entries = db.scalars(select(Change.at).order_by(Change.id)).all()
        assert entries[2:] == sorted(entries[2:])
        asked = Asked(datetime.now(UTC).date(), None, True)
        assert not [found for _, found in verify(db, asked, lambda *_: None) if found]


def test_a_job_on_a_clock_that_was_moved_back_records_after_what_was_recorded(
    app: FastAPI, client: TestClient
) -> None:
    """The worker goes by the machine's clock, here a day behind what was recorded last."""
    client.post("/api/v1/cars", json=CAR)
    with write_session(app.state.sessions) as db:
        last = db.scalar(select(Change.at).order_by(Change.id.desc()).limit(1))
        db.add(Upload(id="up", kind="cars", file_name="a.csv", content=FILE, uploaded_at=last))
        job_id = jobs.ask(db, "import", {"upload_id": "up"}, by="Ida Example")
    with Doer(app.state.engine, "UTC") as doer:
        doer.do(job_id)
    with read_session(app.state.sessions) as db:
        brought = db.scalar(select(ImportRun.recorded_at))
    assert brought
    assert last
    assert brought > last

"""A form that meets a store in which somebody else is writing: nothing recorded, nothing lost."""

import re
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from html import unescape

import pytest
from sqlalchemy import select

from app.api.cars import NEW_CAR
from app.store.tables import EventRow, Lading
from tests.pages.car_cast import acid_car
from tests.pages.test_car import text
from tests.pages.test_events import INSPECTION

FIELD = re.compile(r'<input type="hidden" name="([^"]*)" value="([^"]*)">')
EVENT = INSPECTION | {"notes": 'Two lines,\r\n  "quoted" <b>& spaced</b> ', "form_key": ""}


@pytest.fixture
def locked(web_app, monkeypatch):
    """`with locked():` holds the store as another program that writes does; we give up soon."""
    short = ("PRAGMA journal_mode = WAL", "PRAGMA foreign_keys = ON", "PRAGMA busy_timeout = 50")
    monkeypatch.setattr("app.store.db.PRAGMAS", short)
    web_app.state.engine.dispose()

    @contextmanager
    def holding() -> Iterator[None]:
        path = web_app.state.engine.url.database
        with closing(sqlite3.connect(path, isolation_level=None)) as other:
            other.execute("BEGIN IMMEDIATE")
            yield

    return holding


def held(answer) -> list[tuple[str, str]]:
    """The fields that the page holds, as a browser would send them."""
    return [(unescape(name), unescape(value)) for name, value in FIELD.findall(answer.text)]


def sent(fields: dict) -> list[tuple[str, str]]:
    pairs = (
        (name, value if isinstance(value, list) else [value]) for name, value in fields.items()
    )
    return [(name, each) for name, values in pairs for each in values]


def test_a_form_that_met_a_locked_store_is_held_whole_and_sent_again(client, locked, record):
    car = record(acid_car)
    address = f"/cars/{car}/events"
    with locked():
        answer = client.post(address, data=EVENT)
    assert answer.status_code == 503
    assert answer.headers["retry-after"]
    assert "Nothing was recorded, and nothing is lost" in text(answer)
    assert f'<form method="post" action="{address}">' in answer.text
    assert held(answer) == sent(EVENT)  # both items, and the spaces as they were typed

    again: dict[str, list[str]] = {}
    for name, value in held(answer):
        again.setdefault(name, []).append(value)
    assert client.post(address, data=again).status_code == 200
    row = record(lambda db: db.scalars(select(EventRow).order_by(EventRow.id.desc())).first())
    assert (row.items, row.inspector) == ("visual;thickness", "L. Harrow")


def test_the_address_is_held_with_its_filter(client, locked):
    with locked():
        answer = client.post("/record?mark=ZQKX&item=visual", data={"names": "ZQKX 1\nZQKX 2"})
    assert 'action="/record?mark=ZQKX&amp;item=visual"' in answer.text
    assert held(answer) == [("names", "ZQKX 1\nZQKX 2")]


def test_a_form_without_fields_can_be_sent_again_too(client, locked):
    with locked():
        answer = client.post("/imports/waiting/some-file/drop")
    assert 'action="/imports/waiting/some-file/drop"' in answer.text
    assert "Send again" in text(answer)


def test_a_file_is_not_held_and_the_page_says_so(client, locked):
    file = {"file": ("cars.csv", b"mark,number,specification\nZQKX,1,DOT 111A100W1\n", "text/csv")}
    with locked():
        answer = client.post("/imports", data={"kind": "cars", "recorded_by": "Ida"}, files=file)
    assert answer.status_code == 503
    assert held(answer) == [("kind", "cars"), ("recorded_by", "Ida")]
    assert "holds what you sent, all but the file" in text(answer)
    assert "Choose cars.csv again" in text(answer)
    assert 'enctype="multipart/form-data"' in answer.text
    assert 'name="file" type="file" required' in answer.text


def test_to_htmx_a_locked_store_is_a_part_that_leaves_the_page_as_it_is(client, locked, record):
    with locked():
        answer = client.post("/ladings/new", data={"name": "Syrup"}, headers={"HX-Request": "true"})
    assert answer.status_code == 503
    assert "<html" not in answer.text
    assert "<form" not in answer.text
    assert "what you typed is still here" in answer.text
    assert record(lambda db: db.scalars(select(Lading)).first()) is None


def test_to_programs_a_locked_store_keeps_the_one_shape(client, locked):
    with locked():
        answer = client.post("/api/v1/cars", json=NEW_CAR)
    assert answer.status_code == 503
    assert answer.headers["retry-after"]
    assert answer.json()["error"]["message"].startswith("The database is busy")
    assert client.post("/api/v1/cars", json=NEW_CAR).status_code == 201

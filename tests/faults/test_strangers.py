"""Whoever should not be let in: an old tab, guessed passwords, keys and addresses that were tampered with."""

import os
import re
from collections.abc import Iterator
from html import unescape

import pytest
from fastapi import FastAPI
from sqlalchemy import func, select

from app.main import create_app
from app.settings import Settings
from app.store.db import read_session
from app.store.people import Attempt
from app.store.tables import Lading
from tests.actions.people_cast import OTHER_PASSWORD
from tests.fixtures.web import TestClient
from tests.pages.signing import STRANGER, Clock, Newcomer, browser, cheap_hashes, set_up, sign_in

ADA = Newcomer()
# `make faults` tries 5,000.
GUESSES = int(os.environ.get("FAULTS_GUESSES") or 300)
FIELD = re.compile(r'<input type="hidden" name="([^"]*)" value="([^"]*)">')
pytestmark = pytest.mark.usefixtures(cheap_hashes.__name__)


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def app(sqlite_url: str, clock: Clock) -> FastAPI:
    unlimited = {"requests_per_minute_address": 0, "requests_per_minute_person": 0}
    return create_app(Settings(database_url=sqlite_url, **unlimited), clock=clock)


@pytest.fixture
def ada(app: FastAPI) -> Iterator[TestClient]:
    """Somebody who is signed in and may look and record."""
    with browser(app) as asking:
        set_up(app, asking)
        yield asking


def ladings(app: FastAPI) -> list[str]:
    with read_session(app.state.sessions) as db:
        return list(db.scalars(select(Lading.name)))


def test_what_an_old_tab_sends_after_sign_out_is_recorded_by_nobody_and_not_lost(
    app: FastAPI, ada: TestClient
) -> None:
    key = ada.cookies["session"]
    assert ada.post("/sign-out").status_code == 303
    with browser(app) as tab:  # which holds the key still, as a copy of a browser would
        tab.cookies.set("session", key)
        answer = tab.post("/ladings/new", data={"name": "Example Syrup", "un": "UN1993"})
        assert answer.status_code == 401
        held = {name: unescape(value) for name, value in FIELD.findall(answer.text)}
        assert (held["name"], held["un"]) == ("Example Syrup", "UN1993")
        assert tab.get("/ladings").headers["location"].startswith("/sign-in?next=")
        part = tab.post("/ladings/new", data=held, headers={"HX-Request": "true"})
        assert (part.status_code, part.headers["hx-redirect"]) == (401, "/sign-in")
    assert not ladings(app)
    assert sign_in(ada, ADA).status_code == 303
    assert ada.post("/ladings/new", data=held).status_code in (200, 303)
    assert ladings(app) == ["Example Syrup"]


@pytest.mark.slow
def test_many_wrong_passwords_let_nobody_in_and_keep_the_owner_out_for_minutes_only(
    app: FastAPI, ada: TestClient, clock: Clock
) -> None:
    """One a second by clock, of which most are told to wait and are not even compared."""
    wrong = Newcomer(password=OTHER_PASSWORD)
    statuses: dict[int, int] = {}
    with browser(app, STRANGER) as guessing:
        for _ in range(GUESSES):
            clock.on(seconds=1)
            answer = sign_in(guessing, wrong)
            statuses[answer.status_code] = statuses.get(answer.status_code, 0) + 1
        assert "session" not in guessing.cookies
    assert set(statuses) == {422, 429}
    assert statuses[422] < 25
    assert ada.get("/account").status_code == 200  # who is in stays in
    with read_session(app.state.sessions) as db:
        assert db.scalar(select(func.count()).select_from(Attempt)) == 2
    with browser(app) as owner:
        told = sign_in(owner, ADA)
        if told.status_code == 429:
            assert int(told.headers["retry-after"]) <= 900
            clock.on(seconds=int(told.headers["retry-after"]))
            told = sign_in(owner, ADA)
        assert told.status_code == 303


def tampered(key: str) -> list[str]:
    """Near the real key, and far from it."""
    other = "B" if key[-1] != "B" else "C"
    return [
        key[:-1], key + "A", key[:-1] + other, key[::-1], key.swapcase(), key + "=",
        "", "0", "null", "true", "' OR '1'='1", "../../etc/passwd", "%00", "A" * 5_000,
        "; admin=1", "=?utf-8?b?AAAA?=",
    ]  # fmt: skip


def test_a_cookie_that_was_tampered_with_lets_nobody_in(app: FastAPI, ada: TestClient) -> None:
    key = ada.cookies["session"]
    with browser(app) as stranger:
        for each in tampered(key):
            cookie = {"Cookie": f"session={each}"}
            page = stranger.get("/account", headers=cookie)
            assert page.status_code == 303, each
            assert page.headers["location"].startswith("/sign-in"), each
            assert stranger.get("/api/v1/cars", headers=cookie).status_code == 401, each
            sent = stranger.post("/ladings/new", data={"name": "Syrup"}, headers=cookie)
            assert sent.status_code == 401, each
    assert not ladings(app)


def test_a_token_that_was_tampered_with_lets_nobody_in(app: FastAPI) -> None:
    with browser(app) as stranger:
        for each in ("", "sb_", "sb_" + "A" * 43, "A" * 5_000, "' OR 1=1 --", "sb_\u00e9"):
            said = {"Authorization": f"Bearer {each}".encode()}
            assert stranger.get("/api/v1/cars", headers=said).status_code == 401, each


KEYS = [
    "1",  # of nothing
    "0", "-1", "00", "1.0", "1e3", "9" * 40, "9223372036854775808",
    "1%20OR%201=1", "1;DROP%20TABLE%20car", "%27", "%00", "%F0%9F%9A%83", "..%2f..%2fetc%2fpasswd", "%D9%A1",
]  # fmt: skip


@pytest.mark.parametrize("address", [
    "/cars/{}", "/api/v1/cars/{}", "/api/v1/cars/{}/due", "/cars/{}/events", "/imports/{}", "/jobs/{}",
    "/imports/waiting/{}", "/components/{}",
])  # fmt: skip
def test_a_key_in_an_address_that_was_tampered_with_finds_nothing(
    ada: TestClient, address: str
) -> None:
    for key in KEYS:
        answer = ada.get(address.format(key))
        assert answer.status_code in (404, 405, 422), key
        assert "Traceback" not in answer.text

"""A car that comes by the file of a hand-over is reached by the company that took it over, and by no other."""

import pytest
from fastapi import FastAPI

from app.main import create_app
from app.settings import Settings
from app.store.db import write_session
from tests.access.world import FOREIGN, OWN, browser_key, build
from tests.fixtures.web import NOW, asking
from tests.pages.reading import Page

# The register that a car comes from, and its file.
from tests.pages.test_taking_over import BUYER, file, hand_in  # noqa: F401


@pytest.fixture
def app(sqlite_url) -> FastAPI:
    made = create_app(Settings(database_url=sqlite_url), clock=lambda: NOW)
    with write_session(made.state.sessions) as db:
        build(db, made.state.attachments)
    return made


def planner_of(app: FastAPI, company: str):
    return asking(app, {"session": browser_key("planner", company)})


def test_whoever_takes_a_car_over_reaches_it_and_nobody_else_does(app, file):  # noqa: F811
    own, other = planner_of(app, OWN), planner_of(app, FOREIGN)
    seen = hand_in(own, file)
    assert "Ready to come in" in Page(seen.text).words
    waiting = seen.url.path
    assert other.get(waiting).status_code == 404
    assert other.post(f"{waiting}/confirm").status_code == 404
    done = own.post(f"{waiting}/confirm")
    assert "Taken over" in Page(done.text).words
    mine, theirs = (Page(each.get("/fleet").text).words for each in (own, other))
    assert "1045" in mine
    assert BUYER in mine
    assert "1045" not in theirs
    assert BUYER not in theirs

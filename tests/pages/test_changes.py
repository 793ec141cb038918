"""The record of change on pages: in words, filtered, by page and as CSV; and only what one may see."""

import re
from datetime import timedelta
from pathlib import Path

import pytest

from app.actions import cars, events, ladings
from app.actions.changes import NewLading, NewStanding
from app.pages.change_words import DEEDS
from app.store.db import write_session
from app.store.doer import Doer
from tests.fixtures.web import NOW, TODAY
from tests.store.cast import add_car, stamp, visual

ALBA = Doer("Alba Testwell", None, "page", "192.0.2.7", "request-7", NOW - timedelta(days=3))
BO = Doer("Bo Testwell", None, "api", "192.0.2.8", "request-8", NOW)


@pytest.fixture
def cast(client, web_app):
    """A car, its inspection and a correction by Alba; its standing and the ladings by Bo."""
    steps = [
        (ALBA, lambda db: add_car(db).id),
        (ALBA, lambda db: events.record_event(db, 1, visual(facility="Shop X"), stamp())),
        (ALBA, lambda db: events.correct_event(db, 1, visual(facility="Shop Y"), stamp(1))),
        (BO, lambda db: cars.change_standing(db, 1, NewStanding("stored", "", TODAY), stamp(2))),
        (BO, lambda db: ladings.save(db, NewLading("Invented acid"))),
    ]
    for doer, step in steps:
        with write_session(web_app.state.sessions, doer=doer) as db:
            step(db)
    return client


def entries(page):
    return page.text.count('<article class="entry">')


def test_a_correction_reads_as_a_sentence(cast):
    page = cast.get("/changes?deed=event.corrected")
    assert page.status_code == 200
    assert entries(page) == 1
    assert "<b>Alba Testwell</b> corrected an inspection or change" in page.text
    assert "Event of 2020-03-15: facility: Shop X → Shop Y" in page.text
    assert '<a class="car" href="/cars/1">ZQKX 1045</a>' in page.text
    assert "from 192.0.2.7" in page.text


@pytest.mark.parametrize(
    ("asked", "found"),
    [
        ("?by=alba", 3),
        ("?by=nobody", 0),
        ("?q=ZQKX+1045", 4),
        ("?q=ZQAX", 0),
        ("?about=ladings", 1),
        ("?from=2026-11-20&to=2026-11-23", 3),
        ("?from=2026-11-25&by=bo", 2),
        ("?deed=car.added&by=Alba", 1),
    ],
)
def test_the_list_is_filtered(cast, asked, found):
    assert entries(cast.get(f"/changes{asked}")) == found


def test_a_filter_that_cannot_be_read_lists_nothing_and_says_why(cast):
    page = cast.get("/changes?from=yesterday")
    assert page.status_code == 422
    assert entries(page) == 0


def test_the_history_of_a_car_holds_its_entries_alone(cast):
    page = cast.get("/cars/1/changes")
    assert entries(page) == 4
    assert "History of ZQKX 1045" in page.text
    assert cast.get("/cars/2/changes").status_code == 404


def test_ones_own_history_is_shown_and_that_of_nobody_is_not_found(cast):
    assert cast.get("/people/1/changes").status_code == 200
    assert cast.get("/people/99/changes").status_code == 404


def test_an_entry_is_shown_whole(cast):
    page = cast.get("/changes/5")
    assert page.status_code == 200
    assert "Shop Y" in page.text
    assert cast.get("/changes/99").status_code == 404


def test_the_list_is_taken_away_as_a_file(cast):
    lines = cast.get("/changes.csv?q=ZQKX").text.splitlines()
    assert lines[0].endswith("entry,at,by,deed,cars,told,origin,address,request,hash")
    assert len(lines) == 5
    assert "Bo Testwell,fact.recorded,ZQKX 1045" in lines[1]


def test_the_head_of_the_record_is_printed(cast):
    assert "Head of the record" in cast.get("/changes").text


def test_the_page_of_a_car_leads_to_its_history(cast):
    assert 'href="/cars/1/changes"' in cast.get("/cars/1").text


def test_every_deed_that_an_action_names_has_words():
    named = set()
    for path in Path(__file__).parents[2].glob("app/**/*.py"):
        named |= set(re.findall(r'"((?:[a-z_]+)\.(?:[a-z_]+))"', notes_in(path.read_text())))
    assert {"event.corrected", "person.signed_in"} <= named
    assert not named - DEEDS.keys()


def notes_in(source):
    return " ".join(re.findall(r"note\(\s*db,[^\n]*\n?[^\n]*", source))

"""The record of change on pages: in words, filtered, by page and as CSV; and only what one may see."""

import re
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from pathlib import Path

import pytest
from sqlalchemy import update

from app.actions import cars, components, events, ladings
from app.actions.changes import NewComponent, NewInstallation, NewLading, NewStanding
from app.pages import changes
from app.pages.change_values import value
from app.pages.change_words import DEEDS, in_words
from app.store.change_list import Listed
from app.store.db import write_session
from app.store.doer import Doer
from app.store.people import Token
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


ROW = {"table": "standing", "key": 1, "before": None, "after": {"standing": "stored"}}


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


def rows_of(page):
    return re.findall("<caption>(.*?)</caption>", page.text)


def test_an_entry_of_many_rows_is_shown_some_at_a_time(cast, monkeypatch):
    whole = rows_of(cast.get("/changes/3"))
    assert len(whole) > 2
    monkeypatch.setattr(changes, "ROWS", 2)
    shown = []
    while some := rows_of(page := cast.get(f"/changes/3?after={len(shown)}")):
        shown += some
        assert len(some) <= 2
        assert (f"/changes/3?after={len(shown)}" in page.text) == (len(shown) < len(whole))
    assert shown == whole
    assert "end before this page" in page.text
    assert cast.get("/changes/3?after=x").status_code == 422


def test_the_list_is_taken_away_as_a_file(cast):
    lines = cast.get("/changes.csv?q=ZQKX").text.splitlines()
    assert lines[0].endswith("entry,at,by,deed,did,cars,told,origin,address,request,hash")
    assert len(lines) == 5
    assert "Bo Testwell,fact.recorded,recorded a fact,ZQKX 1045" in lines[1]


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


def first_entry(page):
    """The sentences of the latest entry, and its rows as they are stored."""
    return page.text.split('<article class="entry">')[1].split("<details>")


def record(web_app, step):
    with write_session(web_app.state.sessions, doer=BO) as db:
        return step(db)


def test_a_relief_device_reads_as_on_the_page_of_its_car(cast, web_app):
    valve = NewInstallation(
        NewComponent("relief_valve", maker="Invented Valves"), "top",
        installed_on=date(2020, 2, 1), set_psig=Decimal(75), owner_interval_months=60,
    )  # fmt: skip
    record(web_app, lambda db: components.install(db, 1, valve, stamp(3)))
    told, stored = first_entry(cast.get("/cars/1/changes"))[:2]
    assert "Component: kind relief valve; maker Invented Valves" in told
    assert "put on the car 2020-02-01" in told
    assert "start to discharge 75 psig" in told
    assert "owner’s interval 60 months" in told
    for ours in ("relief_valve", "psig 75", "from on"):
        assert ours not in told
    assert "relief_valve" in stored
    assert "set_psig" in stored


def test_moments_are_in_the_zone_of_the_settings_and_lists_are_joined(cast, web_app):
    web_app.state.settings = web_app.state.settings.model_copy(
        update={"time_zone": "America/Chicago"}
    )
    late = datetime(2026, 11, 26, 3, 10, 8, 736573, tzinfo=UTC)
    token = Token(
        person_id=1, name="Sheet", key_sha256="0" * 64, scopes=["read", "load_check"],
        made_at=late, expires_at=late,
    )  # fmt: skip
    record(web_app, lambda db: db.add(token))
    told, stored = first_entry(cast.get("/changes"))[:2]
    assert "scopes read, load check" in told
    assert "good until 2026-11-25 21:10" in told
    assert "2026-11-26T03:10:08.736573+00:00" in stored
    record(web_app, lambda db: db.execute(update(Token).values(ended_at=late)))
    assert "Token: ended 2026-11-25 21:10" in first_entry(cast.get("/changes"))[0]


def test_the_filter_of_deeds_says_nothing_of_what_others_did(client):
    """Whatever was recorded here, it is the same list."""
    listed = re.findall(r'<option value="([a-z_.]+)"', client.get("/changes").text)
    assert set(listed) - {"ladings", "rulebook"} == set(DEEDS)


@pytest.mark.parametrize(
    ("rows", "withheld", "deed", "sentence"),
    [
        # All of it is about another's car, as to a shop after it released the car.
        ([], 1, "event.recorded", "What it changed is about what you do not reach, or reach no longer."),
        ([ROW], 1, "event.recorded", "1 more row is about what you do not reach"),
        ([ROW], 2, "event.recorded", "2 more rows are about what you do not reach"),
        ([], 0, "import.stored", "What came with a file is told by its digest, not row by row."),
        ([], 0, "event.recorded", "No rows are told one by one."),
    ],
)  # fmt: skip
def test_why_rows_are_not_shown_is_said_as_it_is(db, rows, withheld, deed, sentence):
    entry = Listed(
        2, NOW, "Bo", None, "page", "", "", deed, "", {"rows": rows}, (), 0, (), withheld
    )
    (told,) = in_words(db, [entry])
    assert told.without == sentence
    assert (sentence in told.details) == bool(rows and withheld)


@pytest.mark.parametrize(
    ("held", "told"),
    [
        (["visual", "relief_device"], "visual inspection, relief device"),
        ([["kind", "relief_valve"], ["lot", "L17"]], "kind relief valve, lot L17"),
        ({"moves": [], "cars": [{"days": 14}]}, '{"cars":[{"days":14}],"moves":[]}'),
    ],
)
def test_what_holds_several_things_is_told_without_the_marks_of_a_program(held, told):
    assert value("directive_car", "why", held, {}, UTC) == told

"""The calendar that others subscribe to: it holds every date of its list, and nobody without its address."""

import re
from datetime import timedelta

import pytest
from fastapi.testclient import TestClient
from icalendar import Calendar
from sqlalchemy import select, update

from app.actions import events
from app.actions.changes import NewEvent
from app.actions.stamp import Stamp
from app.pages import notices
from app.store import due
from app.store.due import DueFilter
from app.store.people import Membership, Person, SignIn
from app.store.tables import Party
from app.store.watch import Feed
from tests.fixtures.web import NOW, TODAY, Record, asking
from tests.pages.fleet_cast import MARROW, add, fleet
from tests.pages.reading import Page


@pytest.fixture
def keys(client: TestClient, record: Record) -> dict[str, int]:
    """The cars of the cast; who is signed in has just shown a secret."""
    record(lambda db: db.execute(update(SignIn).values(proved_at=NOW)))
    return record(fleet)


def made(client: TestClient, status: int = 200, **form: str) -> str:
    """The address of a new calendar, without its host."""
    answer = client.post("/account/calendars", data={"name": "My phone"} | form)
    assert answer.status_code == status, answer.text
    found = re.search(r'id="address">http://testserver(/feeds/due/[\w-]+\.ics)<', answer.text)
    return found[1] if found else Page(answer.text).words


def read(client: TestClient, address: str) -> dict[str, tuple]:
    """What a calendar holds: by its key, the first and the last day and the title of each entry."""
    with asking(client.app, {}) as nobody:
        answer = nobody.get(address)
    assert answer.status_code == 200, answer.text
    assert answer.headers["content-type"].startswith("text/calendar")
    calendar = Calendar.from_ical(answer.content)
    entries = calendar.walk("VEVENT")
    found = {
        str(each["uid"]): (each["dtstart"].dt, each["dtend"].dt, str(each["summary"]))
        for each in entries
    }
    assert len(found) == len(entries), "no key twice"
    return found


def dated(record: Record, **more) -> set[tuple[str, object]]:
    """Every date of the list, from the store."""
    return record(
        lambda db: {
            (f"due-{row.car_id}-{row.item}@testserver", row.due_on)
            for row in due.each(db, DueFilter(TODAY, **more))
        }
    )


def test_a_calendar_holds_every_date_of_the_list_and_no_other(client, keys, record):
    failed = NewEvent(TODAY, ("visual",), outcome="fail", facility="Made-up Shop One")
    record(lambda db: events.record_event(db, keys["in date"], failed, Stamp("Ida", NOW, TODAY)))
    held = read(client, made(client))
    assert {(key, first) for key, (first, _, _) in held.items()} == dated(record)
    # A whole day ends before the next one (RFC 5545, 3.6.1).
    assert all(last == first + timedelta(days=1) for first, last, _ in held.values())
    key = keys["in date"]
    assert held[f"due-{key}-visual@testserver"][2] == "ZQAX 2001: visual inspection (due now)"


def test_a_date_that_moves_keeps_its_key(client, keys, record):
    address = made(client)
    key = f"due-{keys['today']}-visual@testserver"
    before = read(client, address)[key][0]
    done = NewEvent(TODAY, ("visual",), facility="Made-up Shop One")
    record(lambda db: events.record_event(db, keys["today"], done, Stamp("Ida", NOW, TODAY)))
    assert read(client, address)[key][0] > before


def test_the_reasons_stand_in_each_entry(client, keys):
    with asking(client.app, {}) as nobody:
        calendar = Calendar.from_ical(nobody.get(made(client)).content)
    for each in calendar.walk("VEVENT"):
        assert "49 CFR" in each["description"]
        assert "qualified shop decide" in each["description"]
        assert str(each["url"]).startswith("http://testserver/cars/")


def test_a_calendar_of_a_saved_list_holds_that_alone(client, keys, record):
    client.post("/morning/lists", data={"name": "Prairie", "region": "Prairie", "shared": "no"})
    held = read(client, made(client, feed_list="1"))
    assert {(key, first) for key, (first, _, _) in held.items()} == dated(record, region="Prairie")
    held = record(lambda db: db.scalar(select(Feed.key_sha256)))
    assert client.get(f"/feeds/due/{held}.ics").status_code == 404  # the sum opens nothing


def test_a_calendar_of_a_removed_list_is_gone(client, keys):
    client.post("/morning/lists", data={"name": "Prairie", "region": "Prairie", "shared": "no"})
    address = made(client, feed_list="1")
    client.post("/morning/lists/1/end")
    assert client.get(address).status_code == 404


def test_the_same_again_is_not_sent_again(client, keys, record):
    address = made(client)
    first = client.get(address)
    tag = first.headers["etag"]
    again = client.get(address, headers={"If-None-Match": tag})
    assert (again.status_code, again.content) == (304, b"")
    record(lambda db: add(db, "ZQKX", 9, TODAY.replace(year=2018)))
    moved = client.get(address, headers={"If-None-Match": tag})
    assert moved.status_code == 200
    assert moved.headers["etag"] != tag


def test_a_revoked_address_answers_as_one_that_never_was(client, keys):
    address = made(client)
    client.post("/account/calendars/revoke", data={"feed": "1"})
    gone, never = client.get(address), client.get("/feeds/due/never-was.ics")
    assert gone.status_code == never.status_code == 404
    assert (
        Page(gone.text).words.split("Number of")[0] == Page(never.text).words.split("Number of")[0]
    )
    assert "You have none." in Page(client.get("/account/notices").text).words


@pytest.mark.parametrize("change", ["ended", "no role"])
def test_whose_calendar_it_is_must_still_be_allowed(client, keys, record, change):
    address = made(client)
    read(client, address)
    if change == "ended":
        record(lambda db: db.execute(update(Person).values(ended_at=NOW)))
    else:
        desk = Membership.role.in_(("planner", "compliance"))
        record(lambda db: db.execute(update(Membership).where(desk).values(ended_at=NOW)))
    with asking(client.app, {}) as nobody:
        assert nobody.get(address).status_code == 404


def test_what_is_reached_is_looked_at_when_asked(client, keys, record):
    """A car that is another company's now is in the calendar no more."""
    address = made(client)
    assert any("ZQAX" in title for _, _, title in read(client, address).values())

    stands_alone = update(Party).where(Party.name == MARROW).values(kept_by=None)
    record(lambda db: db.execute(stands_alone))
    assert not any("ZQAX" in title for _, _, title in read(client, address).values())


def test_a_long_list_is_refused_and_one_that_grew_says_what_it_leaves_out(
    client, keys, record, monkeypatch
):
    monkeypatch.setattr(notices, "MOST_EVENTS", 12)
    assert "a calendar holds at most 12" in made(client, 422)
    client.post("/morning/lists", data={"name": "One", "q": "ZQKX 1001", "shared": "no"})
    address = made(client, feed_list="1")
    whole = read(client, address)
    assert not any("left-out" in key for key in whole)
    monkeypatch.setattr(notices, "MOST_EVENTS", 3)
    short = read(client, address)
    assert len(short) == 4
    [told] = [title for key, (_, _, title) in short.items() if "left-out" in key]
    assert told == f"This calendar holds the first 3 of {len(whole)} dates"


def about(client: TestClient, address: str) -> tuple[str, str]:
    """What a calendar says of itself, in both ways."""
    with asking(client.app, {}) as nobody:
        calendar = Calendar.from_ical(nobody.get(address).content)
    return str(calendar["description"]), str(calendar["x-wr-caldesc"])


@pytest.mark.parametrize("days", [30, 90, 180, 365])
def test_a_calendar_of_some_days_holds_what_is_past_and_what_falls_due_within_them(
    client, keys, record, days
):
    failed = NewEvent(TODAY, ("visual",), outcome="fail", facility="Made-up Shop One")
    record(lambda db: events.record_event(db, keys["in date"], failed, Stamp("Ida", NOW, TODAY)))
    address = made(client, feed_days=str(days))
    held = read(client, address)
    last = TODAY + timedelta(days=days)
    every = dated(record)
    assert {(key, first) for key, (first, _, _) in held.items()} == {
        each for each in every if each[1] <= last
    }
    assert any(title.endswith("(overdue)") for _, _, title in held.values())
    assert any(title.endswith("(due now)") for _, _, title in held.values())
    said = f"What is overdue, due now or falls due within {days} days of all that you reach. "
    assert [each.startswith(said) for each in about(client, address)] == [True, True]
    assert f"falls due within {days} days" in Page(client.get("/account/notices").text).words


def test_a_calendar_says_of_which_list_it_is(client, keys):
    client.post("/morning/lists", data={"name": "Prairie", "region": "Prairie", "shared": "no"})
    told, _ = about(client, made(client, feed_list="1"))
    assert told.startswith("Every date of the saved list Prairie. Dates here are an aid.")
    told, _ = about(client, made(client, feed_list="1", feed_days="90"))
    assert "falls due within 90 days of the saved list Prairie." in told


@pytest.mark.parametrize("days", ["31", "-30", "soon", "0"])
def test_another_number_of_days_is_refused(client, keys, days):
    assert "Want one of 30, 90, 180, 365 days, or every date" in made(client, 422, feed_days=days)


def test_days_that_fit_are_proposed_and_named_where_it_is_refused(
    client, keys, record, monkeypatch
):
    def fit(days: int | None) -> int:
        until = TODAY + timedelta(days=days) if days else None
        return len(dated(record, due_to=until))

    def proposed() -> str:
        page = client.get("/account/notices").text.partition('name="feed_days"')[2]
        found = re.search(r'value="(\d+)" selected', page.partition("</select>")[0])
        return found[1] if found else ""

    assert fit(30) < fit(None)
    assert proposed() == ""
    monkeypatch.setattr(notices, "MOST_EVENTS", fit(None) - 1)
    longest = max(days for days in (30, 90, 180, 365) if fit(days) < fit(None))
    assert proposed() == str(longest)
    told = made(client, 422)
    assert f"It has {fit(None)} dates, and a calendar holds at most {fit(None) - 1}" in told
    assert f"choose what falls due within {longest} days, or a list of fewer" in told
    assert read(client, made(client, feed_days=str(longest)))
    monkeypatch.setattr(notices, "MOST_EVENTS", fit(30) - 1)
    assert proposed() == "30"
    assert "choose or save a list of fewer cars or items" in made(client, 422, feed_days="30")


def test_the_secret_is_kept_nowhere_and_shown_once(client, keys, record):
    address = made(client)
    secret = address.removeprefix("/feeds/due/").removesuffix(".ics")
    held = record(lambda db: db.scalar(select(Feed.key_sha256)))
    assert secret not in held
    assert secret not in client.get("/account/notices").text
    assert secret not in client.get("/changes").text
    assert held not in client.get("/changes.csv").text

"""Two people at one car: the second is told what the first recorded, and keeps what was typed."""

import re

import pytest

from app.actions import components, events
from app.store.db import write_session
from app.store.doer import Doer
from tests.fixtures.web import NOW
from tests.store.cast import add_car, relief_valve, stamp, visual

OTHER = Doer("Bo Otherwise", None, "page", "", "", NOW)


def version(page):
    return re.search(r'name="version" value="(\d+)"', page.text)[1]


def tick(page):
    found = re.search(r'name="meanwhile" value="(\d+)"', page.text)
    return found and found[1]


@pytest.fixture
def other(web_app, client):
    """A car with an event and a device; `other(change)` is what somebody else does to it."""

    def change(step):
        with write_session(web_app.state.sessions, doer=OTHER) as db:
            return step(db)

    change(lambda db: add_car(db))
    change(lambda db: events.record_event(db, 1, visual(facility="Shop X"), stamp()))
    change(lambda db: components.install(db, 1, relief_valve(), stamp()))
    return change


def records_something(db):
    return events.correct_event(db, 1, visual(facility="Shop Y"), stamp(1))


FORMS = [
    ("/cars/1/facts/lading", "/cars/1/facts/lading", {"commodity": "Invented acid", "from_on": "2026-01-01"}),
    ("/facts/service/1/correct", "/facts/service/1/correct", {"commodity": "Invented acid"}),
    ("/cars/1/events/new", "/cars/1/events", {"happened_on": "2025-05-05", "items": "thickness", "outcome": "pass"}),
    ("/cars/1/components/new", "/cars/1/components",
     {"kind": "valve", "serial": "V7", "position": "B end", "is_change": "no"}),
    ("/installations/1/remove", "/installations/1/remove", {"removed_on": "2026-06-06", "is_change": "yes"}),
    ("/installations/1/withdraw", "/installations/1/withdraw", {"reason": "never there"}),
    ("/cars/1/visits/new", "/cars/1/visits", {"shop": "Made-up Shop One", "sent_on": "2026-11-01"}),
]  # fmt: skip


@pytest.mark.parametrize(("shown", "sent", "typed"), FORMS, ids=[form[0] for form in FORMS])
def test_the_second_is_told_what_changed_keeps_what_was_typed_and_decides(
    client, other, shown, sent, typed
):
    opened = client.get(shown)
    other(records_something)
    filled = {**typed, "version": version(opened)}
    refused = client.post(sent, data=filled)
    assert refused.status_code == 422
    assert "Bo Otherwise corrected an inspection or change" in refused.text
    assert "facility: Shop X → Shop Y" in refused.text
    assert next(iter(typed.values())) in refused.text
    assert version(refused) == version(opened)  # a fault on the way hides no conflict
    again = client.post(sent, data=filled)
    assert again.status_code == 422
    done = client.post(sent, data={**filled, "meanwhile": tick(refused)}, follow_redirects=False)
    assert done.status_code in (200, 303), done.text


def test_what_was_recorded_after_the_tick_is_told_again(client, other):
    opened = client.get("/cars/1/facts/lading")
    other(records_something)
    filled = {"commodity": "Invented acid", "version": version(opened)}
    refused = client.post("/cars/1/facts/lading", data=filled)
    other(lambda db: events.correct_event(db, 2, visual(facility="Shop Z"), stamp(2)))
    again = client.post("/cars/1/facts/lading", data={**filled, "meanwhile": tick(refused)})
    assert again.status_code == 422
    assert "Shop Y → Shop Z" in again.text


def test_a_form_of_a_car_that_nobody_changed_meanwhile_is_simply_recorded(client, other):
    opened = client.get("/cars/1/facts/lading")
    typed = {"commodity": "Invented acid", "from_on": "2026-01-01", "version": version(opened)}
    assert client.post("/cars/1/facts/lading", data=typed).status_code == 200


def test_the_same_form_sent_twice_is_no_conflict(client, other):
    opened = client.get("/cars/1/events/new")
    key = re.search(r'name="form_key" value="(\w+)"', opened.text)[1]
    typed = {"happened_on": "2025-05-05", "items": "thickness", "outcome": "pass", "form_key": key}
    for _ in range(2):
        answer = client.post("/cars/1/events", data={**typed, "version": version(opened)})
        assert answer.status_code == 200


def renamed(db, number):
    return events.correct_event(
        db, number + 1, visual(facility=f"Works {number}"), stamp(number + 1)
    )


def test_every_one_of_many_changes_is_told_and_where_there_are_too_many_that_there_are_more(
    client, other
):
    opened = client.get("/cars/1/facts/lading")
    filled = {"commodity": "Invented acid", "version": version(opened)}
    for number in range(5):
        other(lambda db, at=number: renamed(db, at))
    told = client.post("/cars/1/facts/lading", data=filled).text
    assert [number for number in range(5) if f"→ Works {number}" not in told] == []
    assert "More was recorded before that" not in told
    for number in range(5, 25):
        other(lambda db, at=number: renamed(db, at))
    told = client.post("/cars/1/facts/lading", data=filled).text
    assert "→ Works 24" in told
    assert "More was recorded before that; the changes of the car tell all of it." in told

"""Mails about what falls due: to whom, when, what stands in them; each once, and again when the server took none."""

import re
import socket
from contextlib import contextmanager
from datetime import UTC, date, datetime, timedelta

import pytest
from aiosmtpd.controller import Controller
from aiosmtpd.handlers import Message
from sqlalchemy import update

from app.actions import events
from app.actions.changes import NewEvent
from app.actions.stamp import Stamp
from app.jobs import notices
from app.settings import Settings
from app.store import due_counts
from app.store.db import sessions, write_session
from app.store.due import DueFilter
from app.store.people import Membership, Person
from app.store.tables import Party
from app.store.watch import DueBefore, NoticeSent, NoticeWish, SavedList
from tests.pages.fleet_cast import fleet

# A Wednesday; the cast was recorded on the Friday before.
TODAY = date(2026, 11, 25)
SEVEN = datetime(2026, 11, 25, 7, tzinfo=UTC)
WEDNESDAY = 2


class Letters(Message):
    """Keeps what a local mail server is handed, or takes nothing."""

    def __init__(self, refuses: bool = False) -> None:
        super().__init__()
        self.found: list[tuple[str, str, str]] = []
        self.refuses = refuses

    async def handle_DATA(self, server, session, envelope):  # noqa: N802  as the server calls it
        if self.refuses:
            return "451 Not now"
        return await super().handle_DATA(server, session, envelope)

    def handle_message(self, message) -> None:
        text = message.get_payload(decode=True).decode().replace("\r\n", "\n")
        self.found.append((message["To"], message["Subject"], text))


@contextmanager
def served(letters: Letters, url: str, **more):
    """The settings of a program beside a mail server that hands `letters` what it gets."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    server = Controller(letters, hostname="127.0.0.1", port=port)
    server.start()
    try:
        yield Settings(
            database_url=url, mail_server=f"127.0.0.1:{port}", mail_from="register@people.invalid",
            mail_tls="none", public_url="http://register.example", **more,
        )  # fmt: skip
    finally:
        server.stop()


@pytest.fixture
def store(any_engine):
    """The cast, and a planner who wants mails."""
    factory = sessions(any_engine)
    with write_session(factory) as db:
        keeper = Party(name="Register of the Tests", keeps_register=True)
        db.add(keeper)
        db.flush()
        fleet(db)
        db.execute(update(DueBefore).values(day=date(2026, 11, 20)))
        for party in db.query(Party).filter(Party.id != keeper.id):
            party.kept_by = keeper.id
        person = Person(name="Ada Example", email="ada@people.invalid", added_at=SEVEN)
        db.add(person)
        db.flush()
        db.add(
            Membership(
                person_id=person.id, party_id=keeper.id, role="compliance", added_at=SEVEN,
                added_by="Fixture",
            )
        )  # fmt: skip
        db.add(NoticeWish(person_id=person.id, daily=True, weekday=None, since=TODAY))
    return factory


def wish(factory, **changed):
    with write_session(factory) as db:
        for name, value in changed.items():
            setattr(db.query(NoticeWish).one(), name, value)


def states(factory):
    with write_session(factory) as db:
        return [(each.kind, each.state, each.tries) for each in db.query(NoticeSent)]


def overdue(factory, **more):
    """How many lines the list has, from the store."""
    with write_session(factory) as db:
        return due_counts.count(db, DueFilter(TODAY, status="overdue", **more))


@pytest.fixture
def letters():
    return Letters()


@pytest.fixture
def settings(letters, any_engine):
    url = any_engine.url.render_as_string(hide_password=False)
    with served(letters, url) as made:
        yield made


def test_what_changed_is_mailed_once_a_day(store, letters, settings):
    assert notices.send_due(settings, store, SEVEN) == 1
    assert notices.send_due(settings, store, SEVEN + timedelta(hours=1)) == 0
    [(to, subject, text)] = letters.found
    assert to == "ada@people.invalid"
    assert subject == f"Stencilbook, what changed: {overdue(store)} overdue, 0 due now"
    assert "Became overdue:\n  ZQKX 1001, visual inspection, due 2026-11-24" in text
    assert re.search(r"^ +\d+ became overdue$", text, flags=re.MULTILINE)
    assert "http://register.example/cars/1#visual" in text
    assert "http://register.example/morning" in text


def test_a_day_without_a_change_has_no_mail(store, letters, settings):
    quiet = SEVEN + timedelta(days=11)
    assert notices.send_due(settings, store, quiet) == 0
    assert (letters.found, states(store)) == ([], [("daily", "nothing", 1)])
    assert notices.send_due(settings, store, quiet + timedelta(hours=2)) == 0


@pytest.mark.parametrize(
    ("hour", "zone", "sent"),
    [(5, "UTC", 0), (6, "UTC", 1), (7, "America/Chicago", 0), (13, "America/Chicago", 1)],
)
def test_nothing_goes_before_the_hour_where_the_register_is(
    store, letters, any_engine, hour, zone, sent
):
    url = any_engine.url.render_as_string(hide_password=False)
    with served(letters, url, time_zone=zone) as settings:
        assert notices.send_due(settings, store, SEVEN.replace(hour=hour)) == sent


def test_a_summary_goes_on_its_day_of_the_week(store, letters, settings):
    wish(store, daily=False, weekday=WEDNESDAY)
    assert notices.send_due(settings, store, SEVEN + timedelta(days=1)) == 0
    assert notices.send_due(settings, store, SEVEN + timedelta(days=7)) == 1
    [(_, subject, text)] = letters.found
    assert subject.startswith("Stencilbook, weekly summary: ")
    assert "Changed since 2026-11-25:" in text
    assert re.search(r"^ +\d+ +\d+  Marrow Creek Cars$", text, flags=re.MULTILINE)


def test_a_mail_that_the_server_did_not_take_is_tried_again_but_not_for_ever(
    store, letters, settings
):
    letters.refuses = True
    now = SEVEN
    for _ in range(20):
        assert notices.send_due(settings, store, now) == 0
        now += timedelta(minutes=31)
    assert states(store) == [("daily", "failed", 6)]


def test_a_mail_tried_again_goes_once(store, letters, settings):
    letters.refuses = True
    notices.send_due(settings, store, SEVEN)
    letters.refuses = False
    assert notices.send_due(settings, store, SEVEN + timedelta(minutes=29)) == 0
    assert notices.send_due(settings, store, SEVEN + timedelta(minutes=30)) == 1
    assert notices.send_due(settings, store, SEVEN + timedelta(hours=3)) == 0
    assert (len(letters.found), states(store)) == (1, [("daily", "sent", 2)])


def test_a_mail_during_which_the_program_died_is_not_sent_again(
    store, letters, settings, monkeypatch
):
    def die(*_: object) -> bool:
        raise KeyboardInterrupt

    with monkeypatch.context() as patch:
        patch.setattr("app.mail.send", die)
        with pytest.raises(KeyboardInterrupt):
            notices.send_due(settings, store, SEVEN)
    assert notices.send_due(settings, store, SEVEN + timedelta(hours=3)) == 0
    assert states(store) == [("daily", "sending", 1)]


def test_whoever_may_not_see_the_list_any_more_gets_no_mail(store, letters, settings):
    with write_session(store) as db:
        db.query(Membership).one().role = "inspector"
    assert notices.send_due(settings, store, SEVEN) == 0
    assert (letters.found, states(store)) == ([], [])


def test_a_mail_is_about_the_list_that_was_chosen(store, letters, settings):
    with write_session(store) as db:
        person = db.query(Person).one()
        made = SavedList(
            party_id=1, person_id=person.id, name="Prairie", asked={"region": "Prairie"},
            shared=False, made_at=SEVEN,
        )  # fmt: skip
        db.add(made)
        db.flush()
        db.query(NoticeWish).one().list_id = made.id
    assert notices.send_due(settings, store, SEVEN) == 0  # nothing of it changed
    soon = 3
    failed = NewEvent(TODAY, ("visual",), outcome="fail", facility="Made-up Shop One")
    with write_session(store) as db:
        events.record_event(db, soon, failed, Stamp("Ida", SEVEN, TODAY))
    wish(store, weekday=WEDNESDAY)
    assert notices.send_due(settings, store, SEVEN + timedelta(hours=1)) == 1
    [(_, subject, text)] = letters.found
    past = overdue(store, region="Prairie")
    assert subject == f"Stencilbook, weekly summary: {past} overdue, 1 due now"
    assert "  ZQAX 2000, visual inspection: not there before; now due now, 2026-11-25" in text


def test_a_mail_says_how_much_it_does_not_tell_and_where_that_stands(
    store, letters, settings, monkeypatch
):
    monkeypatch.setattr("app.actions.notices.LINES", 1)
    soon = 3
    failed = NewEvent(TODAY, ("visual", "thickness"), outcome="fail", facility="Made-up Shop One")
    with write_session(store) as db:
        events.record_event(db, soon, failed, Stamp("Ida", SEVEN, TODAY))
    notices.send_due(settings, store, SEVEN + timedelta(hours=1))
    [(_, _, text)] = letters.found
    moved = int(re.search(r"([0-9]+) moved by what was recorded", text)[1])
    assert moved > 1
    assert f"  and {moved - 1} more: " in text
    assert "/morning/parts/moved" in text

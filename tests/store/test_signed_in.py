"""Who stands behind a key or a token: in one statement, and nobody once anything has ended."""

import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta

import pytest
from sqlalchemy import Engine, event
from sqlalchemy.orm import Session

from app.access import Member
from app.store.db import sessions, write_session
from app.store.people import Membership, Person, SignIn, Token
from app.store.signed_in import fingerprint, mark_seen, viewer_by_key, viewer_by_token
from app.store.tables import Party

NOW = datetime(2026, 11, 25, 14, 0, tzinfo=UTC)
LATER = NOW + timedelta(hours=1)
KEY, TOKEN = "a key of a browser", "sb_a_token_of_a_program"


@pytest.fixture
def signed_in(any_db: Session) -> Session:
    """Ada Example: planner in one party, inspector in another; once signed in, with one token."""
    keeper, other = (
        Party(name="Quarrel Invented Leasing", keeps_register=True),
        Party(name="Made-up Tanks"),
    )
    ada = Person(name="Ada Example", email="ada@people.invalid", added_at=NOW)
    any_db.add_all([keeper, other, ada])
    any_db.flush()
    for party, role in ((keeper, "planner"), (other, "inspector")):
        any_db.add(
            Membership(
                person_id=ada.id, party_id=party.id, role=role, added_at=NOW, added_by="the test"
            )
        )
    any_db.add(
        SignIn(
            key_sha256=fingerprint(KEY), person_id=ada.id, how="password", began_at=NOW,
            seen_at=NOW, proved_at=NOW, expires_at=LATER,
        )
    )  # fmt: skip
    any_db.add(
        Token(
            person_id=ada.id, name="the yard's program", key_sha256=fingerprint(TOKEN),
            scopes=["load_check"], made_at=NOW, expires_at=LATER,
        )
    )  # fmt: skip
    any_db.flush()
    return any_db


def test_a_key_tells_the_person_and_all_memberships_in_one_statement(signed_in: Session) -> None:
    seen: list[object] = []
    event.listen(signed_in.get_bind(), "before_cursor_execute", lambda *given: seen.append(given))
    found = viewer_by_key(signed_in, KEY, NOW)
    assert found is not None
    assert len(seen) == 1
    assert (found.viewer.name, found.how, found.second_wanted) == ("Ada Example", "password", False)
    assert [(each.party, each.role, each.keeps_register) for each in found.viewer.members] == [
        ("Quarrel Invented Leasing", "planner", True),
        ("Made-up Tanks", "inspector", False),
    ]
    assert isinstance(found.viewer.members[0], Member)


def test_a_token_allows_what_its_scopes_say_and_no_more(signed_in: Session) -> None:
    found = viewer_by_token(signed_in, TOKEN, NOW)
    assert found is not None
    assert found.viewer.token_id is not None
    assert found.viewer.may("load_check")
    assert not found.viewer.may("read")
    assert not found.viewer.may("own_account")


def test_somebody_in_no_party_is_known_and_may_nothing(signed_in: Session) -> None:
    for each in signed_in.query(Membership):
        each.ended_at = NOW
    signed_in.flush()
    found = viewer_by_key(signed_in, KEY, NOW)
    assert found is not None
    assert found.viewer.members == ()
    assert not found.viewer.may("own_account")


def test_a_sign_in_that_waits_for_its_second_secret_says_so(signed_in: Session) -> None:
    signed_in.query(SignIn).one().second = "wanted"
    signed_in.flush()
    found = viewer_by_key(signed_in, KEY, NOW)
    assert found is not None
    assert found.second_wanted


def _end_sign_in(db: Session) -> None:
    db.query(SignIn).one().ended_at = NOW
    db.query(Token).one().ended_at = NOW


def _end_person(db: Session) -> None:
    db.query(Person).one().ended_at = NOW


def _run_out(db: Session) -> None:
    db.query(SignIn).one().expires_at = NOW
    db.query(Token).one().expires_at = NOW


@pytest.mark.parametrize("end", [_end_sign_in, _end_person, _run_out])
def test_what_has_ended_lets_nobody_in(signed_in: Session, end: Callable[[Session], None]) -> None:
    end(signed_in)
    signed_in.flush()
    assert viewer_by_key(signed_in, KEY, NOW) is None
    assert viewer_by_token(signed_in, TOKEN, NOW) is None


@pytest.mark.parametrize(
    "given",
    [
        "",  # none was sent
        "another key",  # unknown
        fingerprint(KEY),  # what somebody reads in a copy of the store opens nothing
        TOKEN,  # a token is no key
        KEY,  # and a key no token
    ],
)
def test_another_secret_is_nobody(signed_in: Session, given: str) -> None:
    assert viewer_by_key(signed_in, given, NOW) is None or given == KEY
    assert viewer_by_token(signed_in, given, NOW) is None or given == TOKEN


def test_that_somebody_was_there_is_written_apart(any_engine: Engine, signed_in: Session) -> None:
    signed_in.commit()
    for seen in (viewer_by_key(signed_in, KEY, NOW), viewer_by_token(signed_in, TOKEN, NOW)):
        assert seen is not None
        assert mark_seen(any_engine, seen, "203.0.113.7", LATER, LATER + timedelta(hours=1))
    signed_in.rollback()
    found = signed_in.query(SignIn).one()
    assert (found.seen_at, found.expires_at) == (LATER, LATER + timedelta(hours=1))
    token = signed_in.query(Token).one()
    assert (token.used_at, token.used_from) == (LATER, "203.0.113.7")


def test_while_others_write_it_is_left_out_at_once(any_engine: Engine, signed_in: Session) -> None:
    signed_in.commit()
    seen = viewer_by_key(signed_in, KEY, NOW)
    assert seen is not None
    signed_in.rollback()
    with write_session(sessions(any_engine)) as other:
        other.query(SignIn).one().browser = "written by another"
        other.flush()
        began = time.monotonic()
        assert not mark_seen(any_engine, seen, "", LATER, LATER)
        assert time.monotonic() - began < 1
    assert mark_seen(any_engine, seen, "", LATER, LATER)

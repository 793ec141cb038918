"""Signing in and out. A sign-in lives on the server; the browser holds a key of which only the hash is kept."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from secrets import token_urlsafe
from typing import Literal

from sqlalchemy.orm import Session

from app.actions import attempts, passwords
from app.actions.attempts import Counted
from app.errors import NotFound
from app.store import accounts
from app.store.gathering import note
from app.store.people import Person, SignIn
from app.store.signed_in import WANTED, fingerprint

How = Literal["password", "passkey", "openid", "set_up"]
Second = Literal["", "code", "recovery", "passkey", "provider"]
# How long one may take over the second secret, and for how long a proof of who is there counts as fresh.
SECOND_WITHIN = timedelta(minutes=10)
FRESH_FOR = timedelta(minutes=10)
# How often it is written that a browser or a program was there.
SEEN_EVERY = timedelta(minutes=5)
# Those that ended are kept for so long, to be asked about.
KEPT_FOR = timedelta(days=30)


@dataclass(frozen=True, slots=True)
class Place:
    """From where somebody signs in: the address of the network, and what the browser says it is."""

    address: str
    browser: str = ""

    @property
    def counted(self) -> Counted:
        return Counted("address", self.address)


@dataclass(frozen=True, slots=True)
class Lasting:
    """How long a sign-in lasts unused, and at most."""

    idle: timedelta
    most: timedelta

    def until(self, began: datetime, seen: datetime) -> datetime:
        return min(began + self.most, seen + self.idle)


def email_of(text: str) -> str:
    """An address of mail as it is kept and compared."""
    return text.strip().lower()


def account_counted(email: str) -> Counted:
    return Counted("account", email_of(email))


def account_of(db: Session, email: str) -> int | None:
    """Whose account this address of mail opens, for the log."""
    found = accounts.by_email(db, email_of(email))
    return found.id if found else None


def try_password(db: Session, email: str, place: Place, now: datetime) -> int:
    """Count an attempt before its password is looked at; 0, or the seconds it has to wait."""
    return attempts.begin(db, (account_counted(email), place.counted), now)


def person_with(db: Session, email: str, password: str) -> tuple[Person | None, str | None]:
    """Whose password it is, and the hash to keep from now on where that changed.

    None in as long a time when there is no such person, or they may no longer sign in. Takes a
    tenth of a second, so it is asked before anything is locked.
    """
    found = accounts.by_email(db, email_of(email))
    kept = found.password if found and not found.ended_at else None
    checked = passwords.matches(kept, password)
    return (found, checked.renewed) if checked.right else (None, None)


def password_was_right(db: Session, email: str, place: Place) -> None:
    """What failed before counts no longer."""
    attempts.succeeded(db, (account_counted(email), place.counted))


def with_password(
    db: Session, person_id: int, renewed: str | None, place: Place, lasting: Lasting, now: datetime
) -> tuple[str, bool]:
    """Sign in whose password was right: the browser's key, and whether a second secret is wanted."""
    person = accounts.person_or_raise(db, person_id)
    password_was_right(db, person.email, place)
    if renewed:
        person.password = renewed
    if accounts.has_second(db, person.id):
        return _wait_for_second(db, person, "password", place, now), True
    return begin(db, person, "password", "", place, lasting, now), False


def with_provider(
    db: Session, person: Person, two: bool, required: bool, place: Place, lasting: Lasting,
    now: datetime,
) -> tuple[str, bool]:  # fmt: skip
    """The same for whom a provider let in, `two` when it says that it asked for two secrets.

    What it does not say counts as one; where two are `required`, the person's own second is wanted.
    """
    if required and not two and accounts.has_second(db, person.id):
        return _wait_for_second(db, person, "openid", place, now), True
    return begin(db, person, "openid", "provider" if two else "", place, lasting, now), False


def _wait_for_second(db: Session, person: Person, how: How, place: Place, now: datetime) -> str:
    return begin(db, person, how, WANTED, place, Lasting(SECOND_WITHIN, SECOND_WITHIN), now)


def begin(
    db: Session,
    person: Person,
    how: str,
    second: str,
    place: Place,
    lasting: Lasting,
    now: datetime,
) -> str:
    """A new sign-in; gives the key for the browser, which nobody can learn again."""
    key = token_urlsafe(32)
    if second == WANTED:
        note(db, "person.gave_first_secret", ("person", person.id), how=how)
    else:
        note(db, "person.signed_in", ("person", person.id), how=how, second=second or None)
    accounts.forget_sign_ins(db, now - KEPT_FOR)
    db.add(
        SignIn(
            key_sha256=fingerprint(key),
            person_id=person.id,
            how=how,
            second=second,
            address=place.address[:60],
            browser=place.browser[:200],
            began_at=now,
            seen_at=now,
            proved_at=now,
            expires_at=lasting.until(now, now),
        )
    )
    db.flush()
    return key


def second_given(
    db: Session, held: str, second: Second, place: Place, lasting: Lasting, now: datetime
) -> str:
    """Let in who gave the second secret: a new key in place of the one that waited."""
    waiting = accounts.sign_in(db, held)
    if waiting is None or waiting.second != WANTED or waiting.ended_at:
        raise NotFound("This sign-in is over. Start again with the password.")
    waiting.ended_at = now
    person = accounts.person_or_raise(db, waiting.person_id)
    return begin(db, person, waiting.how, second, place, lasting, now)


def second_set_up(db: Session, held: str, second: Second) -> None:
    """Whoever sets a second secret up has shown it, in this browser."""
    found = accounts.sign_in(db, held)
    if found is not None and not found.second:
        found.second = second


def proved(db: Session, held: str, now: datetime) -> None:
    """A secret was given anew in a sign-in that there is."""
    found = accounts.sign_in(db, held)
    if found is not None:
        found.proved_at = now


def fresh(proved_at: datetime, now: datetime) -> bool:
    """Whether a secret was given lately enough for what asks for one."""
    return now - proved_at <= FRESH_FOR


def sign_out(db: Session, held: str, now: datetime) -> int | None:
    """Sign out here; whoever that was."""
    found = accounts.sign_in(db, held)
    if found is None:
        return None
    note(db, "person.signed_out", ("person", found.person_id))
    end(db, held, now)
    return found.person_id


def end(db: Session, held: str, now: datetime) -> None:
    """End the sign-in of one browser, where another takes its place."""
    found = accounts.sign_in(db, held)
    if found is not None and found.ended_at is None:
        found.ended_at = now


def end_one(db: Session, person_id: int, name: str, now: datetime) -> None:
    """Sign out a browser of one's own, named by the front of its fingerprint."""
    for each in accounts.sign_ins(db, person_id, now):
        if name_of(each) == name:
            each.ended_at = now
            note(db, "sign_in.ended", ("person", person_id))
            return
    raise NotFound("This sign-in is over already.")


def name_of(found: SignIn) -> str:
    """What a page calls a sign-in by; too short to be anything but a name."""
    return found.key_sha256[:16]


def end_everywhere(db: Session, person_id: int, now: datetime, but: str = "") -> int:
    """Sign out all browsers of a person, but for one; how many those were."""
    note(db, "sign_in.ended_everywhere", ("person", person_id))
    return accounts.end_sign_ins(db, person_id, now, but)

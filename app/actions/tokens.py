"""Tokens, which programs show in place of signing in: named, narrowed, ending by themselves, shown once."""

from __future__ import annotations

from collections.abc import Collection
from datetime import date, datetime, time, timedelta
from secrets import token_urlsafe
from zoneinfo import ZoneInfo

from sqlalchemy.orm import Session

from app.actions.checks import Faults, tidy
from app.errors import NotFound
from app.store import accounts
from app.store.gathering import note
from app.store.people import TOKEN_SCOPES, Person, Token
from app.store.signed_in import TOKEN_PREFIX, fingerprint

LONGEST = timedelta(days=366)
MOST_TOKENS = 50


def add(
    db: Session,
    person: Person,
    name: str,
    scopes: Collection[str],
    last_day: date,
    zone: str,
    now: datetime,
) -> tuple[Token, str]:
    """A token good through `last_day` where the register is; gives the row and the token itself."""
    ends = datetime.combine(last_day + timedelta(days=1), time(), ZoneInfo(zone))
    faults = Faults()
    name = tidy(name)
    if not 1 <= len(name) <= 200:
        faults.add("name", "say in 1 to 200 characters which program it is for")
    if not scopes or not set(scopes) <= set(TOKEN_SCOPES):
        faults.add("scopes", "choose at least one of what it may do")
    if not now < ends <= now + LONGEST:
        faults.add("last_day", "want a day from today on, at most a year ahead")
    if len(accounts.tokens(db, person.id)) >= MOST_TOKENS:
        faults.add("", f"there are {MOST_TOKENS} tokens already; revoke one first")
    faults.refuse()
    secret = TOKEN_PREFIX + token_urlsafe(32)
    made = Token(
        person_id=person.id,
        name=name,
        key_sha256=fingerprint(secret),
        scopes=[each for each in TOKEN_SCOPES if each in scopes],
        made_at=now,
        expires_at=ends,
    )
    db.add(made)
    note(db, "token.made", ("person", person.id))
    db.flush()
    return made, secret


def revoke(db: Session, person: Person, token_id: int, now: datetime) -> None:
    """The token opens nothing any more."""
    held = {each.id: each for each in accounts.tokens(db, person.id)}
    if token_id not in held:
        raise NotFound("You have no such token.")
    held[token_id].ended_at = now
    note(db, "token.revoked", ("person", person.id))

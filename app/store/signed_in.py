"""Who stands behind a browser's key or a program's token: one question each, asked on every request."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from hashlib import sha256
from typing import Any, cast

from sqlalchemy import ColumnElement, Connection, Engine, Row, Select, bindparam, select, update
from sqlalchemy.exc import DBAPIError
from sqlalchemy.exc import TimeoutError as NoneFree
from sqlalchemy.orm import InstrumentedAttribute, Session

from app.access import Capability, Member, Role, Viewer
from app.core.showing import Preferences
from app.store.columns import table_of
from app.store.people import Membership, Person, SignIn, Token
from app.store.prepared import by_key
from app.store.tables import Party

TOKEN_PREFIX = "sb_"  # what every token begins with, so that one in a text is found
WANTED = "wanted"
# What a token may at most, whatever its person may: never people, accounts or the rules.
SCOPES: Mapping[str, frozenset[Capability]] = {
    "read": frozenset(("read", "load_check", "try_out", "keep_record")),
    "record": frozenset(("record_work", "record_facts", "bring_in", "keep_ladings")),
    "load_check": frozenset(("load_check",)),
}


@dataclass(frozen=True, slots=True)
class SignedIn:
    """`how` is password, passkey, openid, set_up or token; `second_wanted`: not yet let in.

    `second` is what was shown besides, empty for nothing: code, recovery, passkey, provider.
    `fingerprint` names the row without telling the key; `proved_at` is when a secret was last given.
    """

    viewer: Viewer
    how: str
    second: str
    proved_at: datetime
    began_at: datetime
    seen_at: datetime | None
    fingerprint: str

    @property
    def second_wanted(self) -> bool:
        return self.second == WANTED


def fingerprint(secret: str) -> str:
    """What the store keeps of a secret of 256 random bits; needs no salt, since nobody guesses one."""
    return sha256(secret.encode()).hexdigest()


def _whose(
    person_id: InstrumentedAttribute[int],
    held: InstrumentedAttribute[str],
    ended: InstrumentedAttribute[datetime | None],
    expires: InstrumentedAttribute[datetime],
    *more: ColumnElement[Any] | InstrumentedAttribute[Any],
) -> Select[Any]:
    """A row for each membership of the person, or one without when there is none."""
    current = (Membership.person_id == Person.id) & Membership.ended_at.is_(None)
    return by_key(
        select(Person.id, Person.name, Party.id.label("party_id"), Party.name.label("party"))
        .add_columns(Membership.role, Party.keeps_register, *more)
        .select_from(person_id.class_)
        .join(Person, Person.id == person_id)
        .outerjoin(Membership, current)
        .outerjoin(Party, Party.id == Membership.party_id)
        .where(held == bindparam("held"), ended.is_(None), expires > bindparam("now"))
        .where(Person.ended_at.is_(None))
        .order_by(Membership.id)
    )


BY_KEY = _whose(
    SignIn.person_id, SignIn.key_sha256, SignIn.ended_at, SignIn.expires_at,
    SignIn.how, SignIn.second, SignIn.proved_at, SignIn.began_at, SignIn.seen_at,
    Person.length_unit, Person.pressure_unit, Person.day_style,
)  # fmt: skip
BY_TOKEN = _whose(
    Token.person_id, Token.key_sha256, Token.ended_at, Token.expires_at,
    Token.id.label("token_id"), Token.scopes, Token.made_at, Token.used_at,
)  # fmt: skip


def viewer_by_key(db: Session, key: str, now: datetime) -> SignedIn | None:
    """Who is signed in where this key is held; None when it is unknown, ended or too old."""
    held = fingerprint(key)
    rows = db.execute(BY_KEY, {"held": held, "now": now}).all()
    if not rows:
        return None
    first = rows[0]
    prefers = Preferences(first.length_unit, first.pressure_unit, first.day_style)
    viewer = Viewer(first.id, first.name, _members(rows), prefers=prefers)
    since = first.proved_at, first.began_at, first.seen_at
    return SignedIn(viewer, first.how, first.second, *since, held)


def viewer_by_token(db: Session, token: str, now: datetime) -> SignedIn | None:
    """Whose token it is, narrowed to its scopes; None when it is unknown, ended or too old."""
    held = fingerprint(token)
    known = token.startswith(TOKEN_PREFIX)
    rows = db.execute(BY_TOKEN, {"held": held, "now": now}).all() if known else []
    if not rows:
        return None
    first = rows[0]
    allowed = frozenset[Capability]().union(*(SCOPES[each] for each in first.scopes))
    viewer = Viewer(first.id, first.name, _members(rows), allowed, first.token_id)
    return SignedIn(viewer, "token", "", first.made_at, first.made_at, first.used_at, held)


def mark_seen(
    engine: Engine, seen: SignedIn, address: str, now: datetime, until: datetime | None
) -> bool:
    """Write that a browser was there, or a token used, and until when a sign-in lasts now.

    In a transaction of its own that waits for nobody: False when the store was busy, then a later
    request writes it. What is being read meanwhile is not held up.
    """
    if seen.viewer.token_id is not None:
        table, moved = table_of(Token), {"used_at": now, "used_from": address[:60]}
    else:
        table, moved = table_of(SignIn), {"seen_at": now, "expires_at": until}
    change = update(table).where(table.c.key_sha256 == seen.fingerprint, table.c.ended_at.is_(None))
    try:
        with _waiting_for_nobody(engine) as connection:
            connection.execute(change.values(moved))
    except (
        DBAPIError,
        NoneFree,
    ):  # busy, read-only, full or gone: nothing that a reader must hear of
        return False
    return True


@contextmanager
def _waiting_for_nobody(engine: Engine) -> Iterator[Connection]:
    lite = engine.dialect.name == "sqlite"
    with engine.connect() as connection:
        if lite:
            # Past SQLAlchemy, whose first statement would begin the transaction and wait.
            driver: Any = connection.connection.driver_connection
            held = driver.execute("PRAGMA busy_timeout").fetchone()[0]
            driver.execute("PRAGMA busy_timeout = 0")
        try:
            with connection.begin():
                if not lite:
                    connection.exec_driver_sql("SET LOCAL lock_timeout = '50ms'")
                yield connection
        finally:
            if lite:
                driver.execute(f"PRAGMA busy_timeout = {held}")


def viewer_of(db: Session, person_id: int) -> Viewer | None:
    """The person as they would be admitted now, for work done on their behalf; None when ended."""
    rows = db.execute(
        select(Person.id, Person.name, Party.id.label("party_id"), Party.name.label("party"))
        .add_columns(Membership.role, Party.keeps_register)
        .outerjoin(Membership, (Membership.person_id == Person.id) & Membership.ended_at.is_(None))
        .outerjoin(Party, Party.id == Membership.party_id)
        .where(Person.id == person_id, Person.ended_at.is_(None))
    ).all()
    return Viewer(rows[0].id, rows[0].name, _members(rows)) if rows else None


def _members(rows: Sequence[Row[Any]]) -> tuple[Member, ...]:
    return tuple(
        Member(row.party_id, row.party, cast("Role", row.role), row.keeps_register)
        for row in rows
        if row.role is not None
    )

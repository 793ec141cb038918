"""Writing the record of change: the entry of a transaction, chained to the one before it, just before its commit."""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, datetime
from hashlib import sha256
from typing import Any

from sqlalchemy import event, func, insert, select
from sqlalchemy.orm import Session, sessionmaker

from app.store import gathering
from app.store.bulk import insert_ready
from app.store.changes import Change, ChangeAbout
from app.store.columns import table_of
from app.store.doer import COMMAND_LINE, Doer
from app.store.gathering import Gathered
from app.store.kept import KEPT, About
from app.store.people import Person

# The hash that the first entry names as the one before it.
NOTHING_BEFORE = "0" * 64
UNNAMED = "changed"
# PostgreSQL: one transaction at a time may add an entry; any number that nothing else locks by.
CHAIN_LOCK = 0x5354454E43494C
ENTRY, ABOUT = table_of(Change), table_of(ChangeAbout)


@dataclass(frozen=True, slots=True)
class Entry:
    """An entry as it is hashed; `about` in order, each once."""

    id: int
    at: datetime
    by: str
    person_id: int | None
    origin: str
    address: str
    request: str
    deed: str
    body: str
    about: tuple[About, ...]
    previous: str

    def hash(self) -> str:
        """SHA-256 over all of it, written as one JSON list."""
        at = self.at.astimezone(UTC).isoformat(timespec="microseconds")
        fields = [
            self.id, at, self.by, self.person_id, self.origin, self.address, self.request,
            self.deed, self.body, self.about, self.previous,
        ]  # fmt: skip
        return sha256(canonical(fields).encode()).hexdigest()


def canonical(value: Any) -> str:
    """JSON in the one way in which it is written here."""
    return json.dumps(value, ensure_ascii=False, separators=(",", ":"), sort_keys=True)


def keep(factory: sessionmaker[Session]) -> None:
    """Have every commit of this factory's sessions leave its entry; so none can be forgotten."""
    gathering.listen(factory)
    event.listen(factory, "before_commit", _before_commit)


def _before_commit(db: Session) -> None:
    if db.in_nested_transaction():
        return
    db.flush()
    told = gathering.gathered(db)
    if told.rows or told.counted or any(deed.bulk for deed in told.deeds):
        _write(db, told)


def _write(db: Session, told: Gathered) -> None:
    doer: Doer = db.info.get("doer") or COMMAND_LINE
    connection = db.connection()
    if connection.dialect.name == "postgresql":
        _take_turns(db, doer)
    entry = _entry(told, doer, head(db))
    values = {name: getattr(entry, name) for name in entry.__slots__ if name != "about"}
    connection.execute(insert(ENTRY).values(values | {"hash": entry.hash()}))
    rows = [(kind, key, entry.id) for kind, key in entry.about]
    insert_ready(db, ABOUT, ("kind", "key", "change_id"), rows)
    told.items.clear()


def head(db: Session) -> tuple[int, str] | None:
    """The number and the hash of the last entry."""
    last = select(ENTRY.c.id, ENTRY.c.hash).order_by(ENTRY.c.id.desc()).limit(1)
    found = db.connection().execute(last).first()
    return (found[0], found[1]) if found else None


def _take_turns(db: Session, doer: Doer) -> None:
    """Wait for the end of whichever transaction is adding an entry now.

    The person is locked first: what waits for a row while it holds the turn could wait for ever.
    """
    if doer.person_id is not None:
        person = table_of(Person)
        held = select(person.c.id).where(person.c.id == doer.person_id)
        db.connection().execute(held.with_for_update(read=True, key_share=True))
    db.connection().execute(select(func.pg_advisory_xact_lock(CHAIN_LOCK)))


def _entry(told: Gathered, doer: Doer, last: tuple[int, str] | None) -> Entry:
    deeds = told.deeds
    return Entry(
        id=last[0] + 1 if last else 1,
        at=doer.at or datetime.now(UTC),
        by=doer.name[:200],
        person_id=doer.person_id,
        origin=doer.origin,
        address=doer.address[:60],
        request=doer.request[:64],
        deed=deeds[0].name if deeds else UNNAMED,
        body=_body(told),
        about=_about(told),
        previous=last[1] if last else NOTHING_BEFORE,
    )


def _about(told: Gathered) -> tuple[About, ...]:
    found = {each for row in told.rows for each in row.about}
    found |= {each for deed in told.deeds for each in deed.about}
    return tuple(sorted(found))


def _body(told: Gathered) -> str:
    """The rows before and after, and what was said beside them."""
    body: dict[str, Any] = {
        "rows": [
            {"table": row.table, "key": row.key, "before": row.before, "after": row.after}
            | ({"secret": row.secret} if row.secret else {})
            for row in _in_order(told)
        ]
    }
    if told.counted:
        body["counted"] = told.counted
    for deed in told.deeds:
        body |= {name: value for name, value in deed.said.items() if value is not None}
    bulk = [each for deed in told.deeds for each in deed.bulk]
    if bulk:
        body["bulk"] = bulk
    also = list(dict.fromkeys(deed.name for deed in told.deeds))[1:]
    return canonical(body | ({"also": also} if also else {}))


def _in_order(told: Gathered) -> Iterable[gathering.RowChange]:
    """By table as the record lists them, then in the order in which they were written."""
    place = {table: number for number, table in enumerate(KEPT)}
    return sorted(told.rows, key=lambda row: place[row.table])

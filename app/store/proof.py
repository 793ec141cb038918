"""Proving the record of change: that its chain is whole, and that the rows it tells of still say the same."""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from datetime import datetime
from itertools import groupby
from operator import itemgetter
from typing import Any

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from app.store.change_log import ABOUT, ENTRY, NOTHING_BEFORE, Entry
from app.store.kept import About

AT_ONCE = 1_000
Tell = Callable[[str, int, int], None]


@dataclass(frozen=True, slots=True)
class Head:
    """The last entry of the record, to be kept elsewhere; `entries` is how many there are."""

    entry: int
    at: datetime
    hash: str
    entries: int

    def as_text(self) -> str:
        """One line of JSON."""
        told = {
            "entry": self.entry, "at": self.at.isoformat(), "hash": self.hash,
            "entries": self.entries,
        }  # fmt: skip
        return json.dumps(told)


def read_head(text: str) -> Head:
    """The head that `as_text` wrote. Raises ValueError for anything else."""
    try:
        told = json.loads(text)
        at = datetime.fromisoformat(told["at"])
        return Head(int(told["entry"]), at, str(told["hash"]), int(told["entries"]))
    except (TypeError, KeyError) as wrong:
        raise ValueError("it is no head of a record of change") from wrong


def head(db: Session) -> Head | None:
    """The head of the record now; None while nothing was ever recorded."""
    last = select(ENTRY.c.id, ENTRY.c.at, ENTRY.c.hash).order_by(ENTRY.c.id.desc()).limit(1)
    found = db.connection().execute(last).first()
    if found is None:
        return None
    counted = db.connection().execute(select(func.count()).select_from(ENTRY)).scalar_one()
    return Head(found.id, found.at, found.hash, counted)


def entries(db: Session) -> Iterator[tuple[Entry, str]]:
    """Every entry in order, with the hash that is stored with it."""
    after = -1
    while True:
        wanted = select(ENTRY).where(ENTRY.c.id > after).order_by(ENTRY.c.id).limit(AT_ONCE)
        found = db.connection().execute(wanted).mappings().all()
        if not found:
            return
        about = _about(db, found[0]["id"], found[-1]["id"])
        for row in found:
            fields = {name: row[name] for name in Entry.__slots__ if name != "about"}
            yield Entry(**fields, about=about.get(row["id"], ())), row["hash"]
        after = found[-1]["id"]


def _about(db: Session, first: int, last: int) -> dict[int, tuple[About, ...]]:
    wanted = (
        select(ABOUT.c.change_id, ABOUT.c.kind, ABOUT.c.key)
        .where(ABOUT.c.change_id.between(first, last))
        .order_by(ABOUT.c.change_id)
    )
    found = db.connection().execute(wanted).all()
    return {
        entry: tuple(sorted((kind, key) for _, kind, key in rows))
        for entry, rows in groupby(found, itemgetter(0))
    }


def first_break(db: Session, kept: Head | None, tell: Tell) -> str | None:
    """The first entry that is not as it was written, in words; with a head kept elsewhere also a lost end."""
    last, previous = 0, NOTHING_BEFORE
    for entry, stored in entries(db):
        if entry.id % AT_ONCE == 0:
            tell("Proving the record of change", entry.id, 0)
        wrong = _wrong(entry, stored, last, previous)
        if wrong is None and kept and entry.id == kept.entry and stored != kept.hash:
            wrong = f"entry {entry.id} is not the one that the head names, but another in its place"
        if wrong:
            return wrong
        last, previous = entry.id, stored
    if kept and last < kept.entry:
        return (
            f"entry {last + 1} is missing: the record ends at entry {last}, and the head names "
            f"entry {kept.entry}"
        )
    return None


def _wrong(entry: Entry, stored: str, last: int, previous: str) -> str | None:
    if entry.id != last + 1:
        return f"entry {last + 1} is missing; the next one there is entry {entry.id}"
    if entry.hash() != stored:
        return f"entry {entry.id} was altered: it does not say what its hash was made of"
    if entry.previous != previous:
        return f"entry {entry.id} does not follow on entry {last}, which was altered or replaced"
    return None


# What the entries tell of the rows -------------------------------------------------------------------------------


@dataclass(slots=True)
class Told:
    """A row as the entries leave it: by column what they say last and which entry does.

    `values` is None when it was taken away. Of secret columns there are digests.
    """

    entry: int
    values: dict[str, tuple[Any, int]] | None
    secrets: dict[str, tuple[Any, int]]


@dataclass(frozen=True, slots=True)
class Bulk:
    """Rows that an entry tells by digest: of what an import brought, took back, or made on the way."""

    entry: int
    import_id: int
    at: datetime
    brought: dict[str, Any]
    taken_back: dict[str, Any]
    made: dict[str, Any]


@dataclass(slots=True)
class Replayed:
    """All that the record tells; `older` is by table the highest key there was when it began."""

    rows: dict[str, dict[str, Told]]
    bulks: list[Bulk]
    older: dict[str, int]


def replay(db: Session, tell: Tell) -> Replayed:
    """Go through the entries, which have been proved, and keep what they say last of each row."""
    found = Replayed(defaultdict(dict), [], {})
    for entry, _ in entries(db):
        if entry.id % AT_ONCE == 0:
            tell("Reading the record of change", entry.id, 0)
        body = json.loads(entry.body)
        found.older.update(body.get("older", {}))
        for row in body["rows"]:
            _take_in(found.rows[row["table"]], entry.id, row)
        for told in body.get("bulk", ()):
            if "again" in told:
                _bring_again(found.bulks, entry.id, told)
            else:
                found.bulks.append(_bulk(entry.id, told))
    return found


def _take_in(told: dict[str, Told], entry: int, row: dict[str, Any]) -> None:
    key, before = json.dumps(row["key"]), told.get(json.dumps(row["key"]))
    after = None if row["after"] is None else {
        name: (value, entry) for name, value in row["after"].items()
    }  # fmt: skip
    if before and before.values is not None and after is not None:
        after = before.values | after
    # The earliest entries named such columns, and told no more of them.
    named = row.get("secret", {})
    digests = {name: (named[name], entry) if isinstance(named, dict) else None for name in named}
    secrets = (before.secrets if before else {}) | digests
    told[key] = Told(entry, after, {name: each for name, each in secrets.items() if each})


def _bring_again(bulks: list[Bulk], entry: int, told: dict[str, Any]) -> None:
    """Reports that need be kept no longer have gone: from then on the file's rows have other digests."""
    again = told["again"]
    for place, bulk in enumerate(bulks):
        if bulk.import_id == told["import"] and bulk.brought:
            now = {name: each for name, each in again.items() if each["rows"]}
            rest = {name: each for name, each in bulk.brought.items() if name not in again}
            bulks[place] = replace(bulk, entry=entry, brought=rest | now)


def _bulk(entry: int, told: dict[str, Any]) -> Bulk:
    parts = (told.get(name, {}) for name in ("brought", "taken_back", "made"))
    return Bulk(entry, told["import"], datetime.fromisoformat(told["at"]), *parts)

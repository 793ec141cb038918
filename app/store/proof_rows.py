"""The rows of the register against what the record of change tells of them: what was changed behind its back."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Mapping
from itertools import islice
from typing import Any

from sqlalchemy import Table, select
from sqlalchemy.orm import Session

from app.store import digests
from app.store.columns import Base
from app.store.digests import BROUGHT, READING
from app.store.kept import KEPT, digest_of, key_of, plain
from app.store.proof import Bulk, Replayed, Tell, Told

AT_ONCE = 1_000
# Tables every row of which, and every stamp on one, some entry has to tell.
RECORDED = tuple(table for table in BROUGHT if table is not READING)


# Who gets in, as whom: every row is told from the first one on, and there are few.
WHO_GETS_IN = frozenset((
    "person", "membership", "sign_in", "passkey", "recovery_code", "open_identity", "invitation",
    "token",
))  # fmt: skip


def first_change_behind(db: Session, told: Replayed, tell: Tell) -> str | None:
    """The first row that does not say what the record says of it, or of which it says nothing."""
    for table in Base.metadata.sorted_tables:
        if table.name in KEPT:
            tell(f"Comparing {table.name}", 0, 0)
            wrong = _first_differing(db, table, told.rows.get(table.name, {}))
            if wrong:
                return wrong
    return _first_bulk(db, told.bulks) or _first_untold(db, told, tell)


def _first_differing(db: Session, table: Table, told: Mapping[str, Told]) -> str | None:
    waiting = dict(told)
    for row in _rows(db, table, told):
        key = json.dumps(key_of(table, row))
        each = waiting.pop(key, None)
        if each is None:
            if table.name in WHO_GETS_IN:
                return f"{table.name} {key} is in no entry of the record of change"
            continue
        if each.values is None:
            return f"{table.name} {key} is there, and entry {each.entry} tells that it was removed"
        if wrong := _column_differing(table, row, each.values, each.secrets):
            return f"{table.name} {key}: {wrong}"
    for key, each in waiting.items():
        # A copy leaves out in which browsers people are signed in; without its row nobody is.
        if each.values is not None and table.name != "sign_in":
            return f"{table.name} {key} is gone, and entry {each.entry} tells of it"
    return None


def _column_differing(
    table: Table,
    row: Mapping[str, Any],
    values: Mapping[str, tuple[Any, int]],
    secrets: Mapping[str, tuple[Any, int]],
) -> str | None:
    for name, (value, entry) in values.items():
        if name in row and plain(row[name]) != value:
            return f"{name} is {plain(row[name])!r}, and entry {entry} tells of {value!r}"
    for name, (digest, entry) in secrets.items():
        if digest_of(table, name, row) != digest:
            return f"{name} is not the one that entry {entry} tells of"
    return None


def _rows(db: Session, table: Table, told: Iterable[str]) -> Iterator[Mapping[str, Any]]:
    """The rows of these keys, or every row where keys are not kept as they are."""
    first = next(iter(table.primary_key.columns))
    if table.name in WHO_GETS_IN:
        for row in db.connection().execute(select(table)).mappings():
            yield dict(row)
        return
    keys = {key[0] if isinstance(key, list) else key for key in map(json.loads, told)}
    ordered = iter(sorted(keys))
    while some := list(islice(ordered, AT_ONCE)):
        for row in db.connection().execute(select(table).where(first.in_(some))).mappings():
            yield dict(row)


def _first_bulk(db: Session, bulks: Iterable[Bulk]) -> str | None:
    for bulk in bulks:
        now = digests.brought(db, bulk.import_id, bulk.at) if bulk.brought else {}
        stamped = digests.taken_back(db, bulk.import_id, bulk.at) if bulk.taken_back else {}
        made = {
            name: digests.made(
                db, Base.metadata.tables[name], each["after"], each["until"], bulk.at
            )
            for name, each in bulk.made.items()
        }
        for then, there in (
            (bulk.brought, now), (bulk.taken_back, stamped), (bulk.made, made)
        ):  # fmt: skip
            for name in sorted(then.keys() | there.keys()):
                if then.get(name) != there.get(name):
                    return _not_the_same(bulk, name, then.get(name), there.get(name))
    return None


def _not_the_same(bulk: Bulk, table: str, then: Any, now: Any) -> str:
    was, there = (each["rows"] if each else 0 for each in (then, now))
    counted = f"{there:,} rows and not {was:,}" if was != there else "other rows"
    return (
        f"{table}: of import {bulk.import_id} there are {counted} than entry {bulk.entry} tells of"
    )


def _first_untold(db: Session, told: Replayed, tell: Tell) -> str | None:
    """Rows, and stamps on rows, that came into the tables past the program."""
    for table in RECORDED:
        tell(f"Looking for rows of {table.name} without an entry", 0, 0)
        wanted = select(table.c.id, table.c.import_id, table.c.recorded_at, table.c.superseded_at)
        known, older = told.rows.get(table.name, {}), told.older.get(table.name, 0)
        with db.connection().execute(wanted, execution_options={"yield_per": 10_000}) as found:
            for row in found:
                each = known.get(str(row.id))
                if row.id > older and (wrong := _untold(told, table.name, each, row)):
                    return f"{table.name} {row.id} {wrong}"
    return None


def _untold(told: Replayed, table: str, each: Told | None, row: Any) -> str | None:
    if not _tells(told, table, each, row.id, row.import_id, row.recorded_at):
        return "is in no entry of the record of change"
    stamped = each is not None and (each.values or {}).get("superseded_at", (None, 0))[0]
    if row.superseded_at is None or stamped or _took(told, row.import_id, row.superseded_at):
        return None
    return "was superseded, and no entry tells of it"


def _tells(
    told: Replayed, table: str, each: Told | None, key: int, import_id: int | None, at: Any
) -> bool:
    if each is not None and each.values is not None and "recorded_at" in each.values:
        return True
    return any(
        at == bulk.at
        and (
            (import_id == bulk.import_id and table in bulk.brought)
            or (table in bulk.made and _between(bulk.made[table], key))
        )
        for bulk in told.bulks
    )


def _between(made: Mapping[str, Any], key: int) -> bool:
    return bool(made["after"] < key <= made["until"])


def _took(told: Replayed, import_id: int | None, at: Any) -> bool:
    return any(
        bulk.taken_back and bulk.import_id == import_id and bulk.at == at for bulk in told.bulks
    )

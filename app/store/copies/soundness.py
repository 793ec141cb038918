"""Whether a store is sound: its file, its foreign keys, the triggers that keep the record, what stands twice.

Each question names the first thing that is wrong, or nothing.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from functools import cache
from typing import Any

from sqlalchemy import (
    Connection,
    ForeignKeyConstraint,
    Table,
    and_,
    select,
    text,
)

from app.store import migrate
from app.store.columns import table_of
from app.store.copies import rows
from app.store.db import for_migrating, writing
from app.store.derived import DueRow
from app.store.tables import Car, EventRow, ReadingRow

SQLITE_TRIGGERS = "SELECT name, sql FROM sqlite_master WHERE type = 'trigger'"
# O: fires as usual; A: fires always. Others are switched off, or fire on a replica only.
ENABLED = (
    "SELECT t.tgname FROM pg_trigger t JOIN pg_class c ON c.oid = t.tgrelid "
    "WHERE NOT t.tgisinternal AND t.tgenabled IN ('O', 'A') AND pg_table_is_visible(c.oid)"
)


def damaged_file(connection: Connection) -> str | None:
    """What SQLite itself finds wrong with its file; PostgreSQL offers no such question."""
    if connection.dialect.name != "sqlite":
        return None
    said = connection.scalar(text("PRAGMA integrity_check(1)"))
    return None if said == "ok" else str(said)


def first_orphan(connection: Connection, tables: Iterable[Table]) -> str | None:
    """A row that names another which is not there."""
    for table in tables:
        for key in sorted(table.foreign_key_constraints, key=lambda each: str(each.name)):
            found = _orphan(connection, table, key)
            if found:
                return found
    return None


def _orphan(connection: Connection, table: Table, key: ForeignKeyConstraint) -> str | None:
    other = key.referred_table.alias("referred")
    same = and_(*(each.parent == other.c[each.column.name] for each in key.elements))
    named = [each.parent for each in key.elements]
    stray = (
        select(*table.primary_key.columns, *(each.label(f"{each.name} named") for each in named))
        .outerjoin(other, same)
        .where(
            *(each.is_not(None) for each in named), other.c[key.elements[0].column.name].is_(None)
        )
        .order_by(*table.primary_key.columns)
        .limit(1)
    )
    found = connection.execute(stray).first()
    if found is None:
        return None
    values = tuple(found)
    own = _told(table.primary_key.columns.keys(), values)
    gone = _told([each.name for each in named], values[-len(named) :])
    return f"{table.name} row ({own}) names {gone}, and {key.referred_table.name} has no such row"


def _told(names: Iterable[str], values: Iterable[Any]) -> str:
    return ", ".join(f"{name} {value}" for name, value in zip(names, values, strict=False))


def first_unguarded(connection: Connection) -> str | None:
    """A trigger that is missing, or was changed, of those that refuse changing and deleting the record."""
    wanted = _triggers_as_made()
    if connection.dialect.name == "sqlite":
        there = _triggers(connection)
        wrong = [name for name, sql in wanted.items() if there.get(name) != sql]
    else:
        enabled = set(connection.scalars(text(ENABLED)))
        kept = [name for name in wanted if name.endswith("_kept")]
        needed = [*kept, *(name.replace("_kept", "_not_emptied") for name in kept)]
        wrong = [name for name in needed if name not in enabled]
    if not wrong:
        return None
    return f"the trigger {min(wrong)}, which keeps the record, is missing, changed or switched off"


def _triggers(connection: Connection) -> dict[str, str]:
    return {row.name: row.sql for row in connection.execute(text(SQLITE_TRIGGERS))}


@cache
def _triggers_as_made() -> Mapping[str, str]:
    """Those of a store that the migrations have just made; a running program's never change."""
    engine = for_migrating("sqlite://")
    try:
        with writing(engine).begin() as connection:
            migrate.upgrade_within(connection)
            return _triggers(connection)
    finally:
        engine.dispose()


def kept_tables() -> frozenset[str]:
    """Those whose rows are never deleted, so that there can only be more of them."""
    return frozenset(
        name.removesuffix("_kept") for name in _triggers_as_made() if name.endswith("_kept")
    )


def first_reading_astray(connection: Connection) -> str | None:
    """A reading that says it is of another car than its event is."""
    reading, event = table_of(ReadingRow), table_of(EventRow)
    stray = connection.execute(
        select(reading.c.event_id, reading.c.place, reading.c.car_id, event.c.car_id.label("other"))
        .join(event, event.c.id == reading.c.event_id)
        .where(reading.c.car_id != event.c.car_id)
        .order_by(reading.c.event_id, reading.c.place)
        .limit(1)
    ).first()
    if stray is None:
        return None
    return (
        f"reading {stray.place} of event {stray.event_id} is of car {stray.car_id}, "
        f"and its event of car {stray.other}"
    )


def counts(connection: Connection) -> dict[str, int]:
    """The number of rows of each table that a copy holds."""
    return {table.name: rows.count(connection, table) for table in rows.tables(connection)}


def stored_due(
    connection: Connection, car_ids: list[int]
) -> tuple[dict[int, dict[str, Any]], dict[int, dict[int, dict[str, Any]]]]:
    """By car what lists show of it, and its stored due items by their place."""
    car, due = table_of(Car), table_of(DueRow)
    cars = {
        row["id"]: dict(row)
        for row in connection.execute(select(car).where(car.c.id.in_(car_ids))).mappings()
    }
    items: dict[int, dict[int, dict[str, Any]]] = {car_id: {} for car_id in cars}
    for row in connection.execute(select(due).where(due.c.car_id.in_(car_ids))).mappings():
        items.setdefault(row["car_id"], {})[row["item_no"]] = dict(row)
    return cars, items

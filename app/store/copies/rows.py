"""Rows of any table as lines of JSON that mean the same on both engines, and back.

Tables are read from the database itself, so that a new one is taken along without being named.
"""

from __future__ import annotations

import json
from base64 import b64decode, b64encode
from collections.abc import Callable, Iterator, Sequence
from datetime import UTC, date, datetime
from typing import Any

from sqlalchemy import (
    JSON,
    Boolean,
    Column,
    Connection,
    Date,
    DateTime,
    Integer,
    LargeBinary,
    MetaData,
    String,
    Table,
    Text,
    cast,
    func,
    select,
)
from sqlalchemy.types import TypeEngine

# The schema's own; and what is good for minutes, or for a browser that is not to be signed in again
# by bringing back a copy.
LEFT_OUT = frozenset(("alembic_version", "sign_in", "challenge", "attempt"))
BATCH = 1000
KINDS: tuple[tuple[type[TypeEngine[Any]], str], ...] = (
    (Boolean, "boolean"),
    (DateTime, "moment"),
    (Date, "day"),
    (JSON, "json"),
    (LargeBinary, "bytes"),
    (Integer, "integer"),
    (String, "text"),
)
Turn = Callable[[Any], Any]


def tables(connection: Connection) -> list[Table]:
    """All that a copy holds, what is referred to before what refers to it."""
    found = MetaData()
    found.reflect(connection, only=lambda name, _: name not in LEFT_OUT)
    return found.sorted_tables


def kind(column: Column[Any]) -> str:
    """What its values are, in words that say nothing of an engine."""
    for type_, name in KINDS:
        if isinstance(column.type, type_):
            return name
    raise TypeError(f"{column} is of a type that no copy can hold: {column.type!r}")


def columns(table: Table) -> list[tuple[str, str]]:
    return [(column.name, kind(column)) for column in table.columns]


def lines(connection: Connection, table: Table) -> Iterator[bytes]:
    """All rows in the order of their keys, some of them at a time."""
    # JSON as it is written: read and written anew, its numbers and its spaces could change.
    wanted = [cast(each, Text) if kind(each) == "json" else each for each in table.columns]
    turns = [OUT.get(kind(each)) for each in table.columns]
    query = select(*wanted).order_by(*table.primary_key.columns)
    found = connection.execution_options(stream_results=True).execute(query)
    for batch in found.partitions(BATCH):
        yield b"".join(_line(row, turns) for row in batch)


def _line(row: Sequence[Any], turns: Sequence[Turn | None]) -> bytes:
    values = [
        turn(value) if turn and value is not None else value
        for value, turn in zip(row, turns, strict=True)
    ]
    return json.dumps(values, ensure_ascii=False, separators=(",", ":")).encode() + b"\n"


def _moment(value: datetime) -> str:
    known = value.replace(tzinfo=UTC) if value.tzinfo is None else value.astimezone(UTC)
    return known.isoformat()


# The rest goes as it is. A number with decimals is kept as whole millionths on both engines.
OUT: dict[str, Turn] = {
    "moment": _moment,
    "day": date.isoformat,
    "bytes": lambda value: b64encode(value).decode(),
}
BACK: dict[str, Turn] = {
    "moment": datetime.fromisoformat,
    "day": date.fromisoformat,
    "bytes": b64decode,
}


def insert_lines(
    connection: Connection, table: Table, names: Sequence[str], given: Iterator[bytes]
) -> None:
    """Insert rows whose values stand in the order of `names`."""
    turns = [_into(connection, table.c[name]) for name in names]
    statement = _insert(connection, table, names)
    batch: list[tuple[Any, ...]] = []
    for line in given:
        values = json.loads(line)
        batch.append(
            tuple(
                turn(value) if turn and value is not None else value
                for value, turn in zip(values, turns, strict=True)
            )
        )
        if len(batch) == BATCH:
            connection.exec_driver_sql(statement, batch)
            batch = []
    if batch:
        connection.exec_driver_sql(statement, batch)


def _into(connection: Connection, column: Column[Any]) -> Turn | None:
    """What makes the driver's value of one in a line."""
    read = BACK.get(kind(column))
    processor = column.type.dialect_impl(connection.dialect).bind_processor(connection.dialect)
    if processor is None or kind(column) == "json":
        return read
    return (lambda value: processor(read(value))) if read else processor


def _insert(connection: Connection, table: Table, names: Sequence[str]) -> str:
    quote = connection.dialect.identifier_preparer.quote
    place = "?" if connection.dialect.paramstyle == "qmark" else "%s"
    named = ", ".join(map(quote, names))
    places = ", ".join([place] * len(names))
    return f"INSERT INTO {quote(table.name)} ({named}) VALUES ({places})"  # noqa: S608  names of the schema


def count(connection: Connection, table: Table) -> int:
    return connection.scalar(select(func.count()).select_from(table)) or 0

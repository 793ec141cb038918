"""Whole tables as the text of PostgreSQL's COPY, the same whichever engine has the rows, and into PostgreSQL by it.

Much faster than row by row, in as much memory as some rows take; and of the same rows there is the same sum.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from hashlib import sha256
from itertools import islice
from typing import Any

import psycopg
from sqlalchemy import (
    Column,
    ColumnElement,
    Connection,
    Integer,
    Select,
    Table,
    Text,
    cast,
    collate,
    func,
    select,
    text,
)
from sqlalchemy.exc import OperationalError

from app.errors import Refused
from app.store.copies.rows import kind

BATCH = 5_000
NULL = r"\N"
ESCAPES = str.maketrans(
    {"\\": r"\\", "\b": r"\b", "\f": r"\f", "\n": r"\n", "\r": r"\r", "\t": r"\t", "\v": r"\v"}
)
Told = Callable[[int], None]
AnySelect = Select[*tuple[Any, ...]]
# Other indexes than those of keys, and what refers to other tables: both cost more row by row than once at the end.
INDEXES = (
    "SELECT indexrelid::regclass::text AS name, pg_get_indexdef(indexrelid) AS made FROM pg_index i "
    "JOIN pg_class c ON c.oid = i.indrelid WHERE c.relnamespace = current_schema()::regnamespace "
    "AND NOT EXISTS (SELECT FROM pg_constraint k WHERE k.conindid = indexrelid AND k.contype <> 'f') "
    "ORDER BY name"
)
REFERENCES = (
    "SELECT conrelid::regclass::text AS of, quote_ident(conname) AS name, pg_get_constraintdef(oid) AS made "
    "FROM pg_constraint WHERE contype = 'f' AND connamespace = current_schema()::regnamespace "
    "ORDER BY of, name"
)


@dataclass(frozen=True, slots=True)
class Sum:
    """How many rows, and the SHA-256 of their text in the order of their keys."""

    rows: int
    sha256: str


def rows_as_text(
    connection: Connection, table: Table, names: Sequence[str]
) -> Iterator[tuple[int, bytes]]:
    """All rows with these columns in the order of their keys: how many, and their lines, some at a time."""
    if connection.dialect.name == "postgresql":
        return _copied_out(connection, _query(connection, table, names))
    return _written(connection, table, _query(connection, table, names), names)


def sum_of(text: Iterator[tuple[int, bytes]], told: Told) -> Sum:
    """The sum of rows, which are looked at and let go."""
    made, rows = sha256(), 0
    for many, lines in text:
        made.update(lines)
        rows += many
        told(rows)
    return Sum(rows, made.hexdigest())


def pour(
    connection: Connection, table: Table, names: Sequence[str], given: Iterator[tuple[int, bytes]]
) -> Iterator[tuple[int, bytes]]:
    """Have PostgreSQL take in the rows of a table, which are handed on. Raises Refused for one that it takes not."""
    quote = connection.dialect.identifier_preparer.quote
    columns = ", ".join(map(quote, names))
    connection.execute(text("SET LOCAL TIME ZONE 'UTC'"))
    into = f"COPY {quote(table.name)} ({columns}) FROM STDIN"
    try:
        with _driver(connection).cursor() as cursor, cursor.copy(into) as copy:
            for many, lines in given:
                copy.write(lines)
                yield many, lines
    except (psycopg.DataError, psycopg.IntegrityError, psycopg.ProgrammingError) as wrong:
        said = " ".join(str(wrong).split())
        raise Refused(
            f"The table {table.name} cannot be taken into this database: {said}."
        ) from wrong
    except psycopg.OperationalError as wrong:
        # As the toolkit has it, which saw nothing of this.
        raise OperationalError(into, None, wrong) from wrong


@contextmanager
def without_indexes(connection: Connection) -> Iterator[None]:
    """PostgreSQL: take indexes and references off for the block and make them again, as they were, after it.

    A row that names another which is not there raises IntegrityError then.
    """
    indexes = connection.execute(text(INDEXES)).all()
    references = connection.execute(text(REFERENCES)).all()
    for each in references:
        connection.exec_driver_sql(f"ALTER TABLE {each.of} DROP CONSTRAINT {each.name}")
    for each in indexes:
        connection.exec_driver_sql(f"DROP INDEX {each.name}")
    yield
    connection.exec_driver_sql("SET LOCAL maintenance_work_mem = '256MB'")
    for each in indexes:
        connection.exec_driver_sql(each.made)
    for each in references:
        connection.exec_driver_sql(f"ALTER TABLE {each.of} ADD CONSTRAINT {each.name} {each.made}")


def _query(connection: Connection, table: Table, names: Sequence[str]) -> AnySelect:
    columns = [table.c[name] for name in names]
    if connection.dialect.name != "postgresql":
        # What SQLite keeps of days, moments, yes and no is what COPY takes. JSON that is a number it keeps as one.
        plain = [cast(each, Text) if kind(each) == "json" else each for each in columns]
        return select(*plain).order_by(*table.primary_key.columns)
    # Letters in the order of their bytes, as SQLite has them.
    keys = [
        collate(each, "C") if kind(each) == "text" else each for each in table.primary_key.columns
    ]
    return select(*map(_as_sqlite_has_it, columns)).order_by(*keys)


def _as_sqlite_has_it(column: Column[Any]) -> ColumnElement[Any]:
    match kind(column):
        case "boolean":
            return cast(cast(column, Integer), Text)
        case "moment":
            return func.to_char(func.timezone("UTC", column), "YYYY-MM-DD HH24:MI:SS.US")
        case "day":
            return func.to_char(column, "YYYY-MM-DD")
    return column


def _copied_out(connection: Connection, query: AnySelect) -> Iterator[tuple[int, bytes]]:
    made = query.compile(connection, compile_kwargs={"literal_binds": True})
    with (
        _driver(connection).cursor() as cursor,
        cursor.copy(f"COPY ({made}) TO STDOUT") as copy,
    ):
        while some := list(islice(copy, BATCH)):
            yield len(some), b"".join(some)


def _driver(connection: Connection) -> Any:
    return connection.connection.driver_connection


def _written(
    connection: Connection, table: Table, query: AnySelect, names: Sequence[str]
) -> Iterator[tuple[int, bytes]]:
    kinds = [kind(table.c[name]) for name in names]
    cursor = connection.execute(query).cursor  # the driver's own rows
    while batch := cursor.fetchmany(BATCH):
        columns = map(_in_lines, kinds, zip(*batch, strict=True))
        lines = "\n".join(map("\t".join, zip(*columns, strict=True)))
        yield len(batch), f"{lines}\n".encode()


def _in_lines(of: str, values: Sequence[Any]) -> Iterable[str]:
    """A column of some rows as it stands in their lines."""
    turn = TURNS.get(of) or _turn_of_words(values)
    if None in values:
        return [NULL if value is None else turn(value) for value in values]
    return map(turn, values)


def _turn_of_words(values: Sequence[str | None]) -> Callable[[str], str]:
    """Hardly any need escapes, which is asked of all of them at once."""
    said = "".join(filter(None, values))
    return str if said.isprintable() and "\\" not in said else _escaped


def _escaped(value: str) -> str:
    return value.translate(ESCAPES)


def _hexadecimal(value: bytes) -> str:
    return rf"\\x{value.hex()}"


TURNS: dict[str, Callable[[Any], str]] = {
    "integer": str,
    "boolean": str,
    "bytes": _hexadecimal,
}

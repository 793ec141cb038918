"""Thousands of rows into one table and out, past the per-row work of the SQL toolkit (a third of its time)."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import lru_cache
from typing import Any

from sqlalchemy import ColumnElement, Connection, Select, Table, type_coerce
from sqlalchemy.engine import Dialect
from sqlalchemy.orm import Session
from sqlalchemy.types import NullType

Process = Callable[[Any], Any] | None


def plain_rows(connection: Connection, query: Select[Any]) -> list[tuple[Any, ...]]:
    """The driver's own rows, nothing made of its values."""
    plain = query.with_only_columns(
        *(type_coerce(each, NullType()) for each in query.selected_columns)
    )
    return list(connection.execute(plain).cursor.fetchall())


def among(column: ColumnElement[int], ids: Sequence[int]) -> ColumnElement[bool]:
    """Whether it is one of these keys, in their order: those that follow one another as a range, which costs least."""
    if ids and ids[-1] - ids[0] + 1 == len(ids):
        return column.between(ids[0], ids[-1])
    return column.in_(ids)


def insert_rows(db: Session, table: Table, rows: Sequence[dict[str, Any]]) -> None:
    """Insert rows that all give the same columns. Defaults of the mapped class do not apply."""
    if rows:
        columns = tuple(rows[0])
        _insert(db, table, columns, [tuple([row[name] for name in columns]) for row in rows])


def insert_or_add(db: Session, table: Table, rows: Sequence[tuple[Any, ...]], number: str) -> None:
    """Insert rows of the table's key and a number; where the key is there already the number is added to its own.

    Their values are the driver's own already.
    """
    if rows:
        key = [column.name for column in table.primary_key.columns]
        add = f"{number} = {table.name}.{number} + excluded.{number}"
        conflict = f" ON CONFLICT ({', '.join(key)}) DO UPDATE SET {add}"
        insert_ready(db, table, (*key, number), rows, conflict)


def _insert(
    db: Session, table: Table, columns: tuple[str, ...], rows: Sequence[tuple[Any, ...]]
) -> None:
    connection = db.connection()
    statement, processes = _prepared(table, columns, connection.dialect)
    ready = [
        tuple([each(held) if each else held for held, each in zip(row, processes, strict=True)])
        for row in rows
    ]
    connection.exec_driver_sql(statement, ready)


def insert_ready(
    db: Session,
    table: Table,
    columns: Sequence[str],
    rows: Sequence[tuple[Any, ...]],
    more: str = "",
) -> None:
    """Insert rows whose values are the driver's own already."""
    if rows:
        connection = db.connection()
        statement, _ = _prepared(table, tuple(columns), connection.dialect)
        connection.exec_driver_sql(statement + more, list(rows))


def update_ready(
    db: Session, table: Table, columns: Sequence[str], rows: Sequence[tuple[Any, ...]]
) -> None:
    """Bring rows up to date whose values are the driver's own; the first column is the key."""
    if not rows:
        return
    connection = db.connection()
    quote = connection.dialect.identifier_preparer.quote
    place = "?" if connection.dialect.paramstyle == "qmark" else "%s"
    key, *names = [f"{quote(name)} = {place}" for name in columns]
    statement = f"UPDATE {quote(table.name)} SET {', '.join(names)} WHERE {key}"  # noqa: S608  our own names
    connection.exec_driver_sql(statement, [(*values, key) for key, *values in rows])


def insert_sparse(
    db: Session, table: Table, rows: Sequence[dict[str, Any]], unsaid: dict[str, Any]
) -> None:
    """Insert rows that may leave columns out; `unsaid` names all columns and what stands there then."""
    connection = db.connection()
    statement, processes = _prepared(table, tuple(unsaid), connection.dialect)
    # Files repeat their days and numbers, so what became of one is remembered.
    by_column = [
        (name, lru_cache(maxsize=4096)(process), process(left)) if process else (name, None, left)
        for (name, left), process in zip(unsaid.items(), processes, strict=True)
    ]
    connection.exec_driver_sql(
        statement,
        [
            tuple(
                [
                    left if (value := row.get(name)) is None
                    else process(value) if process else value
                    for name, process, left in by_column
                ]
            )
            for row in rows
        ],
    )  # fmt: skip


@lru_cache(maxsize=64)
def _prepared(
    table: Table, columns: tuple[str, ...], dialect: Dialect
) -> tuple[str, tuple[Process, ...]]:
    """The statement, and what turns each column's values into the driver's."""
    place = "?" if dialect.paramstyle == "qmark" else "%s"
    quote = dialect.identifier_preparer.quote
    named = ", ".join(quote(name) for name in columns)
    places = ", ".join([place] * len(columns))
    processes = tuple(
        table.c[name].type.dialect_impl(dialect).bind_processor(dialect) for name in columns
    )
    statement = f"INSERT INTO {quote(table.name)} ({named}) VALUES ({places})"  # noqa: S608  our own names
    return statement, processes

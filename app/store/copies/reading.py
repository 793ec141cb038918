"""The register as of one moment, for a copy or a check, while others go on writing."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from sqlalchemy import Connection, Engine, Table, func, select

from app.errors import Busy
from app.store.db import busy_as_problem
from app.store.migrate import LOCK


def steady(engine: Engine) -> Engine:
    """The same engine and pool; all that one of its transactions reads is of one moment.

    SQLite's do so by themselves.
    """
    if engine.dialect.name == "sqlite":
        return engine
    return engine.execution_options(isolation_level="REPEATABLE READ", postgresql_readonly=True)


@contextmanager
def snapshot(engine: Engine) -> Iterator[Connection]:
    """One reading transaction. Raises Busy while the store is being migrated."""
    with busy_as_problem(), steady(engine).connect() as connection, connection.begin():
        if connection.dialect.name == "postgresql" and not connection.scalar(
            select(func.pg_try_advisory_xact_lock_shared(LOCK))
        ):
            # A table that is rebuilt meanwhile would look empty from here.
            raise Busy
        yield connection


def head_of_change(connection: Connection, tables: list[Table]) -> tuple[int, str] | None:
    """Number and hash of the latest entry of the record of change."""
    change = next((table for table in tables if table.name == "change"), None)
    if change is None:
        return None
    latest = select(change.c.id, change.c.hash).order_by(change.c.id.desc()).limit(1)
    found = connection.execute(latest).first()
    return (found.id, found.hash) if found else None

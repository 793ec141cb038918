"""Indexes that are made at the end of much writing, where that costs less than keeping them all the while."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from sqlalchemy import Table
from sqlalchemy.orm import Session


@contextmanager
def made_afterwards(db: Session, table: Table, when: bool) -> Iterator[None]:
    """`when` most of a table is about to be written in this transaction, SQLite does without its indexes meanwhile.

    Rows come in no order that a cache of pages could follow, and an index kept row by row takes ten times as long as
    one that is made of sorted rows. Nobody else sees them gone: others read what was there before until the commit.
    PostgreSQL would keep them waiting, so there nothing is done otherwise.
    """
    if not when or db.get_bind().dialect.name != "sqlite":
        yield
        return
    connection = db.connection()
    indexes = sorted(table.indexes, key=lambda index: str(index.name))
    for index in indexes:
        index.drop(connection)
    try:
        yield
    finally:
        for index in indexes:
            index.create(connection)

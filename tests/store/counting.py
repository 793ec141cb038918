"""Counting the statements of a block, and asking SQLite how it would answer them."""

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from sqlalchemy import event
from sqlalchemy.orm import Session

Statement = tuple[str, Any]


@contextmanager
def statements(db: Session) -> Iterator[list[Statement]]:
    """What the block sends to the database."""
    seen: list[Statement] = []

    def note(_conn, _cursor, statement, parameters, _context, _many) -> None:
        seen.append((statement, parameters))

    engine = db.get_bind()
    event.listen(engine, "before_cursor_execute", note)
    try:
        yield seen
    finally:
        event.remove(engine, "before_cursor_execute", note)


def plan(db: Session, sent: list[Statement]) -> list[str]:
    """SQLite's plan for what was sent, a line each."""
    cursor = db.connection().connection.cursor()
    lines = []
    for statement, parameters in sent:
        cursor.execute(f"EXPLAIN QUERY PLAN {statement}", parameters)
        lines += [row[3] for row in cursor.fetchall()]
    return lines

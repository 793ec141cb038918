"""Statements that PostgreSQL reads and plans once: those that ask by a key, which is looked up whatever it is.

To plan the facts of one car takes five times as long as to find them. What counts or lists is planned each time by
what it is asked with: one plan for all looks no index up by a list of values, and made Home twice as slow.

The driver forgets what it had prepared with each rollback, lest one be about a table that was made in what is undone.
Every reading ends by one, so every statement was read anew. The program makes no tables while it serves, and a server
reads anew by itself what others alter.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any, Self, TypeVar

import psycopg
from psycopg.pq import TransactionStatus
from sqlalchemy import URL, Engine, event
from sqlalchemy.sql.base import Executable

# How many a connection keeps: more than the program has.
MOST = 500
# What a statement is executed with that asks by a key; read by `_mark`.
BY_KEY: Mapping[str, Any] = {"by_key": True}
NOT_BY_KEY: Mapping[str, Any] = {}

Asks = TypeVar("Asks", bound=Executable)


def by_key(query: Asks) -> Asks:
    """The statement as one that is planned once; what it asks for must be found by a key."""
    return query.execution_options(**BY_KEY)


def of_cars(car_ids: Sequence[int]) -> Mapping[str, Any]:
    """What a statement about these cars is executed with: by a key where it is one car, as mostly.

    Of each number of cars there would be a statement of its own.
    """
    return BY_KEY if len(car_ids) == 1 else NOT_BY_KEY


class Cursor(psycopg.Cursor[Any]):
    by_key = False

    def execute(self, query: Any, params: Any = None, **given: Any) -> Self:
        return super().execute(query, params, **{"prepare": self.by_key, **given})


class Connection(psycopg.Connection[Any]):
    """One that forgets its statements only where one of them failed."""

    def rollback(self) -> None:
        with self.lock:
            if self.pgconn.transaction_status == TransactionStatus.INTRANS:
                self.pgconn.exec_(b"ROLLBACK")
        # Does nothing more, unless that failed.
        super().rollback()


def opening(address: URL, named: Mapping[str, Any]) -> Callable[[], Connection]:
    """Opens a connection to this address with what is said besides, as an engine asks for one."""
    given, written = address.get_dialect()().create_connect_args(address)
    told = {"cursor_factory": Cursor, **written, **named}

    def opened() -> Connection:
        connection = Connection.connect(*given, **told)
        connection.prepared_max = MOST
        return connection

    return opened


def heed(engine: Engine) -> None:
    """Have the connections of an engine heed which statements ask by a key."""
    event.listen(engine, "before_cursor_execute", _mark)


def _mark(_c: Any, cursor: Any, _s: Any, _p: Any, context: Any, _many: Any) -> None:
    if isinstance(cursor, Cursor):  # not where rows are fetched little by little
        cursor.by_key = "by_key" in context.execution_options

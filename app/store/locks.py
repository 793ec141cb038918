"""Locks that outlive a transaction and end with their connection, however that ends; PostgreSQL only."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager, suppress
from hashlib import blake2b

from sqlalchemy import Engine, func, select
from sqlalchemy.exc import DBAPIError

from app.store import trouble


@contextmanager
def held(engine: Engine, name: str) -> Iterator[bool]:
    """Whether nobody else holds the lock of this name; if so, nobody gets it within the block.

    Not when the database goes away meanwhile: then whoever comes first once it is back has it.
    """
    key = int.from_bytes(blake2b(name.encode(), digest_size=8).digest(), "big", signed=True)
    with (
        trouble.as_problem(),
        engine.connect().execution_options(isolation_level="AUTOCOMMIT") as connection,
    ):
        mine = bool(connection.scalar(select(func.pg_try_advisory_lock(key))))
        try:
            yield mine
        finally:
            if mine:
                with suppress(DBAPIError):  # it ended with its connection
                    connection.execute(select(func.pg_advisory_unlock(key)))

"""A throwaway PostgreSQL, started as the tests start it."""

from __future__ import annotations

import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from functools import cache

from app.store import migrate
from tests.fixtures.postgres import DEBIAN, binaries, fresh_database, server


@contextmanager
def new_store() -> Iterator[str]:
    """The address of an empty store of the newest schema on a server of its own."""
    with server() as address, fresh_database(address) as url:
        migrate.upgrade(url)
        yield url


@cache
def postgresql_version() -> str:
    told = subprocess.run(
        [binaries(DEBIAN) / "postgres", "--version"], check=True, capture_output=True, text=True
    )
    return told.stdout.split()[2]

"""A throwaway PostgreSQL, started as the tests start it."""

from __future__ import annotations

import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from functools import cache

from sqlalchemy import make_url

from app.store import migrate
from tests.fixtures.postgres import DEBIAN, binaries, fresh_database, server


@contextmanager
def new_store() -> Iterator[str]:
    """The address of an empty store of the newest schema on a server of its own."""
    with server() as address, fresh_database(address) as url:
        migrate.upgrade(url)
        yield url


@contextmanager
def beside(store: str) -> Iterator[str]:
    """Another empty store on the server of a store."""
    with fresh_database(make_url(store).set(database="postgres").render_as_string(False)) as url:
        migrate.upgrade(url)
        yield url


def plain(url: str) -> str:
    """The address as the bare driver takes it."""
    return make_url(url).set(drivername="postgresql").render_as_string(hide_password=False)


@cache
def postgresql_version() -> str:
    told = subprocess.run(
        [binaries(DEBIAN) / "postgres", "--version"], check=True, capture_output=True, text=True
    )
    return told.stdout.split()[2]

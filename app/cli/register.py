"""The register that DATABASE_URL names, opened for one command, or why it cannot be."""

from __future__ import annotations

import getpass
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, date, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

from sqlalchemy import Engine, make_url
from sqlalchemy.exc import ArgumentError, DBAPIError

from app.cli.status import Unusable
from app.errors import Refused
from app.settings import Settings
from app.store import migrate, trouble
from app.store.db import Sessions, make_engine, sessions


@contextmanager
def register(settings: Settings) -> Iterator[Sessions]:
    """Sessions on a store of this version. Raises Unusable, Busy or NewerStore."""
    with usable(settings):
        _must_exist(settings)
        engine = make_engine(settings.database_url)
        try:
            _check(engine)
            yield sessions(engine)
        finally:
            engine.dispose()


@contextmanager
def store_of_any_version(settings: Settings) -> Iterator[Engine]:
    """A store that is there, of this version or an older one. Raises Unusable, Busy or NewerStore."""
    with usable(settings):
        _must_exist(settings)
        engine = make_engine(settings.database_url)
        try:
            yield engine
        finally:
            engine.dispose()


def checked(settings: Settings) -> None:
    """Raise unless the store can be served by this version."""
    with register(settings):
        pass


def migrated(settings: Settings) -> None:
    """Make the store, or bring it up to this version."""
    with usable(settings):
        try:
            migrate.upgrade(settings.database_url)
        except OSError as wrong:
            raise Unusable(
                f"The folder for {_named(settings)} cannot be made: {wrong.strerror}."
            ) from None


def today_in(zone: str) -> date:
    """The day it is in a time zone."""
    return datetime.now(ZoneInfo(zone)).date()


def moment() -> datetime:
    return datetime.now(UTC)


def who() -> str:
    """Who records, when nobody is named: the account that runs the command."""
    try:
        return getpass.getuser()
    except (KeyError, OSError):  # an account without a name, as in some containers
        return "command line"


@contextmanager
def usable(settings: Settings) -> Iterator[None]:
    """Say in a sentence of ours that the database cannot be reached or is none."""
    try:
        yield
    except ArgumentError:
        raise Unusable(
            "DATABASE_URL is no address of a database, want one such as "
            "sqlite:///./data/stencilbook.db or postgresql+psycopg://user@host/name"
        ) from None
    except DBAPIError as wrong:
        said = " ".join(str(wrong.orig).split())
        if trouble.no_room_to_open(wrong):
            said = "its disk is full. Make room first"
        raise Unusable(f"The database {_named(settings)} cannot be used: {said}.") from wrong


def _must_exist(settings: Settings) -> None:
    """Opening a SQLite file that is not there would make an empty one of a mistyped address."""
    address = make_url(settings.database_url)
    if address.get_backend_name() == "sqlite" and not Path(address.database or "").exists():
        raise Unusable(
            f"There is no database at {address.database}. Make it first: python -m app migrate"
        )


def _check(engine: Engine) -> None:
    try:
        migrate.check(engine)
    except Refused as behind:
        raise Unusable(str(behind)) from None


def _named(settings: Settings) -> str:
    """The address without its password."""
    return make_url(settings.database_url).render_as_string(hide_password=True)

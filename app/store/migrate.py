"""Bring a store up to this version, or leave it alone when a newer version wrote it."""

from __future__ import annotations

from functools import cache
from pathlib import Path

from alembic import command
from alembic.config import Config
from alembic.runtime.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import Connection, Engine, text

from app.errors import NewerStore, Refused
from app.store.db import busy_as_problem, for_migrating, parsed, writing

PROJECT = Path(__file__).parents[2]
# Any fixed number: it keeps two programs that start together from migrating one PostgreSQL at once.
LOCK = 0x57E7C11


def upgrade(url: str) -> None:
    """Make an empty address a working store, or bring an older store up to date.

    Creates the folder of a SQLite file. Raises NewerStore, with nothing touched, for a store that a
    newer version wrote, and Busy when other work holds it.
    """
    make_folder(url)
    engine = for_migrating(url)
    try:
        with busy_as_problem(), writing(engine).begin() as connection:
            _wait_for_others(connection)
            if _is_behind(connection, _scripts()):
                upgrade_within(connection)
    finally:
        engine.dispose()


def upgrade_within(connection: Connection, revision: str = "head") -> None:
    """Bring an empty or older store to a revision, in the transaction of whoever asks.

    The connection is one of an engine `for_migrating`.
    """
    _wait_for_others(connection)
    config = _config()
    config.attributes["connection"] = connection
    command.upgrade(config, revision)
    _check_foreign_keys(connection)


def _wait_for_others(connection: Connection) -> None:
    if connection.dialect.name == "postgresql":
        connection.execute(text("SELECT pg_advisory_xact_lock(:lock)"), {"lock": LOCK})


def revision_of(connection: Connection) -> str:
    """The revision of a store's schema. Raises NewerStore, or Refused when there is none."""
    heads = MigrationContext.configure(connection).get_current_heads()
    if not heads:
        raise Refused("This database is empty: python -m app migrate makes a register of it.")
    if not known(heads[0]):
        raise NewerStore(heads[0])
    return heads[0]


def known(revision: str) -> bool:
    """Whether this program can make a store of that revision."""
    return revision in {script.revision for script in _scripts().walk_revisions()}


def needed(engine: Engine) -> bool:
    """Whether the store is empty or older than this program. Raises NewerStore for a newer one."""
    with engine.connect() as connection:
        return _is_behind(connection, _scripts())


def heads() -> list[str]:
    """The revision of a store of this version."""
    return list(_scripts().get_heads())


def check(engine: Engine) -> None:
    """Raise NewerStore, or Refused when the store is to be migrated first."""
    if needed(engine):
        raise Refused(
            "This database is empty or from an older version. "
            "Bring it up to date first: python -m app migrate"
        )


def _config() -> Config:
    return Config(toml_file=PROJECT / "pyproject.toml")


@cache
def _scripts() -> ScriptDirectory:
    """This program's own, read once."""
    return ScriptDirectory.from_config(_config())


def _is_behind(connection: Connection, scripts: ScriptDirectory) -> bool:
    current = MigrationContext.configure(connection).get_current_heads()
    there = {script.revision for script in scripts.walk_revisions()}
    for revision in current:
        if revision not in there:
            raise NewerStore(revision)
    return set(current) != set(scripts.get_heads())


def _check_foreign_keys(connection: Connection) -> None:
    if connection.dialect.name == "sqlite":
        dangling = connection.execute(text("PRAGMA foreign_key_check")).first()
        if dangling is not None:
            raise RuntimeError(f"the migration would leave a row that points nowhere: {dangling}")


def make_folder(url: str) -> None:
    address = parsed(url)
    if address.get_backend_name() == "sqlite" and address.database not in (None, "", ":memory:"):
        Path(str(address.database)).parent.mkdir(parents=True, exist_ok=True)

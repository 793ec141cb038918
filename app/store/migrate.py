"""Bring a store up to this version, or leave it alone when a newer version wrote it."""

from __future__ import annotations

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
    _make_folder(url)
    engine = for_migrating(url)
    try:
        with busy_as_problem(), writing(engine).begin() as connection:
            if connection.dialect.name == "postgresql":
                connection.execute(text("SELECT pg_advisory_xact_lock(:lock)"), {"lock": LOCK})
            config = _config()
            if _is_behind(connection, ScriptDirectory.from_config(config)):
                config.attributes["connection"] = connection
                command.upgrade(config, "head")
                _check_foreign_keys(connection)
    finally:
        engine.dispose()


def needed(engine: Engine) -> bool:
    """Whether the store is empty or older than this program. Raises NewerStore for a newer one."""
    with engine.connect() as connection:
        return _is_behind(connection, ScriptDirectory.from_config(_config()))


def check(engine: Engine) -> None:
    """Raise NewerStore, or Refused when the store is to be migrated first."""
    if needed(engine):
        raise Refused(
            "This database is empty or from an older version. "
            "Bring it up to date first: python -m app migrate"
        )


def _config() -> Config:
    return Config(toml_file=PROJECT / "pyproject.toml")


def _is_behind(connection: Connection, scripts: ScriptDirectory) -> bool:
    current = MigrationContext.configure(connection).get_current_heads()
    known = {script.revision for script in scripts.walk_revisions()}
    for revision in current:
        if revision not in known:
            raise NewerStore(revision)
    return set(current) != set(scripts.get_heads())


def _check_foreign_keys(connection: Connection) -> None:
    if connection.dialect.name == "sqlite":
        dangling = connection.execute(text("PRAGMA foreign_key_check")).first()
        if dangling is not None:
            raise RuntimeError(f"the migration would leave a row that points nowhere: {dangling}")


def _make_folder(url: str) -> None:
    address = parsed(url)
    if address.get_backend_name() == "sqlite" and address.database not in (None, "", ":memory:"):
        Path(str(address.database)).parent.mkdir(parents=True, exist_ok=True)

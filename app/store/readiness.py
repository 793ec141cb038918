"""Whether a store can be served from now: it answers, its schema is this version's, its disk takes writes."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path

from sqlalchemy import Engine
from sqlalchemy.exc import SQLAlchemyError

from app.errors import NewerStore
from app.store import migrate

FINE = "fine"
# As much as a database writes at once at the least.
TRIED = b"\0" * 4096


def readiness(engine: Engine) -> dict[str, str]:
    """By what was looked at: `fine`, or why not, in words that name no place of this machine."""
    return {"database": _database(engine), **{what: _takes(at) for what, at in _disks(engine)}}


def _database(engine: Engine) -> str:
    if not _file_is_there(engine):
        # Connecting would make an empty one.
        return "there is none"
    try:
        behind = migrate.needed(engine)
    except NewerStore:
        return "its schema is of a newer version"
    except SQLAlchemyError:
        return "does not answer"
    return "its schema is of an older version, or it is empty" if behind else FINE


def _file_is_there(engine: Engine) -> bool:
    path = _file(engine)
    return path is None or path.exists()


def _file(engine: Engine) -> Path | None:
    sqlite = engine.dialect.name == "sqlite" and engine.url.database not in (None, "", ":memory:")
    return Path(str(engine.url.database)) if sqlite else None


def _disks(engine: Engine) -> list[tuple[str, Path]]:
    """Where the program itself writes: a database on a server sees to its own disk."""
    path = _file(engine)
    beside = [("folder of the database", path.parent)] if path else []
    return [*beside, ("folder for files handed in", Path(tempfile.gettempdir()))]


def _takes(folder: Path) -> str:
    # Never the database's own file: closing it here would drop the locks that SQLite holds on it.
    try:
        with tempfile.TemporaryFile(dir=folder) as tried:
            tried.write(TRIED)
            tried.flush()
            os.fsync(tried.fileno())
    except OSError as wrong:
        return f"cannot be written: {wrong.strerror or 'unknown'}"
    return FINE

"""Whether the databases of the settings take as many connections as the program may want to open."""

from __future__ import annotations

from collections.abc import Iterator

from sqlalchemy.exc import DBAPIError

from app.settings import Settings
from app.store.db import make_engine, parsed
from app.store.room import room_of

# The process for long work: its lock, its work, its progress and its queue, while it looks round.
FOR_LONG_WORK = 6


def too_few(settings: Settings) -> Iterator[str]:
    """A sentence for each database that takes fewer; requests would then be told 503 while many ask."""
    serving = settings.workers * settings.database_connections
    for name, url, more in (
        ("database", settings.database_url, FOR_LONG_WORK),
        ("replica", settings.database_url_read, 0),
    ):
        if url and parsed(url).get_backend_name() == "postgresql":
            yield from _told(name, url, serving + more)


def _told(name: str, url: str, wanted: int) -> Iterator[str]:
    try:
        taken = _room(url)
    except DBAPIError:
        yield f"The {name} cannot be reached just now; it is used once it can."
        return
    if taken < wanted:
        yield (
            f"The {name} takes {taken} connections, and WORKERS times DATABASE_CONNECTIONS with those for "
            f"long work may come to {wanted}. Lower one of the two, or raise max_connections there."
        )


def _room(url: str) -> int:
    engine = make_engine(url)
    try:
        return room_of(engine)
    finally:
        engine.dispose()

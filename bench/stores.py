"""The stores that are measured on: a small one for some minutes, a large one for what is promised at any size."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, date, datetime
from pathlib import Path

from app.actions.stamp import Stamp
from app.store import migrate
from app.store.db import make_engine, sessions
from bench import big_fleet, fleet_files, servers
from bench.import_fleet import bring_in_both
from bench.rows import Size

TODAY = date(2026, 11, 30)
CARS: dict[Size, int] = {"small": 2_000, "full": 450_000}
ENGINES = ("SQLite", "PostgreSQL")
# A filled store of the full size on PostgreSQL, for whoever measures several parts on it.
KEPT = "BENCH_POSTGRES_STORE"


@contextmanager
def filled(engine: str, size: Size, folder: Path) -> Iterator[str]:
    """The address of a store with the fleet of a size; on SQLite it stays in the folder for the next part."""
    if engine == "SQLite":
        yield on_sqlite(size, folder)
    elif size == "full" and KEPT in os.environ:
        yield os.environ[KEPT]
    else:
        with servers.new_store() as url:
            _fill(url, size, folder)
            yield url


def on_sqlite(size: Size, folder: Path) -> str:
    held = folder / f"{size}.db"
    url = f"sqlite:///{held}"
    if not held.exists():
        _fill(url, size, folder)
    return url


def _fill(url: str, size: Size, folder: Path) -> None:
    if size == "full":
        big_fleet.make(url, CARS[size], TODAY)
        return
    migrate.upgrade(url)
    engine = make_engine(url)
    files = fleet_files.write(folder, CARS[size], TODAY)
    bring_in_both(sessions(engine), *files, Stamp("bench", datetime.now(UTC), TODAY))
    engine.dispose()

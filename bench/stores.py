"""The stores that are measured on: a small one for some minutes, a large one for what is promised at any size."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date
from pathlib import Path

from bench import big_fleet, servers
from bench.rows import Size
from tests.fixtures.server import load_demo

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
            big_fleet.make(url, CARS[size], TODAY)
            yield url


def on_sqlite(size: Size, folder: Path) -> str:
    held = folder / f"{size}.db"
    url = f"sqlite:///{held}"
    if not held.exists():
        big_fleet.make(url, CARS[size], TODAY)
    return url


def demo(folder: Path) -> str:
    """The invented fleet in which every page has something to show."""
    held = folder / "demo.db"
    url = f"sqlite:///{held}"
    if not held.exists():
        load_demo(url)
    return url

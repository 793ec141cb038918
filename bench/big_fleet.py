"""A store of hundreds of thousands of cars, made in minutes: ten thousand come in as files, the rest are copies.

Copies have other keys and numbers and everything else as the first ones. Their due items are not copied.
"""

from __future__ import annotations

import sqlite3
from contextlib import closing
from datetime import UTC, date, datetime
from pathlib import Path

from app.actions.stamp import Stamp
from app.store import migrate
from app.store.db import make_engine, sessions
from bench import fleet_files
from bench.import_fleet import bring_in_both

FIRST = 10_000
TABLES = (
    "car", "car_name", "ownership", "standing", "construction", "service", "lining", "fitting",
    "stencil", "approval", "component", "installation", "removal", "event", "reading",
)  # fmt: skip
# Keys of our own tables that point from one copied row to another.
KEYS = {"id", "car_id", "component_id", "installation_id", "event_id"}


def make(folder: Path, cars: int, today: date) -> str:
    """The address of a new SQLite store with so many cars; due items only for the first of them."""
    url = f"sqlite:///{folder / 'store.db'}"
    migrate.upgrade(url)
    engine = make_engine(url)
    files = fleet_files.write(folder, min(cars, FIRST), today)
    bring_in_both(sessions(engine), *files, Stamp("bench", datetime.now(UTC), today))
    engine.dispose()
    with closing(sqlite3.connect(folder / "store.db")) as store:
        store.execute("PRAGMA synchronous = OFF")
        for copy in range(1, cars // FIRST):
            for table in TABLES:
                _copy(store, table, copy)
        store.execute("ANALYZE")
        store.commit()
    return url


def _copy(store: sqlite3.Connection, table: str, copy: int) -> None:
    names = [row[1] for row in store.execute(f"PRAGMA table_info({table})")]
    chosen = ", ".join(_moved(table, name, copy) for name in names)
    owner = {"car": "id", "component": "id"}.get(table, "car_id")
    if table == "removal":
        owner = "installation_id"
    store.execute(
        f"INSERT INTO {table} ({', '.join(names)}) SELECT {chosen} FROM {table} WHERE {owner} <= {FIRST}"
    )


def _moved(table: str, name: str, copy: int) -> str:
    """A column of a copied row: keys and numbers move on, all else stays."""
    if name == "number" and table in ("car", "car_name"):
        return f"number + {copy * FIRST}"
    if name in ("car_id", "component_id") or (name == "id" and table in ("car", "component")):
        return f"{name} + {copy * FIRST}"
    return f"{name} + {copy * 10 * FIRST}" if name in KEYS else name

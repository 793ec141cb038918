"""How fast a fleet of 50,000 cars with 200,000 events comes in, beside bare SQL of the same rows.

Run as `python -m bench.import_fleet [--cars N]`; what it makes lies in a temporary folder, unless
`--keep FOLDER` names one. On a machine that does other work at the same time, the processor seconds
tell more than the seconds on the clock.
"""

from __future__ import annotations

import argparse
import resource
import sqlite3
import sys
import time
from collections.abc import Callable
from contextlib import closing
from datetime import UTC, date, datetime
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import NamedTuple

from app.actions import imports
from app.actions.stamp import Stamp
from app.files import sheets
from app.files.columns import Kind
from app.store import migrate
from app.store.db import Sessions, make_engine, sessions, write_session
from bench import fleet_files

TODAY = date(2026, 11, 25)
SECONDS_WANTED, MEGABYTES_WANTED, FULL_SIZE = 60, 1024, 50_000


class Spent(NamedTuple):
    """Seconds on the clock, and of processor time."""

    clock: float
    processor: float


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--cars", type=int, default=50_000)
    parser.add_argument("--keep", type=Path, help="a new folder for the files and the store")
    given = parser.parse_args()
    if given.keep:
        given.keep.mkdir(parents=True)
        return measure(given.keep, given.cars)
    with TemporaryDirectory(prefix="stencilbook-bench-") as name:
        return measure(Path(name), given.cars)


def measure(folder: Path, count: int) -> int:
    """Print what it takes; 1 when the full size takes more than is wanted."""
    cars, events = fleet_files.write(folder, count, TODAY)
    url = f"sqlite:///{folder / 'store.db'}"
    migrate.upgrade(url)
    engine = make_engine(url)
    stamp = Stamp("bench", datetime.now(UTC), TODAY)
    ours = timed(lambda: bring_in_both(sessions(engine), cars, events, stamp))
    engine.dispose()
    megabytes = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    rows, bare = bare_copy(folder / "store.db", folder / "bare.db")
    files = 5 * count
    print(f"{files:,} rows of files, {rows:,} rows stored, due dates worked out")
    print(
        f"Stencilbook {ours.clock:6.1f} s ({ours.processor:.1f} s of processor), "
        f"{files / ours.clock:,.0f} file rows/s, {rows / ours.clock:,.0f} stored rows/s, "
        f"{megabytes:,.0f} MB at most"
    )
    print(
        f"bare SQL    {bare.clock:6.1f} s ({bare.processor:.1f} s of processor), "
        f"{rows / bare.clock:,.0f} stored rows/s; Stencilbook takes "
        f"{ours.processor / bare.processor:.1f} times its processor time"
    )
    met = ours.clock <= SECONDS_WANTED and megabytes <= MEGABYTES_WANTED
    return 1 if count >= FULL_SIZE and not met else 0


def timed(work: Callable[[], object]) -> Spent:
    clock, processor = time.perf_counter(), time.process_time()
    work()
    return Spent(time.perf_counter() - clock, time.process_time() - processor)


def bring_in_both(factory: Sessions, cars: Path, events: Path, stamp: Stamp) -> None:
    bring_in(factory, "cars", cars, stamp)
    bring_in(factory, "events", events, stamp)


def bring_in(factory: Sessions, kind: Kind, path: Path, stamp: Stamp) -> None:
    """As the command line does it: one transaction, with its due dates."""
    steps: dict[str, float] = {}

    def tell(step: str, done: int = 0, total: int = 0) -> None:
        steps.setdefault(step, time.perf_counter())

    started = time.perf_counter()
    with write_session(factory) as db:
        imports.apply(db, kind, sheets.read(path.name, path), stamp, tell)
    ended = time.perf_counter()
    moments = [started, *list(steps.values())[1:], ended]
    for step, begun, over in zip(steps, moments, moments[1:], strict=False):
        print(f"{kind}: {step.lower()} {over - begun:.1f} s", file=sys.stderr)


def bare_copy(store: Path, into: Path) -> tuple[int, Spent]:
    """Rows in the store, and the seconds that a bare `executemany` of the very same rows takes."""
    with closing(sqlite3.connect(store)) as source, closing(sqlite3.connect(into)) as target:
        target.execute("PRAGMA journal_mode = WAL")
        schema = source.execute(
            "SELECT sql FROM sqlite_master WHERE sql IS NOT NULL AND type IN ('table', 'index') "
            "ORDER BY type DESC"
        ).fetchall()
        names = [name for (name,) in source.execute(
            "SELECT name FROM sqlite_master WHERE type = 'table'"
        )]  # fmt: skip
        for (statement,) in schema:
            target.execute(statement)
        held = {name: source.execute(f"SELECT * FROM {name}").fetchall() for name in names}
        spent = timed(lambda: _insert(target, held))
    return sum(map(len, held.values())), spent


def _insert(target: sqlite3.Connection, held: dict[str, list[tuple[object, ...]]]) -> None:
    for name, rows in held.items():
        if rows:
            marks = ", ".join("?" * len(rows[0]))
            target.executemany(f"INSERT INTO {name} VALUES ({marks})", rows)
    target.commit()


if __name__ == "__main__":
    sys.exit(main())

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
from collections.abc import Iterator
from contextlib import closing
from datetime import UTC, date, datetime
from pathlib import Path
from tempfile import TemporaryDirectory

import psycopg
from sqlalchemy import inspect, text

from app.actions import imports
from app.actions.stamp import Stamp
from app.files import sheets
from app.files.columns import Kind
from app.store import migrate
from app.store.db import Sessions, make_engine, sessions, write_session
from bench import fleet_files, servers
from bench.rows import Row, Size
from bench.timing import Spent, timed

TODAY = date(2026, 11, 25)
SECONDS_WANTED, MEGABYTES_WANTED, FULL_SIZE = 60, 1024, 50_000
CARS: dict[Size, int] = {"small": 6_000, "full": FULL_SIZE}
# How many times the bare driver's load, and how many times the files on disk.
TIMES, ON_DISK = {"SQLite": 3.0, "PostgreSQL": 12.0}, {"SQLite": 15.0, "PostgreSQL": 25.0}


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


def rows(size: Size, folder: Path) -> Iterator[Row]:
    """Files of cars and of their events brought in, and the size of the store that they make."""
    for engine, url in (("SQLite", f"sqlite:///{folder / 'import.db'}"), ("PostgreSQL", None)):
        if url is None:
            with servers.new_store() as url:
                yield from _rows(engine, url, size, folder)
        else:
            (folder / "import.db").unlink(missing_ok=True)
            migrate.upgrade(url)
            yield from _rows(engine, url, size, folder)


def _rows(engine: str, url: str, size: Size, folder: Path) -> Iterator[Row]:
    count = CARS[size]
    files = fleet_files.write(folder, count, TODAY)
    opened = make_engine(url)
    empty = _on_disk(url)
    ours = timed(
        lambda: bring_in_both(sessions(opened), *files, Stamp("bench", datetime.now(UTC), TODAY))
    )
    opened.dispose()
    name = f"{5 * count:,} rows of files brought in with their due dates, {engine}"
    most = SECONDS_WANTED if count == FULL_SIZE else None
    if engine == "SQLite":
        (folder / "bare.db").unlink(missing_ok=True)
        _, bare = bare_copy(folder / "import.db", folder / "bare.db")
        against = "executemany of the rows that are stored, indexes kept and no trigger"
        yield Row(
            name, ours.processor, bare.processor, "s of processor", against, most, TIMES[engine]
        )
    else:
        against = "COPY of the rows that are stored, indexes kept and no trigger"
        yield Row(name, ours.clock, _copied(url).clock, "s", against, most, TIMES[engine])
    held, told = (_on_disk(url) - empty) / 1e6, sum(each.stat().st_size for each in files) / 1e6
    name = f"the store of {5 * count:,} rows of files on disk, {engine}"
    yield Row(name, held, told, "MB", "the same facts as CSV files", times=ON_DISK[engine])


def _on_disk(url: str) -> float:
    """Bytes of a store, what is only waiting to be written into it as well; on PostgreSQL without room for other rows.

    There each row that was worked out anew leaves its old self behind, as room that later rows are put in.
    """
    engine = make_engine(url)
    with engine.connect().execution_options(isolation_level="AUTOCOMMIT") as connection:
        if engine.dialect.name == "sqlite":
            connection.execute(text("SELECT 1"))
            found = sum(
                each.stat().st_size
                for each in Path(str(engine.url.database)).parent.glob("import.db*")
            )
        else:
            connection.execute(text("VACUUM FULL"))
            found = connection.execute(
                text("SELECT pg_database_size(current_database())")
            ).scalar_one()
    engine.dispose()
    return float(found)


def _copied(store: str) -> Spent:
    """The seconds that COPY takes for the rows of a PostgreSQL store into an empty one on the same server."""
    with servers.beside(store) as into:
        with psycopg.connect(servers.plain(store)) as source:
            held = {
                name: source.execute(f'SELECT * FROM "{name}"').fetchall()
                for name in _tables(store)
            }
        with psycopg.connect(servers.plain(into)) as target:
            target.execute("SET session_replication_role = replica")
            for name in held:
                target.execute(f'DELETE FROM "{name}"')
            target.commit()
            return timed(lambda: _copy(target, held))


def _tables(url: str) -> list[str]:
    engine = make_engine(url)
    found = inspect(engine).get_table_names()
    engine.dispose()
    return found


def _copy(target: psycopg.Connection, held: dict[str, list[tuple[object, ...]]]) -> None:
    for name, some in held.items():
        with target.cursor() as cursor, cursor.copy(f'COPY "{name}" FROM STDIN') as copy:
            for row in some:
                copy.write_row(row)
    target.commit()


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

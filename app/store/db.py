"""The engine and its sessions: SQLite for one writer and many readers, PostgreSQL as it comes.

Actions never commit: a write session does, once, when its block ends without a fault.
"""

from __future__ import annotations

import math
import select
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from sqlalchemy import URL, Connection, Dialect, Engine, create_engine, event, make_url
from sqlalchemy.exc import InvalidatePoolError, OperationalError
from sqlalchemy.orm import Session, sessionmaker
from sqlalchemy.pool import ConnectionPoolEntry

from app.access import EVERYTHING, Reach
from app.errors import Away
from app.store import change_log, prepared, rolled, trouble
from app.store.doer import COMMAND_LINE, Doer

BUSY_SECONDS = 5
# A lost record is worse than a slow one: FULL waits for the disk on every commit.
PRAGMAS = (
    "PRAGMA journal_mode = WAL",
    "PRAGMA synchronous = FULL",
    "PRAGMA foreign_keys = ON",
    f"PRAGMA busy_timeout = {BUSY_SECONDS * 1000}",
    "PRAGMA temp_store = MEMORY",
)
# KiB of pages that one connection to SQLite keeps; each of a server's many has its own, beside what the system keeps.
CACHE_ALONE, CACHE_AMONG_MANY = 65_536, 8_192

# A connection to PostgreSQL that was used so lately is not asked whether it is still there.
SECONDS_TRUSTED = 2.0
GIVEN_BACK = "given_back"

Sessions = sessionmaker[Session]


def parsed(url: str) -> URL:
    """The address with the driver this program uses."""
    address = make_url(url)
    if address.get_backend_name() == "postgresql":
        return address.set(drivername="postgresql+psycopg")
    return address


@dataclass(frozen=True, slots=True)
class Room:
    """How many connections may be open at once, and for how many seconds what is patient.

    `wait` is for a free connection, for the server and for a lock; `statement` is the longest that one may
    take, 0 for no end. The last two are PostgreSQL's: on SQLite a lock is waited for `BUSY_SECONDS`.
    """

    connections: int = 10
    wait: int = BUSY_SECONDS
    statement: int = 0


def make_engine(url: str, room: Room | None = None) -> Engine:
    """An engine of a program that asks now and then; with `room`, of one that answers many at once."""
    address = parsed(url)
    if address.get_backend_name() != "sqlite":
        named = _patience(address, room) if room else {}
        opening = prepared.opening(address, named)
        engine = create_engine(address, creator=opening, **(_pool(room) if room else {}))
        prepared.heed(engine)
        event.listen(engine, "checkin", _given_back)
        event.listen(engine, "checkout", _asking_when_idle(engine.dialect))
        return engine
    in_memory = address.database in (None, "", ":memory:")
    engine = create_engine(address, **(_pool(room) if room and not in_memory else {}))
    event.listen(engine, "connect", _preparing(CACHE_AMONG_MANY if room else CACHE_ALONE))
    event.listen(engine, "begin", _begin_sqlite)
    return engine


def is_there(engine: Engine) -> bool:
    """False for an SQLite file that connecting to would make; whether a server answers is not asked."""
    file = engine.url.database
    return engine.dialect.name != "sqlite" or file in (None, "", ":memory:") or Path(file).exists()


def _pool(room: Room) -> dict[str, Any]:
    # The last one given back is taken first: few connections do the most, and hold plans and pages ready.
    return {
        "pool_size": room.connections,
        "max_overflow": 0,
        "pool_timeout": room.wait,
        "pool_use_lifo": True,
    }


def _patience(address: URL, room: Room) -> dict[str, Any]:
    """What each connection to PostgreSQL is opened with, beside what the address says itself."""
    given = address.query.get("options", "")
    limits = f"-c lock_timeout={room.wait}s -c statement_timeout={room.statement}s"
    return {"connect_timeout": room.wait, "options": f"{given} {limits}".strip()}


def _given_back(_connection: Any, record: ConnectionPoolEntry) -> None:
    record.info[GIVEN_BACK] = time.monotonic()


def _asking_when_idle(dialect: Dialect) -> Callable[[Any, ConnectionPoolEntry, Any], None]:
    """Has a connection opened anew that was lost while nobody used it.

    To ask each time (`pool_pre_ping`) is a tenth of all that a busy program asks. One used just now
    is asked only where its server has said something since, as one does that stops.
    """

    def ask(connection: Any, record: ConnectionPoolEntry, _proxy: Any) -> None:
        # A new connection was never given back.
        idle = time.monotonic() - record.info.get(GIVEN_BACK, math.inf)
        if idle < SECONDS_TRUSTED and not _was_told(connection):
            return
        try:
            dialect.do_ping(connection)
        except dialect.loaded_dbapi.OperationalError as lost:
            raise InvalidatePoolError from lost

    return ask


def _was_told(connection: Any) -> bool:
    """Whether something has come in on a connection that waits for nothing; its end counts as well."""
    coming = select.poll()
    coming.register(connection.fileno(), select.POLLIN)
    return bool(coming.poll(0))


def _preparing(cache: int) -> Callable[[Any, Any], None]:
    def prepare(connection: Any, _record: Any) -> None:
        # The driver must not begin transactions by itself; see _begin_sqlite.
        connection.isolation_level = None
        for pragma in (*PRAGMAS, f"PRAGMA cache_size = -{cache}"):
            connection.execute(pragma)

    return prepare


def for_migrating(url: str) -> Engine:
    """An engine whose SQLite tables may be rebuilt under the rows that point to them.

    SQLite would empty those it drops; whoever migrates checks the foreign keys afterwards.
    """
    engine = make_engine(url)
    if engine.dialect.name == "sqlite":
        event.listen(engine, "connect", _without_foreign_keys)
    return engine


def _without_foreign_keys(connection: Any, _record: Any) -> None:
    connection.execute("PRAGMA foreign_keys = OFF")


def _begin_sqlite(connection: Connection) -> None:
    # A writer that begins as a reader fails at once when another wrote meanwhile; one that takes
    # the lock first waits for it.
    writes = connection.get_execution_options().get("writes", False)
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")


def sessions(engine: Engine) -> Sessions:
    factory = sessionmaker(engine, expire_on_commit=False)
    rolled.keep(factory)
    change_log.keep(factory)
    return factory


def writing(engine: Engine) -> Engine:
    """The same engine and pool, its transactions begun for writing."""
    return engine.execution_options(writes=True)


@contextmanager
def read_session(factory: Sessions, reach: Reach = EVERYTHING) -> Iterator[Session]:
    """A session that keeps nothing: whatever was changed in it is rolled back.

    `reach` is for whom it asks; the machine itself, which the default stands for, finds everything.
    """
    with trouble.as_problem(), factory(info={"reach": reach}) as session:
        yield session


@contextmanager
def write_session(
    factory: Sessions, reach: Reach = EVERYTHING, doer: Doer = COMMAND_LINE
) -> Iterator[Session]:
    """A session that commits when the block ends and rolls back when it raises.

    Its first statement waits for other writers; what is made ready before it holds nobody up. Its
    commit leaves an entry of what `doer` changed in the record of change. Raises Busy when other
    work holds the database for too long, Away when it cannot be reached or written.
    """
    engine = factory.kw["bind"]
    with (
        trouble.as_problem(),
        factory(bind=writing(engine), info={"reach": reach, "doer": doer}) as session,
    ):
        yield session
        with trouble.as_problem(storing=True):
            session.commit()


@contextmanager
def busy_as_problem() -> Iterator[None]:
    """Raise Busy for a locked database; whatever else keeps a command from it, the command tells."""
    try:
        yield
    except OperationalError as fault:
        problem = trouble.problem_of(fault)
        if problem is None or isinstance(problem, Away):
            raise
        raise problem from fault

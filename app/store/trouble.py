"""What an error of the database means to whoever asked: locked, away, full, not to be written; or a bug of ours."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from sqlalchemy.exc import DBAPIError, OperationalError
from sqlalchemy.exc import TimeoutError as NoneFree

from app.errors import Away, Busy

# PostgreSQL: lock not available, deadlock found, could not serialise.
BUSY_CODES = ("55P03", "40P01", "40001")
DISK_FULL, READ_ONLY = "53100", "25006"
# Connection lost; too little of something; ended by somebody or not up yet; input and output.
GONE_CLASSES, GONE_CODES = ("08", "53"), ("57P01", "57P02", "57P03", "58030")
TOOK_TOO_LONG = "57014"
# SQLite's primary result codes.
SQLITE_BUSY, SQLITE_LOCKED, SQLITE_READONLY, SQLITE_IOERR = 5, 6, 8, 10
SQLITE_FULL, SQLITE_CANTOPEN = 13, 14
# No room for the file by which processes share the log (sqlite.org/rescode.html): nobody else has the store open.
SQLITE_IOERR_SHMSIZE = SQLITE_IOERR | 19 << 8

FULL = (
    "The disk of the database is full, so nothing more can be recorded. What is in the register can "
    "still be read. Whoever looks after the program has to make room."
)
FULL_AND_SHUT = (
    "The disk of the database is full, so it cannot even be opened. Whoever looks after the program has "
    "to make room."
)
NOT_TO_BE_WRITTEN = (
    "The database cannot be written to, so nothing can be recorded. Whoever looks after the program "
    "has to look at its file, its disk and who may write there."
)
NO_DISK = (
    "The disk of the database does not do what it is asked to, so nothing was recorded. Whoever "
    "looks after the program has to look at it."
)
NONE_FREE = (
    "Too many are asking at this moment: every connection to the database is in use, so nothing was "
    "recorded. Try again in a moment."
)
TOO_LONG = (
    "The database took longer over this than a request may take, so it was given up and nothing was "
    "recorded. Ask for less at once, or try again later."
)


@contextmanager
def as_problem(*, storing: bool = False) -> Iterator[None]:
    """Raise Busy or Away for what is no fault of the program.

    `storing`: what fails here is a commit, which may have been done all the same.
    """
    try:
        yield
    except NoneFree as fault:
        raise Busy(NONE_FREE) from fault
    except DBAPIError as fault:
        problem = problem_of(fault, storing=storing)
        if problem is None:
            raise
        raise problem from fault


def said(fault: BaseException | None) -> str:
    """What the driver says of it, without the statement, what it was given and the row it was about."""
    first, *_ = str(getattr(fault, "orig", fault)).splitlines() or [""]
    return first


def no_room_to_open(fault: DBAPIError) -> bool:
    """Whether SQLite could not open a store because its disk is full."""
    return getattr(fault.orig, "sqlite_errorcode", None) == SQLITE_IOERR_SHMSIZE


def problem_of(fault: DBAPIError, *, storing: bool = False) -> Busy | None:
    """None when it is none of these, so that it shows as the bug that it is."""
    primary = getattr(fault.orig, "sqlite_errorcode", None)
    if primary is not None:
        return (
            Away(FULL_AND_SHUT) if no_room_to_open(fault) else _of_sqlite(primary & 0xFF, storing)
        )
    state = getattr(fault.orig, "sqlstate", None)
    # Without a state there was nobody to give one: no connection, or none any more.
    nobody = state is None and isinstance(fault, OperationalError)
    return _of_postgresql(state or "", nobody or fault.connection_invalidated, storing)


def _of_sqlite(code: int, storing: bool) -> Busy | None:
    if code in (SQLITE_BUSY, SQLITE_LOCKED):
        return Busy()
    if code == SQLITE_FULL:
        return Away(FULL)
    if code in (SQLITE_READONLY, SQLITE_CANTOPEN):
        return Away(NOT_TO_BE_WRITTEN)
    if code == SQLITE_IOERR:
        return Away(NO_DISK, unsure=storing)
    return None


def _of_postgresql(state: str, lost: bool, storing: bool) -> Busy | None:
    if state in BUSY_CODES:
        return Busy()
    if state == TOOK_TOO_LONG:
        return Busy(TOO_LONG)
    if state == DISK_FULL:
        return Away(FULL)
    if state == READ_ONLY:
        return Away(NOT_TO_BE_WRITTEN)
    if lost or state in GONE_CODES or state[:2] in GONE_CLASSES:
        return Away(unsure=storing)
    return None

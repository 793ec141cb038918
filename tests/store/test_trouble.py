"""What SQLite says of a disk, by its result codes (sqlite.org/rescode.html), is told in words that help."""

import sqlite3

import pytest
from sqlalchemy.exc import OperationalError

from app.errors import Away
from app.store import trouble


@pytest.mark.parametrize(
    ("code", "told"),
    [
        (sqlite3.SQLITE_FULL, trouble.FULL),
        (sqlite3.SQLITE_IOERR_SHMSIZE, trouble.FULL_AND_SHUT),
        (sqlite3.SQLITE_IOERR_WRITE, trouble.NO_DISK),
        (sqlite3.SQLITE_IOERR_FSYNC, trouble.NO_DISK),
        (sqlite3.SQLITE_READONLY_DBMOVED, trouble.NOT_TO_BE_WRITTEN),
        (sqlite3.SQLITE_CANTOPEN, trouble.NOT_TO_BE_WRITTEN),
    ],
)
def test_what_a_disk_does_not_do_is_told(code: int, told: str) -> None:
    said = sqlite3.OperationalError("disk")
    said.sqlite_errorcode = code
    problem = trouble.problem_of(OperationalError("SELECT 1", {}, said))
    assert isinstance(problem, Away)
    assert str(problem) == told

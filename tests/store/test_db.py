"""Sessions: one commits at the end, one keeps nothing, and a locked database is told in a sentence."""

import sqlite3
import threading
from contextlib import closing

import pytest
from sqlalchemy import make_url, select, text

from app.errors import Busy
from app.store import db as store_db
from app.store.db import read_session, sessions, write_session
from app.store.tables import Party


def parties(factory) -> list[str]:
    with read_session(factory) as db:
        return list(db.scalars(select(Party.name)))


def fail_after_adding(factory) -> None:
    with write_session(factory) as db:
        db.add(Party(name="Invented Owner"))
        db.flush()
        raise ZeroDivisionError


def test_a_write_session_commits_when_its_block_ends(any_engine):
    factory = sessions(any_engine)
    with write_session(factory) as db:
        db.add(Party(name="Invented Owner"))
    assert parties(factory) == ["Invented Owner"]


def test_a_write_session_keeps_nothing_when_its_block_fails(any_engine):
    factory = sessions(any_engine)
    with pytest.raises(ZeroDivisionError):
        fail_after_adding(factory)
    assert parties(factory) == []


def test_a_read_session_keeps_nothing(any_engine):
    factory = sessions(any_engine)
    with read_session(factory) as db:
        db.add(Party(name="Invented Owner"))
        db.flush()
    assert parties(factory) == []


@pytest.mark.parametrize(
    ("pragma", "value"),
    [
        ("journal_mode", "wal"),
        ("synchronous", 2),  # FULL: a commit is on the disk before it is answered
        ("foreign_keys", 1),
        ("busy_timeout", 5000),
    ],
)
def test_sqlite_is_set_up_to_lose_nothing(engine, pragma, value):
    with engine.connect() as connection:
        assert connection.scalar(text(f"PRAGMA {pragma}")) == value


def test_a_locked_database_is_told_in_a_sentence_at_the_first_statement(sqlite_url, monkeypatch):
    monkeypatch.setattr(store_db, "PRAGMAS", (*store_db.PRAGMAS, "PRAGMA busy_timeout = 10"))
    engine = store_db.make_engine(sqlite_url)
    with closing(sqlite3.connect(make_url(sqlite_url).database, isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        with write_session(sessions(engine)):
            pass  # nothing is asked, so nobody is waited for
        with pytest.raises(Busy, match="Try again"), write_session(sessions(engine)) as db:
            db.execute(text("select 1"))
        assert parties(sessions(engine)) == []  # reading goes on meanwhile
        other.execute("ROLLBACK")
    engine.dispose()


def test_writers_on_sqlite_wait_for_each_other_instead_of_failing(engine):
    """Beginning as a reader and writing later would fail for all but one of them."""
    factory = sessions(engine)
    together = threading.Barrier(4)
    failed: list[Exception] = []

    def add(number: int) -> None:
        try:
            together.wait()
            with write_session(factory) as db:
                count = len(db.scalars(select(Party)).all())
                db.add(Party(name=f"Owner {number}, after {count}"))
        except Exception as fault:
            failed.append(fault)

    threads = [threading.Thread(target=add, args=(number,)) for number in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert failed == []
    assert sorted(name.rsplit(" ", 1)[1] for name in parties(factory)) == ["0", "1", "2", "3"]


@pytest.mark.parametrize("written", ["postgresql://u@h/n", "postgresql+psycopg://u@h/n"])
def test_every_way_to_write_a_postgresql_address_means_the_driver_at_hand(written):
    assert store_db.parsed(written).drivername == "postgresql+psycopg"

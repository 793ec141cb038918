"""Connections: how many a PostgreSQL takes, and what somebody is told for whom none is free, or who asks too much."""

from dataclasses import replace

import pytest
from sqlalchemy import make_url, text

from app.cli.room import too_few
from app.errors import Away, Busy
from app.settings import Settings
from app.store import db as store_db
from app.store.db import Room, make_engine, read_session, sessions
from app.store.room import room_of
from tests.fixtures.postgres import fresh_database

NARROW = Room(connections=2, wait=1, statement=1)


def test_whoever_finds_no_free_connection_is_told_so_after_a_while(migrated_url):
    engine = make_engine(migrated_url, NARROW)
    factory = sessions(engine)
    with read_session(factory) as one, read_session(factory) as other:
        one.execute(text("SELECT 1"))
        other.execute(text("SELECT 1"))
        with pytest.raises(Busy, match="every connection to the database is in use"):  # noqa: SIM117
            with read_session(factory) as third:
                third.execute(text("SELECT 1"))
    with read_session(factory) as third:
        assert third.scalar(text("SELECT 1")) == 1
    engine.dispose()


@pytest.fixture
def on_postgres(postgres_url, postgres_template):
    with fresh_database(postgres_url, make_url(postgres_template).database) as url:
        yield url


@pytest.mark.postgres
def test_a_statement_that_takes_too_long_and_a_lock_held_too_long_are_told(on_postgres):
    engine = make_engine(on_postgres, NARROW)
    factory = sessions(engine)
    with pytest.raises(Busy, match="longer over this than a request may take"):  # noqa: SIM117
        with read_session(factory) as db:
            db.execute(text("SELECT pg_sleep(5)"))
    engine.dispose()
    engine = make_engine(on_postgres, replace(NARROW, statement=0))
    factory = sessions(engine)
    with read_session(factory) as holding:
        holding.execute(text("LOCK TABLE party"))
        with pytest.raises(Busy, match="busy with other work"), read_session(factory) as db:
            db.execute(text("LOCK TABLE party"))
    engine.dispose()


OTHERS = """
SELECT pg_terminate_backend(pid, 10000) FROM pg_stat_activity
WHERE datname = current_database() AND pid <> pg_backend_pid()
"""


def lose_all(url):
    """Ends every other connection to this database, as a restart of the server would."""
    engine = make_engine(url)
    with engine.connect() as connection:
        connection.execute(text(OTHERS))
    engine.dispose()


@pytest.mark.postgres
def test_a_connection_lost_while_idle_is_opened_anew_and_one_lost_in_use_is_told_once(
    on_postgres, monkeypatch
):
    """However lately it was used: as every one is lost when PostgreSQL is started anew."""
    engine = make_engine(on_postgres, NARROW)
    factory = sessions(engine)

    def asked(meanwhile=lambda: None):
        with read_session(factory) as db:
            db.scalar(text("SELECT 1"))
            meanwhile()
            return db.scalar(text("SELECT 1"))

    assert asked() == 1
    for trusted in (store_db.SECONDS_TRUSTED, 0):
        monkeypatch.setattr(store_db, "SECONDS_TRUSTED", trusted)
        lose_all(on_postgres)
        assert asked() == 1
    with pytest.raises(Away):
        asked(lambda: lose_all(on_postgres))
    assert asked() == 1
    engine.dispose()


@pytest.mark.postgres
def test_a_connection_in_use_is_not_asked_whether_it_is_there(on_postgres, monkeypatch):
    engine = make_engine(on_postgres, NARROW)
    asked = []
    monkeypatch.setattr(type(engine.dialect), "do_ping", lambda *_: asked.append(1))
    for _ in range(3):
        engine.connect().close()
    assert not asked
    monkeypatch.setattr(store_db, "SECONDS_TRUSTED", 0)
    engine.connect().close()
    assert asked == [1]
    engine.dispose()


@pytest.mark.postgres
def test_an_address_keeps_the_options_that_it_names_itself(on_postgres):
    named = make_url(on_postgres).update_query_dict({"options": "-c work_mem=7MB"})
    engine = make_engine(named.render_as_string(hide_password=False), NARROW)
    with engine.connect() as connection:
        told = [connection.scalar(text(f"SHOW {name}")) for name in ("work_mem", "lock_timeout")]
    assert told == ["7MB", "1s"]
    engine.dispose()


@pytest.mark.postgres
def test_it_is_told_at_the_start_where_the_database_takes_fewer_connections(on_postgres):
    """The server of the tests has max_connections=40, of which three are for its administrators."""
    engine = make_engine(on_postgres)
    room = room_of(engine)
    fits = Settings(database_url=on_postgres, workers=2, database_connections=(room - 6) // 2)
    assert not list(too_few(fits))
    told = list(too_few(fits.model_copy(update={"workers": 3})))
    assert len(told) == 1
    assert f"The database takes {room} connections" in told[0]
    with engine.connect().execution_options(isolation_level="AUTOCOMMIT") as connection:
        connection.execute(text(f"ALTER DATABASE {engine.url.database} CONNECTION LIMIT 9"))
    assert room_of(engine) == 9
    engine.dispose()


def test_a_file_has_no_such_limit_and_a_replica_that_is_away_is_told(sqlite_url):
    assert not list(too_few(Settings(database_url=sqlite_url, workers=64)))
    away = "postgresql+psycopg://nobody@127.0.0.1:1/none"
    (told,) = too_few(Settings(database_url=sqlite_url, database_url_read=away))
    assert "The replica cannot be reached just now" in told

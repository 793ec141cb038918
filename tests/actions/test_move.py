"""Moving a register into PostgreSQL: every row the same there, or nothing moved."""

import re
from collections.abc import Iterator

import pytest
from sqlalchemy import Engine, inspect, text, update

from app.actions import events, move
from app.actions.verifying import Asked, verify
from app.errors import Conflict, Refused
from app.store import migrate
from app.store.copies import loading
from app.store.db import for_migrating, read_session, sessions, write_session
from app.store.tables import Party
from tests.actions.test_copies import content, fill, opened, quiet
from tests.fixtures.postgres import fresh_database
from tests.store.cast import TODAY, add_car, stamp, visual

SCHEMA = (
    "SELECT indexdef FROM pg_indexes WHERE schemaname = current_schema()",
    "SELECT conrelid::regclass || ' ' || conname || ' ' || pg_get_constraintdef(oid) FROM pg_constraint",
    "SELECT tgrelid::regclass || ' ' || tgname || ' ' || tgenabled::text FROM pg_trigger WHERE NOT tgisinternal",
)


@pytest.fixture
def there(postgres_url: str) -> Iterator[str]:
    """The address of an empty PostgreSQL."""
    with fresh_database(postgres_url) as url:
        yield url


def schema(url: str) -> set[str]:
    """Indexes, constraints and triggers, as the database has them.

    But for casts: PostgreSQL writes those of a condition otherwise when it reads what it wrote itself.
    """
    with opened(url) as engine, engine.connect() as connection:
        told = [each for query in SCHEMA for each in connection.scalars(text(query))]
    return {re.sub(r"::(character varying|text)|[()\[\]]", "", each) for each in told}


def is_empty(url: str) -> bool:
    with opened(url) as engine:
        return not inspect(engine).get_table_names()


def test_every_row_is_the_same_there_and_new_ones_follow(
    any_engine: Engine, there: str, postgres_template: str
) -> None:
    fill(any_engine)
    before = content(any_engine)
    moved = move.move(any_engine, there, quiet)
    assert content(any_engine) == before
    assert {name: each.rows for name, each in moved.tables.items() if name in before} == {
        name: len(rows) for name, rows in before.items()
    }
    with opened(there) as other:
        migrate.check(other)
        assert content(other) == before
        with read_session(sessions(other)) as db:
            assert [found for _, found in verify(db, Asked(TODAY, dates=True), quiet)
                    if found] == []  # fmt: skip
        with write_session(sessions(other)) as db:
            assert add_car(db, 9).id == 3
            events.record_event(db, 3, visual(), stamp())
    assert schema(there) ^ schema(postgres_template) == set()


def test_what_was_written_while_it_was_moved_is_not_lost(
    engine: Engine, there: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Nothing is moved then, and whoever moves it is told to stop what serves the register."""
    fill(engine)

    def meanwhile(*_: object) -> None:
        with write_session(sessions(engine)) as db:
            add_car(db, 9)

    monkeypatch.setattr(move, "_prove", meanwhile)
    with pytest.raises(Conflict, match=r"Something was written .* Nothing was moved"):
        move.move(engine, there, quiet)
    assert is_empty(there)


def test_a_row_that_is_another_there_is_found_and_nothing_moved(
    engine: Engine, there: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    fill(engine)
    finish = loading.finish

    def altered(connection, tables) -> None:
        finish(connection, tables)
        connection.execute(update(Party).where(Party.id == 1).values(time_zone="Etc/UTC"))

    monkeypatch.setattr(loading, "finish", altered)
    with pytest.raises(
        Refused, match="party has 2 rows there and 2 here, or they say something else"
    ):
        move.move(engine, there, quiet)
    assert is_empty(there)


def test_a_value_that_postgresql_cannot_hold_is_told_with_its_table(
    engine: Engine, there: str
) -> None:
    with engine.begin() as connection:
        connection.execute(
            text("INSERT INTO party (name, time_zone) VALUES (:name, 'UTC')"), {"name": "a\x00"}
        )
    with pytest.raises(
        Refused, match=r"The table party cannot be taken into this database: .*0x00"
    ):
        move.move(engine, there, quiet)
    assert is_empty(there)


def test_a_row_that_names_none_that_is_there_keeps_all_from_being_moved(
    engine: Engine, there: str
) -> None:
    loose = for_migrating(str(engine.url))
    with loose.begin() as connection:
        connection.execute(
            text("INSERT INTO party (name, time_zone, kept_by) VALUES ('A', 'UTC', 99)")
        )
    loose.dispose()
    with pytest.raises(Refused, match=r"does not hold together: .*kept_by"):
        move.move(engine, there, quiet)
    assert is_empty(there)

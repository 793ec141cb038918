"""Migrations: an empty address becomes a working store, models agree, a newer store is left alone."""

from collections.abc import Iterator
from contextlib import contextmanager

import pytest
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from sqlalchemy import Connection, Engine, inspect, text

from app.errors import NewerStore, Refused
from app.store import migrate
from app.store.columns import Recorded
from app.store.db import make_engine
from app.store.derived import Base


def test_models_and_migrations_agree(any_engine):
    with any_engine.connect() as connection:
        context = MigrationContext.configure(connection, opts={"compare_type": True})
        assert compare_metadata(context, Base.metadata) == []


def test_every_check_constraint_of_the_models_is_in_the_database(any_engine):
    """Alembic compares everything but these."""
    found = inspect(any_engine)
    for table in Base.metadata.tables.values():
        there = {each["name"] for each in found.get_check_constraints(table.name)}
        wanted = {
            str(each.name) for each in table.constraints if each.__visit_name__.startswith("check")
        }
        assert wanted <= there, f"{table.name} lacks {sorted(wanted - there)}"


def test_partial_and_unique_indexes_hold_what_the_models_say(any_engine):
    found = inspect(any_engine)
    for table in Base.metadata.tables.values():
        wanted = {index.name: bool(index.unique) for index in table.indexes}
        there = {index["name"]: bool(index["unique"]) for index in found.get_indexes(table.name)}
        assert wanted.items() <= there.items()


def test_an_empty_address_becomes_a_working_store_and_once_is_enough(engine_url):
    migrate.upgrade(engine_url)
    migrate.upgrade(engine_url)
    with closing_engine(engine_url) as engine:
        migrate.check(engine)
        assert set(Base.metadata.tables) < set(inspect(engine).get_table_names())


def test_the_folder_of_a_file_is_made(tmp_path):
    migrate.upgrade(f"sqlite:///{tmp_path}/not/there/yet.db")
    assert (tmp_path / "not/there/yet.db").exists()


def test_an_empty_store_says_that_it_is_to_be_migrated(engine_url):
    with closing_engine(engine_url) as engine:
        assert migrate.needed(engine)
        with pytest.raises(Refused, match="python -m app migrate"):
            migrate.check(engine)


def test_a_store_from_a_newer_version_is_refused_before_it_is_touched(migrated_url):
    with closing_engine(migrated_url) as engine:
        with engine.begin() as connection:
            connection.execute(text("UPDATE alembic_version SET version_num = '9999'"))
            before = names(connection)
        for refused in (lambda: migrate.upgrade(migrated_url), lambda: migrate.check(engine)):
            with pytest.raises(NewerStore, match="9999"):
                refused()
        with engine.connect() as connection:
            assert names(connection) == before


def test_a_migration_that_fails_leaves_the_store_as_it_was(engine_url, monkeypatch):
    """Also on SQLite, whose driver would commit each table by itself if it were let."""

    def fail(*args: object, **named: object) -> None:
        raise RuntimeError("power cut")

    monkeypatch.setattr("migrations.append_only.op.create_index", fail, raising=True)
    with pytest.raises(RuntimeError, match="power cut"):
        migrate.upgrade(engine_url)
    with closing_engine(engine_url) as engine:
        assert inspect(engine).get_table_names() == []


def test_every_recorded_table_is_guarded(any_engine):
    """A new table of the record must not be forgotten by the migration that makes it."""
    recorded = {mapper.local_table.name for mapper in Base.registry.mappers
                if issubclass(mapper.class_, Recorded)}  # fmt: skip
    wanted = {f"{name}_kept" for name in recorded | {"reading", "withdrawal"}}
    with any_engine.connect() as connection:
        assert wanted <= triggers(connection)


def triggers(connection: Connection) -> set[str]:
    sqlite = "SELECT name FROM sqlite_master WHERE type = 'trigger'"
    postgres = "SELECT tgname FROM pg_trigger WHERE NOT tgisinternal"
    query = sqlite if connection.dialect.name == "sqlite" else postgres
    return set(connection.scalars(text(query)))


def names(connection: Connection) -> set[str]:
    return set(inspect(connection).get_table_names())


@contextmanager
def closing_engine(url: str) -> Iterator[Engine]:
    engine = make_engine(url)
    try:
        yield engine
    finally:
        engine.dispose()

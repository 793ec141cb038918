"""Migrations while others work: each says which locks it takes, and what the program before it knows still goes.

What this does not prove: that the program before makes sense of what the one after it writes, such as a new kind of
entry, nor that it keeps what the one after it derives, such as counts; the migration has to say so then. What it asks
for is there, and rows that it writes itself go in as they did.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest
from alembic import command
from alembic.script import Script
from sqlalchemy import Connection, MetaData, inspect, select, text
from sqlalchemy.engine.interfaces import ReflectedColumn

from app.store import migrate
from app.store.db import for_migrating, writing
from tests.fixtures.postgres import fresh_database

STATED = re.compile(r"`(\w+)` (ACCESS EXCLUSIVE|SHARE ROW EXCLUSIVE|EXCLUSIVE|SHARE)\b")
# From the weakest; those below SHARE let everybody read and write.
MODES = ("ShareLock", "ShareRowExclusiveLock", "ExclusiveLock", "AccessExclusiveLock")
HELD = text(
    "SELECT c.relname, l.mode FROM pg_locks l JOIN pg_class c ON c.oid = l.relation "
    "WHERE l.pid = pg_backend_pid() AND l.locktype = 'relation' AND c.relkind IN ('r', 'p')"
)
# What a migration says with which the program before it cannot go on.
STOPS = "so that stops first"


@dataclass(frozen=True)
class Schema:
    """By table its columns, each with its type and whether a row must bring it; and what rows have to keep to."""

    columns: dict[str, dict[str, tuple[str, bool]]]
    rules: dict[str, set[str]]

    @classmethod
    def of(cls, connection: Connection) -> Schema:
        found = inspect(connection)
        columns = {
            table: {each["name"]: (str(each["type"]), _must(each)) for each in listed}
            for (_, table), listed in found.get_multi_columns().items()
            if table != "alembic_version"
        }
        rules: dict[str, set[str]] = {table: set() for table in columns}
        for (_, table), listed in found.get_multi_indexes().items():
            rules.get(table, set()).update(str(each["name"]) for each in listed if each["unique"])
        for (_, table), listed in found.get_multi_check_constraints().items():
            rules.get(table, set()).update(str(each["name"]) for each in listed)
        return cls(columns, rules)

    def breaks(self, after: Schema) -> Iterator[str]:
        """What a program that knows this schema would miss in the one after it, or be refused for."""
        for table, columns in self.columns.items():
            later = after.columns.get(table, {})
            yield from (f"{table}.{name} is gone" for name in columns.keys() - later.keys())
            for name, (kind, must) in later.items():
                if name in columns and columns[name][0] != kind:
                    yield f"{table}.{name} is {kind} now"
                if must and not columns.get(name, ("", False))[1]:
                    yield f"{table}.{name} must be given now"
            for rule in after.rules.get(table, set()) - self.rules[table]:
                if not any(name in rule for name in later.keys() - columns.keys()):
                    yield f"{table} has to keep to {rule} now"


def _must(column: ReflectedColumn) -> bool:
    """Whether a row that does not bring it is refused."""
    return not (column["nullable"] or column["default"] or column.get("identity"))


@dataclass(frozen=True)
class Step:
    """A migration, the strongest lock it held of each table that was there before, and what it breaks."""

    script: Script
    held: dict[str, str]
    breaks: tuple[str, ...]


@pytest.fixture(scope="module")
def steps(postgres_url: str) -> list[Step]:
    """Every migration, one after the other, as PostgreSQL tells of it before it is committed."""
    done, before = list[Step](), Schema({}, {})
    with fresh_database(postgres_url) as url:
        engine = for_migrating(url)
        for script in list(migrate._scripts().walk_revisions())[::-1]:
            with writing(engine).begin() as connection:
                migrated(connection, script.revision)
                locks = held(connection, before.columns.keys())
                after = Schema.of(connection)
                done.append(Step(script, locks, tuple(before.breaks(after))))
                before = after
        engine.dispose()
    return done


def migrated(connection: Connection, revision: str) -> None:
    config = migrate._config()
    config.attributes["connection"] = connection
    command.upgrade(config, revision)


def held(connection: Connection, tables: object) -> dict[str, str]:
    strongest: dict[str, int] = {}
    for table, mode in connection.execute(HELD):
        if table in tables and mode in MODES:
            strongest[table] = max(strongest.get(table, 0), MODES.index(mode))
    return {table: _in_words(MODES[mode]) for table, mode in strongest.items()}


def _in_words(mode: str) -> str:
    return re.sub(r"(?<!^)(?=[A-Z])", " ", mode.removesuffix("Lock")).upper()


@pytest.mark.postgres
def test_each_migration_says_which_tables_it_locks_and_how(steps: list[Step]) -> None:
    for step in steps:
        said = " ".join(step.script.longdoc.partition("Locks:")[2].split())
        assert said, f"{step.script.revision} does not say what it locks: {step.held}"
        assert dict(STATED.findall(said)) == step.held, step.script.revision


@pytest.mark.postgres
def test_the_program_before_goes_on_with_the_schema_after_unless_the_migration_says_otherwise(
    steps: list[Step],
) -> None:
    for step in steps:
        stops = STOPS in " ".join(step.script.longdoc.split())
        assert stops or not step.breaks, (step.script.revision, step.breaks)


def test_rows_of_every_kind_go_in_as_the_program_before_the_last_migration_writes_them(
    demo_template: Path, tmp_path: Path
) -> None:
    """The demo's, by the columns that it knows, past nothing: checks, keys and triggers are the new ones."""
    last = migrate._scripts().get_revision("head")
    engine, old = for_migrating(f"sqlite:///{tmp_path / 'store.db'}"), MetaData()
    with writing(engine).begin() as connection:
        migrated(connection, str(last.down_revision))
        old.reflect(connection)
        old.remove(old.tables["alembic_version"])
        migrated(connection, last.revision)
    source, written = for_migrating(f"sqlite:///{demo_template}"), 0
    with source.connect() as demo, writing(engine).begin() as connection:
        for table in old.sorted_tables:
            there = set(connection.execute(select(*table.primary_key)))  # by a migration itself
            rows = [dict(row._mapping) for row in demo.execute(select(table))]
            new = [
                row
                for row in rows
                if tuple(row[key.name] for key in table.primary_key) not in there
            ]
            if new:
                connection.execute(table.insert(), new)
            assert len(connection.execute(select(table)).all()) == len(rows), table.name
            written += bool(new)
        assert not connection.exec_driver_sql("PRAGMA foreign_key_check").all()
    assert written > 30, "the demo has rows of few tables"
    source.dispose()
    engine.dispose()

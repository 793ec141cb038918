"""An empty place for the rows of a copy: the schema of their revision, the rows, then this version's schema."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

from sqlalchemy import Connection, Table, delete, func, inspect, select, text
from sqlalchemy.exc import DataError, IntegrityError, StatementError

from app.errors import Refused
from app.store import migrate
from app.store.copies import rows
from app.store.db import busy_as_problem, for_migrating, parsed, writing


@contextmanager
def empty_place(url: str) -> Iterator[Connection]:
    """One writing transaction on an empty database; what fails within leaves it as empty as it was.

    Raises Refused when it is not empty.
    """
    made = _new_file(url)
    migrate.make_folder(url)
    engine = for_migrating(url)
    try:
        with busy_as_problem(), writing(engine).begin() as connection:
            _must_be_empty(connection)
            yield connection
    except BaseException:
        engine.dispose()
        for ending in ("", "-wal", "-shm") if made else ():
            Path(f"{made}{ending}").unlink(missing_ok=True)
        raise
    finally:
        engine.dispose()


def _new_file(url: str) -> Path | None:
    """The file of an SQLite store that is not there yet."""
    address = parsed(url)
    if address.get_backend_name() != "sqlite" or not address.database:
        return None
    path = Path(address.database)
    return None if path.exists() else path


def _must_be_empty(connection: Connection) -> None:
    there = inspect(connection).get_table_names()
    if there:
        raise Refused(
            f"This database is not empty (it has a table {min(there)}), and nothing that is there "
            f"is overwritten. Have DATABASE_URL name an empty one."
        )


def make_schema(connection: Connection, revision: str) -> dict[str, Table]:
    """The tables of a revision, by name, in the order in which they can be filled."""
    migrate.upgrade_within(connection, revision)
    made = rows.tables(connection)
    for table in reversed(made):
        if rows.count(connection, table):
            _empty(connection, table)
    _wait_with_foreign_keys(connection, made)
    return {table.name: table for table in made}


def _empty(connection: Connection, table: Table) -> None:
    """Take out what the migrations themselves put in: the copy has it as it was.

    Some of it is of tables that refuse to lose a row, which are then as they were before.
    """
    if connection.dialect.name == "postgresql":
        _alter(connection, table, "DISABLE TRIGGER USER")
        connection.execute(delete(table))
        _alter(connection, table, "ENABLE TRIGGER USER")
        return
    query = text("SELECT name, sql FROM sqlite_master WHERE type = 'trigger' AND tbl_name = :table")
    kept = connection.execute(query, {"table": table.name}).all()
    for name, _ in kept:
        connection.exec_driver_sql(f"DROP TRIGGER {name}")
    connection.execute(delete(table))
    for _, sql in kept:
        connection.exec_driver_sql(sql)


def fill(
    connection: Connection, table: Table, columns: Sequence[tuple[str, str]], given: Iterator[bytes]
) -> None:
    """Raises Refused when the table is another than the one that was copied, or takes a row not."""
    if sorted(columns) != sorted(rows.columns(table)):
        raise Refused(f"The copy's table {table.name} has other columns than its revision has.")
    try:
        rows.insert_lines(connection, table, [name for name, _ in columns], given)
    except (IntegrityError, DataError, StatementError, ValueError) as wrong:
        said = " ".join(str(getattr(wrong, "orig", None) or wrong).split())
        raise Refused(
            f"The copy's table {table.name} cannot be taken into this database: {said}."
        ) from wrong


def finish(connection: Connection, tables: Sequence[Table]) -> None:
    """Have foreign keys hold, numbers go on from the highest, and the schema be this version's."""
    if connection.dialect.name == "postgresql":
        connection.execute(text("SET CONSTRAINTS ALL IMMEDIATE"))
        for table, name in _looking_ahead(tables):
            _alter(connection, table, f'ALTER CONSTRAINT "{name}" NOT DEFERRABLE')
        go_on_from_highest(connection, tables)
    migrate.upgrade_within(connection)


def _wait_with_foreign_keys(connection: Connection, tables: Sequence[Table]) -> None:
    """SQLite's are off while migrating and are checked at its end."""
    if connection.dialect.name == "postgresql":
        for table, name in _looking_ahead(tables):
            _alter(connection, table, f'ALTER CONSTRAINT "{name}" DEFERRABLE INITIALLY DEFERRED')


def _looking_ahead(tables: Sequence[Table]) -> Iterator[tuple[Table, str]]:
    """Foreign keys that may name a row which is filled in later: of the same table, or of a later one."""
    filled: set[str] = set()
    for table in tables:
        for each in table.foreign_key_constraints:
            if each.referred_table.name not in filled:
                yield table, str(each.name)
        filled.add(table.name)


def _alter(connection: Connection, table: Table, how: str) -> None:
    quote = connection.dialect.identifier_preparer.quote
    connection.exec_driver_sql(f"ALTER TABLE {quote(table.name)} {how}")


def go_on_from_highest(connection: Connection, tables: Iterable[Table]) -> None:
    """PostgreSQL: have new rows of these tables get keys after those that are there."""
    for table in tables:
        for column in table.primary_key.columns:
            sequence = connection.scalar(
                select(func.pg_get_serial_sequence(f'"{table.name}"', column.name))
            )
            highest = connection.scalar(select(func.max(column))) if sequence else None
            if highest is not None:
                connection.execute(select(func.setval(sequence, highest)))

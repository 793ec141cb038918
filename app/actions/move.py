"""Moving the whole register into an empty PostgreSQL: all of it, and proved to be the same there, or nothing."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from sqlalchemy import Connection, Engine, Table
from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Session

from app.errors import Conflict, Refused
from app.store import migrate, proof
from app.store.copies import loading, pouring, reading, rows
from app.store.copies.pouring import Sum
from app.store.db import parsed

Tell = Callable[[str, int, int], None]
Tables = Mapping[str, Table]
NOTHING = "Nothing was moved."


@dataclass(frozen=True, slots=True)
class Moved:
    """By table what was moved, and the number and the hash of the last entry of the record of change."""

    tables: Mapping[str, Sum]
    head: tuple[int, str] | None

    @property
    def rows(self) -> int:
        return sum(each.rows for each in self.tables.values())


def move(source: Engine, url: str, tell: Tell) -> Moved:
    """Have the PostgreSQL at `url` hold all that a store of this version holds at one moment; `source` stays as it is.

    Raises Refused when `url` is no PostgreSQL or not empty, or when rows there would not be the same;
    Conflict when the source was written meanwhile. Then nothing was moved. Busy while it is being migrated.
    """
    if parsed(url).get_backend_name() != "postgresql":
        raise Refused(
            "A register is moved into a PostgreSQL; want an address such as "
            "postgresql://user@host/name. For any other database: backup, then restore."
        )
    with reading.snapshot(source) as here, loading.empty_place(url) as there:
        held = {table.name: table for table in rows.tables(here)}
        made = loading.make_schema(there, migrate.revision_of(here))
        moved = Moved(_move(here, there, held, made, tell), _head(here, held))
        _prove(there, held, moved, tell)
        _must_stand_still(source, held, moved, tell)
    return moved


def _move(
    here: Connection, there: Connection, held: Tables, made: Tables, tell: Tell
) -> dict[str, Sum]:
    try:
        with pouring.without_indexes(there):
            sums = {
                name: _move_table(here, there, held[name], table, tell)
                for name, table in made.items()
            }
            tell("Making indexes", 0, 0)
    except IntegrityError as wrong:
        said = " ".join(str(wrong.orig).split())
        raise Refused(f"The register does not hold together: {said}. {NOTHING}") from wrong
    loading.finish(there, list(made.values()))
    there.exec_driver_sql("ANALYZE")
    return sums


def _move_table(here: Connection, there: Connection, held: Table, made: Table, tell: Tell) -> Sum:
    many = rows.count(here, held)
    names = _names(held)
    poured = pouring.pour(there, made, names, pouring.rows_as_text(here, held, names))
    return pouring.sum_of(poured, lambda done: tell(f"Moving {held.name}", done, many))


def _names(table: Table) -> list[str]:
    return [column.name for column in table.columns]


def _prove(there: Connection, held: Tables, moved: Moved, tell: Tell) -> None:
    """Read every row again from where it is now, and follow the record of change from its beginning."""
    for table in rows.tables(there):
        was, step = moved.tables[table.name], f"Reading {table.name} again"
        now = _sum_again(there, table, _names(held[table.name]), was.rows, step, tell)
        if now != was:
            raise Refused(
                f"{table.name} has {now.rows:,} rows there and {was.rows:,} here, or they say "
                f"something else. {NOTHING}"
            )
    with Session(there) as db:
        broken = proof.first_break(db, None, tell)
    if broken:
        raise Refused(f"The record of change is not whole: {broken}. {NOTHING}")


def _sum_again(
    there: Connection, table: Table, names: list[str], many: int, step: str, tell: Tell
) -> Sum:
    read = pouring.rows_as_text(there, table, names)
    return pouring.sum_of(read, lambda done: tell(step, done, many))


def _must_stand_still(source: Engine, held: Tables, moved: Moved, tell: Tell) -> None:
    """What is written here while it is moved would be lost."""
    tell("Looking whether anything was written meanwhile", 0, 0)
    with reading.snapshot(source) as now:
        if _head(now, held) != moved.head or any(
            rows.count(now, table) != moved.tables[name].rows for name, table in held.items()
        ):
            raise Conflict(
                "Something was written to the register while it was moved. Stop what serves it, "
                f"and move it again. {NOTHING}"
            )


def _head(connection: Connection, held: Tables) -> tuple[int, str] | None:
    return reading.head_of_change(connection, list(held.values()))

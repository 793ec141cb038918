"""Digests of what a file brought: too many rows to write into an entry one by one, and the same on both engines."""

from __future__ import annotations

from datetime import datetime
from hashlib import sha256
from typing import Any, TypedDict

from sqlalchemy import ColumnElement, Date, Row, Select, Table, cast, func, select, type_coerce
from sqlalchemy.orm import Session
from sqlalchemy.types import Boolean, Integer, Text

from app.store import tables, visits
from app.store.columns import Exact, Moment, table_of
from app.store.derived import ImportRun


class Digest(TypedDict):
    rows: int
    sha256: str


class Made(Digest):
    after: int
    until: int


# Tables whose rows name the import that brought them, and the readings of such events.
BROUGHT = tuple(
    table_of(mapped)
    for mapped in (
        tables.CarName, tables.Standing, tables.Ownership, tables.Construction,
        tables.ServiceFact, tables.LiningFact, tables.Fitting, tables.StencilFact,
        tables.ApprovalFact, tables.Component, tables.Installation, tables.Removal,
        tables.EventRow, tables.ReadingRow, visits.Visit, visits.VisitStep,
    )
)  # fmt: skip
EVENT, READING = table_of(tables.EventRow), table_of(tables.ReadingRow)
AT_ONCE = 20_000


def brought(db: Session, import_id: int, at: datetime) -> dict[str, Digest]:
    """For each table the rows that an import brought at a moment: how many, and their digest.

    Rows that were put back when another import was taken back bear its number and a later moment.
    That a row was superseded later is told by the entry of whoever did that.
    """
    found = {table.name: _digest(db, _brought(db, table, import_id, at)) for table in BROUGHT}
    return {name: each for name, each in found.items() if each["rows"]}


def of_events(db: Session, import_id: int) -> dict[str, Digest]:
    """The same of an import's events and readings alone, as they are now."""
    run = table_of(ImportRun)
    at = (
        db.connection().execute(select(run.c.recorded_at).where(run.c.id == import_id)).scalar_one()
    )
    return {
        table.name: _digest(db, _brought(db, table, import_id, at)) for table in (EVENT, READING)
    }


def last_key(db: Session, table: Table) -> int:
    return db.connection().execute(select(func.max(table.c.id))).scalar() or 0


def made(db: Session, table: Table, after: int, until: int, at: datetime) -> Made:
    """The rows recorded at a moment whose keys lie after one key and not after the other."""
    made = table.c.id.between(after + 1, until) & (table.c.recorded_at == at)
    found = _digest(db, select(*_columns(db, table)).where(made).order_by(table.c.id))
    return {"after": after, "until": until, **found}


def taken_back(db: Session, import_id: int, at: datetime) -> dict[str, Digest]:
    """For each table the keys of the rows of an import that were superseded at a moment."""
    found = {}
    for table in BROUGHT:
        if table is not READING:
            stamped = (table.c.import_id == import_id) & (table.c.superseded_at == at)
            keys = select(table.c.id).where(stamped).order_by(table.c.id)
            found[table.name] = _digest(db, keys)
    return {name: each for name, each in found.items() if each["rows"]}


def _columns(db: Session, table: Table) -> list[ColumnElement[Any]]:
    """What a row says of itself; when it was superseded is another's to tell. `stated`, where there is one, is last."""
    told = [column for column in table.columns if column.name not in ("superseded_at", "stated")]
    told += [column for column in table.columns if column.name == "stated"]
    return [_same_everywhere(db, column) for column in told]


def _brought(db: Session, table: Table, import_id: int, at: datetime) -> Select[Any]:
    columns = _columns(db, table)
    if table is READING:
        return (
            select(*columns)
            .join(EVENT, EVENT.c.id == table.c.event_id)
            .where(EVENT.c.import_id == import_id, EVENT.c.recorded_at == at)
            .order_by(table.c.event_id, table.c.place)
        )
    mine = (table.c.import_id == import_id) & (table.c.recorded_at == at)
    return select(*columns).where(mine).order_by(table.c.id)


def _same_everywhere(db: Session, column: ColumnElement[Any]) -> ColumnElement[Any]:
    """The column as whole numbers and text, which both engines give alike, whatever Python makes of it."""
    kind = column.type
    if db.get_bind().dialect.name == "postgresql":
        if isinstance(kind, Boolean):
            return cast(column, Integer)
        if isinstance(kind, Moment):
            return func.to_char(func.timezone("UTC", column), "YYYY-MM-DD HH24:MI:SS.US")
        if isinstance(kind, Date):
            return func.to_char(column, "YYYY-MM-DD")
    plain = Integer if isinstance(kind, Boolean | Exact | Integer) else Text
    return type_coerce(column, plain())


def _digest(db: Session, rows: Select[Any]) -> Digest:
    made, count = sha256(), 0
    with db.connection().execute(rows, execution_options={"yield_per": AT_ONCE}) as found:
        lately = list(found.keys())[-1] == "stated"
        for some in found.partitions():
            told = [_as_before(row) if lately else tuple(row) for row in some]
            made.update("\n".join(map(repr, told)).encode() + b"\n")
            count += len(some)
    return {"rows": count, "sha256": made.hexdigest()}


def _as_before(row: Row[Any]) -> tuple[Any, ...]:
    """A row that states nothing in another unit has the digest that it had before it could."""
    return tuple(row) if row[-1] is not None else tuple(row)[:-1]

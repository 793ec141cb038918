"""What a transaction changes, gathered while it lasts, so that its entry in the record of change is whole.

Rows written through the session are seen by themselves, also those changed by a statement. What goes past
the session (thousands of rows at once) is told by whoever wrote it, with `note`.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any
from weakref import WeakKeyDictionary, WeakSet

from sqlalchemy import Delete, Insert, Table, Update, event, inspect, select
from sqlalchemy.orm import (
    InstanceState,
    ORMExecuteState,
    Session,
    SessionTransaction,
    UOWTransaction,
    sessionmaker,
)

from app.store.kept import KEPT, About, Values, about_of, digest_of, key_of, plain

# Of a statement that changes more rows than this only their number is told; what is deleted is told whole.
MOST_ROWS_SEEN = 1_000


@dataclass(slots=True)
class RowChange:
    """A row before and after, by column; `before` is None for a new row, `after` for a deleted one.

    `secret` are columns that changed and whose values nobody is to read, with a digest of each.
    """

    table: str
    key: Any
    before: Values | None
    after: Values | None
    about: list[About]
    secret: dict[str, str | None] = field(default_factory=dict)

    def followed_by(self, later: RowChange) -> None:
        """Take in what happened to the row afterwards in the same transaction."""
        if self.before is not None and later.before is not None:
            self.before = later.before | self.before
        if later.after is None or self.after is None:
            self.after = later.after
        else:
            self.after = self.after | later.after
        self.about += later.about
        self.secret = self.secret | later.secret

    @property
    def says_something(self) -> bool:
        if self.before is None and self.after is None:
            return False  # made and taken away again
        return self.before != self.after or bool(self.secret)


@dataclass(frozen=True, slots=True)
class Counted:
    """Rows changed past the session, or too many to list."""

    table: str
    rows: int


@dataclass(frozen=True, slots=True)
class Deed:
    """What an action says of its doing; `bulk` tells of rows that nobody else does, by their digests.

    A `leading` one names its entry though other deeds came before it in the same transaction.
    """

    name: str
    about: tuple[About, ...]
    said: Mapping[str, Any]
    bulk: Sequence[Mapping[str, Any]] = ()
    leading: bool = False


@dataclass(slots=True)
class Gathered:
    """In the order in which it happened; `marks` say how much there was when a savepoint began.

    `released` savepoints are those whose writes stay.
    """

    items: list[RowChange | Counted | Deed] = field(default_factory=list)
    marks: WeakKeyDictionary[SessionTransaction, int] = field(default_factory=WeakKeyDictionary)
    released: WeakSet[SessionTransaction] = field(default_factory=WeakSet)
    # Rows about to be written of which the session did not hold all, as they are until then.
    unheld: dict[InstanceState[Any], Values] = field(default_factory=dict)

    @property
    def rows(self) -> list[RowChange]:
        """Each row once, with what it was at first and is at last; those that end as they began left out."""
        merged: dict[tuple[str, str], RowChange] = {}
        for each in self.items:
            if isinstance(each, RowChange):
                place = (each.table, json.dumps(each.key))
                if place in merged:
                    merged[place].followed_by(each)
                else:
                    merged[place] = _copy(each)
        return [each for each in merged.values() if each.says_something]

    @property
    def deeds(self) -> list[Deed]:
        found = [each for each in self.items if isinstance(each, Deed)]
        return sorted(found, key=lambda each: not each.leading)

    @property
    def counted(self) -> dict[str, int]:
        """Rows by table that are told only by their number."""
        told: dict[str, int] = {}
        for each in self.items:
            if isinstance(each, Counted):
                told[each.table] = told.get(each.table, 0) + each.rows
        return told


def _copy(row: RowChange) -> RowChange:
    return RowChange(row.table, row.key, row.before, row.after, list(row.about), dict(row.secret))


def gathered(db: Session) -> Gathered:
    """What this session changed since its last commit or rollback."""
    found: Gathered = db.info.setdefault("gathered", Gathered())
    return found


def note(
    db: Session,
    deed: str,
    *about: tuple[str, object],
    bulk: Sequence[Mapping[str, Any]] = (),
    leading: bool = False,
    **said: Any,
) -> None:
    """Name what is being done, in the same transaction: "event.recorded", and what else it is about.

    The cars, people and settings of rows written through the session need not be named. The first
    deed of a transaction names its entry, or a `leading` one. A deed that changes nothing leaves none, unless `bulk`
    tells by digests which rows were written past the session (`store.digests`, `store.proof`).
    """
    named = tuple((kind, str(key)) for kind, key in about)
    gathered(db).items.append(Deed(deed, named, said, bulk, leading))


def tell(db: Session, table: Table, rows: Iterable[Values]) -> None:
    """Tell new rows that were written past the session, each with every column."""
    gathered(db).items.extend(of_row(table, None, row) for row in rows)


def listen(factory: sessionmaker[Session]) -> None:
    """Have every session of this factory gather what it changes."""
    event.listen(factory, "before_flush", _before_flush)
    event.listen(factory, "after_flush", _after_flush)
    event.listen(factory, "do_orm_execute", _around_statement)
    event.listen(factory, "after_transaction_create", _begun)
    event.listen(factory, "after_commit", _released)
    event.listen(factory, "after_transaction_end", _ended)


def _begun(db: Session, transaction: SessionTransaction) -> None:
    held = gathered(db)
    held.marks[transaction] = len(held.items)


def _released(db: Session) -> None:
    savepoint = db.get_nested_transaction()
    if savepoint is not None:
        gathered(db).released.add(savepoint)


def _ended(db: Session, transaction: SessionTransaction) -> None:
    """Drop what did not stay, however it ended: one whose flush failed is closed and never rolled back."""
    held = gathered(db)
    if transaction.parent is None:
        held.items.clear()
    elif transaction.nested and transaction not in held.released:
        del held.items[held.marks[transaction] :]


# Rows written through the session --------------------------------------------------------------------------------


def _before_flush(db: Session, _: UOWTransaction, __: Sequence[Any] | None) -> None:
    """Read what a rolled back savepoint made the session forget of rows that are changed now."""
    unheld = gathered(db).unheld
    unheld.clear()
    for row in (*db.dirty, *db.deleted):
        state: InstanceState[Any] = inspect(row)
        table = _kept_table(state)
        if table is not None and not _all_held(state):
            keys = zip(table.primary_key.columns, state.identity or (), strict=True)
            same = [column == value for column, value in keys]
            found = db.connection().execute(select(table).where(*same)).mappings().first()
            unheld[state] = dict(found or {})


def _all_held(state: InstanceState[Any]) -> bool:
    for attribute in state.mapper.column_attrs:
        history = state.attrs[attribute.key].history
        if attribute.key not in state.dict or (history.added and not history.deleted):
            return False
    return True


def _kept_table(state: InstanceState[Any]) -> Table | None:
    table = state.mapper.local_table
    return table if isinstance(table, Table) and table.name in KEPT else None


def _after_flush(db: Session, _: UOWTransaction) -> None:
    held = gathered(db)
    for made in db.new:
        held.items.extend(_told(held, made, _inserted))
    for changed in db.dirty:
        held.items.extend(_told(held, changed, _changed))
    for gone in db.deleted:
        held.items.extend(_told(held, gone, _deleted))


def _told(held: Gathered, row: object, how: Any) -> Iterable[RowChange]:
    state: InstanceState[Any] = inspect(row)
    table = _kept_table(state)
    if table is not None:
        told: RowChange | None = how(table, state, held.unheld.get(state, {}))
        if told is not None:
            yield told


def _held(state: InstanceState[Any], unheld: Values) -> Values:
    """What is known of the row, by column; asks the database nothing."""
    keys = zip(state.mapper.primary_key, state.identity or (), strict=False)
    return (
        unheld
        | {column.name: value for column, value in keys}
        | {
            attribute.columns[0].name: state.dict[attribute.key]
            for attribute in state.mapper.column_attrs
            if attribute.key in state.dict
        }
    )


def _inserted(table: Table, state: InstanceState[Any], unheld: Values) -> RowChange:
    # What was not given is null in the table, and told, so that nobody fills it in unseen.
    empty: Values = dict.fromkeys(column.name for column in table.columns)
    return of_row(table, None, empty | _held(state, unheld))


def _deleted(table: Table, state: InstanceState[Any], unheld: Values) -> RowChange:
    return of_row(table, _held(state, unheld), None)


def _changed(table: Table, state: InstanceState[Any], unheld: Values) -> RowChange | None:
    before: Values = {}
    for attribute in state.mapper.column_attrs:
        history = state.attrs[attribute.key].history
        if history.has_changes():
            name = attribute.columns[0].name
            before[name] = history.deleted[0] if history.deleted else unheld.get(name)
    return of_change(table, _held(state, unheld), before)


def of_row(table: Table, before: Values | None, after: Values | None) -> RowChange:
    """A whole row that is new or gone."""
    whole = after if before is None else before
    assert whole is not None
    kept = KEPT[table.name]
    told = {name: plain(whole[name]) for name in kept.columns(table) if name in whole}
    secret = {name: digest_of(table, name, whole) for name in sorted(kept.secret)}
    return RowChange(
        table.name,
        key_of(table, whole),
        told if before is not None else None,
        told if after is not None else None,
        about_of(table.name, whole),
        secret if after is not None else {},
    )


def of_change(table: Table, now: Values, before: Values) -> RowChange | None:
    """A row of which the columns in `before` changed; None when they are of no concern."""
    kept = KEPT[table.name]
    told = [name for name in kept.columns(table) if name in before]
    secret = {name: digest_of(table, name, now) for name in sorted(kept.secret) if name in before}
    if not told and not secret:
        return None
    return RowChange(
        table.name,
        key_of(table, now),
        {name: plain(before[name]) for name in told},
        {name: plain(now[name]) for name in told},
        about_of(table.name, now),
        secret,
    )


# Rows changed by a statement -------------------------------------------------------------------------------------


def _around_statement(state: ORMExecuteState) -> Any:
    """Look at the rows that a statement changes before and after it."""
    statement = state.statement
    if not isinstance(statement, Update | Delete | Insert):
        return None
    table = statement.table
    if not isinstance(table, Table) or table.name not in KEPT:
        return None
    db = state.session
    if isinstance(statement, Insert):
        parameters = state.parameters
        rows = len(parameters) if isinstance(parameters, list) else 1
        gathered(db).items.append(Counted(table.name, rows))
        return None
    if isinstance(state.parameters, list):
        gathered(db).items.append(Counted(table.name, len(state.parameters)))
        return None
    db.flush()
    return _seen(state, db, table, statement)


def _seen(state: ORMExecuteState, db: Session, table: Table, statement: Update | Delete) -> Any:
    # Past the session: what it holds is neither asked for nor brought up to date by our looking.
    connection = db.connection()
    wanted = select(table)
    if isinstance(statement, Update):
        wanted = wanted.limit(MOST_ROWS_SEEN + 1)
    if statement.whereclause is not None:
        wanted = wanted.where(statement.whereclause)
    before = connection.execute(wanted, state.parameters or {}).mappings().all()
    result = state.invoke_statement()
    items = gathered(db).items
    if isinstance(statement, Delete):
        items += [of_row(table, dict(row), None) for row in before]
    elif len(before) > MOST_ROWS_SEEN:
        items.append(Counted(table.name, max(getattr(result, "rowcount", 0), len(before))))
    else:
        for row in before:
            same = [column == row[column.name] for column in table.primary_key.columns]
            now = connection.execute(select(table).where(*same)).mappings().one()
            moved = {name: row[name] for name in row if row[name] != now[name]}
            told = of_change(table, dict(now), moved)
            if told is not None:
                items.append(told)
    return result

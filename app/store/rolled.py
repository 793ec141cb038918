"""Keeping the numbers of due items and cars that are alike with what they count, in the same transaction.

Before items or cars are written, how they counted is read; just before the commit, how they count now, and the
difference is stored. So a savepoint that was rolled back leaves none, and whoever else commits waits for no more
than that last step: on PostgreSQL one transaction at a time stores its numbers, and holds none before it.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import Any

from sqlalchemy import (
    ColumnElement,
    CompoundSelect,
    Date,
    Select,
    Table,
    delete,
    event,
    func,
    insert,
    literal,
    select,
    true,
    union_all,
)
from sqlalchemy.dialects import postgresql, sqlite
from sqlalchemy.ext.compiler import compiles
from sqlalchemy.orm import Session, SessionTransaction, object_session, sessionmaker
from sqlalchemy.sql.functions import FunctionElement

from app.store.columns import BEGINNING, table_of
from app.store.derived import CarRolled, DueRolled, DueRow
from app.store.tables import Car

AT_ONCE = 5_000
# Cars; when more are written it is quicker to count all anew.
MOST = 100_000
# PostgreSQL: any number that nothing else locks by.
LOCK = 0x5354454E524F4C
DUE, CAR = table_of(DueRow), table_of(Car)
Numbers = Counter[tuple[Any, ...]]
NUMBER = "number"


class month_of(FunctionElement[date]):  # noqa: N801  reads as the function that it is
    """The first day of the month of a day."""

    type = Date()
    inherit_cache = True


@compiles(month_of, "sqlite")
def _on_sqlite(element: month_of, compiler: Any, **how: Any) -> str:
    return f"date({compiler.process(element.clauses, **how)}, 'start of month')"


@compiles(month_of, "postgresql")
def _on_postgresql(element: month_of, compiler: Any, **how: Any) -> str:
    return f"CAST(date_trunc('month', {compiler.process(element.clauses, **how)}) AS DATE)"


# What is counted -------------------------------------------------------------------------------------------------

MONTH = month_of(DUE.c.due_on)
WORK = (DUE.c.item_no, DUE.c.rule, DUE.c.interval_months)
# What each cut of `due` tells apart, beside state and standing in service. `rule` counts cars, the others items.
CUTS: Mapping[str, tuple[ColumnElement[Any], ...]] = {
    "day": (DUE.c.due_on, DUE.c.item_no, DUE.c.rule),
    "month": (MONTH, *WORK),
    "owner": (MONTH, *WORK, DUE.c.owner_id),
    "region": (MONTH, *WORK, DUE.c.region),
    "rule": (DUE.c.rule, DUE.c.owner_id),
}
BY_MONTH = ("month", "owner", "region")
# By what cars are counted.
WHAT = ("", "region", "specification_class", "commodity")


def _items(cut: str, condition: ColumnElement[bool]) -> Select[*tuple[Any, ...]]:
    """The rows of `due_rolled` of a cut, counted from `due`."""
    told = CUTS[cut]

    def if_told(column: ColumnElement[Any], else_: Any) -> ColumnElement[Any]:
        return column if any(column is each for each in told) else literal(else_)

    day = MONTH if cut in BY_MONTH else if_told(DUE.c.due_on, BEGINNING)
    interval = if_told(DUE.c.interval_months, 0)
    number = func.count(DUE.c.car_id.distinct()) if cut == "rule" else func.count()
    return (
        select(
            literal(cut), if_told(DUE.c.owner_id, 0), if_told(DUE.c.region, ""), DUE.c.listed, DUE.c.state,
            func.coalesce(day, literal(BEGINNING)), if_told(DUE.c.item_no, 0), if_told(DUE.c.rule, ""),
            func.coalesce(interval, literal(0)), number,
        )
        .where(condition)
        .group_by(DUE.c.listed, DUE.c.state, *told)
    )  # fmt: skip


def _cars(what: str, condition: ColumnElement[bool]) -> Select[*tuple[Any, ...]]:
    """The rows of `car_rolled` about one thing, counted from `car`."""
    told = [CAR.c[what]] if what else []
    value = told[0] if told else literal("")
    return (
        select(literal(what), CAR.c.owner_id, CAR.c.standing, value, func.count())
        .where(condition)
        .group_by(CAR.c.owner_id, CAR.c.standing, *told)
    )


def _all_items(condition: ColumnElement[bool]) -> CompoundSelect[Any]:
    return union_all(*(_items(cut, condition) for cut in CUTS))


def _all_cars(condition: ColumnElement[bool]) -> CompoundSelect[Any]:
    return union_all(*(_cars(what, condition) for what in WHAT))


def in_parts(car_ids: Collection[int]) -> Iterator[Sequence[int]]:
    ordered = sorted(car_ids)
    for first in range(0, len(ordered), AT_ONCE):
        yield ordered[first : first + AT_ONCE]


@dataclass(frozen=True)
class Kind:
    """One of the two: where its numbers are, and what they count of some cars."""

    table: Table
    of: ColumnElement[int]
    counted: Callable[[ColumnElement[bool]], CompoundSelect[Any]]

    @property
    def key(self) -> list[str]:
        return [column.name for column in self.table.primary_key.columns]

    def hold(self, db: Session, car_ids: Collection[int]) -> None:
        """Keep others from writing these rows, so that they are counted as they are replaced."""
        for some in in_parts(car_ids):
            rows = select(self.of).where(self.of.in_(some)).order_by(self.of).with_for_update()
            db.connection().execute(select(func.count()).select_from(rows.subquery()))

    def now(self, db: Session, car_ids: Collection[int]) -> Numbers:
        """How these cars, or their items, count now."""
        found: Numbers = Counter()
        for some in in_parts(car_ids):
            for *key, number in db.connection().execute(self.counted(self.of.in_(some))):
                found[tuple(key)] += number
        return found


ITEMS = Kind(table_of(DueRolled), DUE.c.car_id, _all_items)
CARS = Kind(table_of(CarRolled), CAR.c.id, _all_cars)
KINDS = (ITEMS, CARS)


# Keeping it so ---------------------------------------------------------------------------------------------------


@dataclass
class Before:
    """Cars that were written since the last commit, and how they counted then; `anew`: all are to be counted."""

    cars: set[int] = field(default_factory=set)
    numbers: Numbers = field(default_factory=Counter)
    anew: bool = False


def items_change(db: Session, car_ids: Collection[int]) -> None:
    """The due items of these cars are about to be written."""
    _change(db, ITEMS, car_ids)


def cars_change(db: Session, car_ids: Collection[int]) -> None:
    """What lists show of these cars is about to be written."""
    _change(db, CARS, car_ids)


def cars_added(db: Session, car_ids: Collection[int]) -> None:
    """These cars are new and were not counted before; those added through the session tell it themselves."""
    _before(db, CARS).cars.update(car_ids)


def recount(db: Session) -> None:
    """Count everything anew, when the session commits."""
    for kind in KINDS:
        _before(db, kind).anew = True


def is_current(db: Session, kind: Kind) -> bool:
    """Whether the session wrote nothing yet that the numbers do not tell."""
    before = _before(db, kind)
    return not (before.cars or before.anew)


def _before(db: Session, kind: Kind) -> Before:
    held: dict[str, Before] = db.info.setdefault("rolled", {})
    return held.setdefault(kind.table.name, Before())


def _change(db: Session, kind: Kind, car_ids: Collection[int]) -> None:
    before = _before(db, kind)
    others = set(car_ids) - before.cars
    before.anew = before.anew or len(before.cars) + len(others) > MOST
    if others and not before.anew:
        if db.get_bind().dialect.name == "postgresql":
            kind.hold(db, others)
        before.numbers += kind.now(db, others)
        before.cars |= others


@event.listens_for(Car, "after_insert")
def _car_added(_: Any, __: Any, car: Car) -> None:
    db = object_session(car)
    assert db
    cars_added(db, [car.id])


def keep(factory: sessionmaker[Session]) -> None:
    """Have every commit of this factory's sessions bring the numbers along."""
    event.listen(factory, "before_commit", _before_commit)
    event.listen(factory, "after_transaction_end", _ended)


def _ended(db: Session, transaction: SessionTransaction) -> None:
    if transaction.parent is None:
        db.info.pop("rolled", None)


def _before_commit(db: Session) -> None:
    if db.in_nested_transaction():
        return
    db.flush()
    for kind in KINDS:
        before = _before(db, kind)
        if before.anew:
            _take_turns(db)
            _count_all(db, kind)
        elif before.cars:
            moved = kind.now(db, before.cars)
            moved.subtract(before.numbers)
            _add(db, kind, {key: number for key, number in moved.items() if number})


def _take_turns(db: Session) -> None:
    """Wait for whichever transaction is storing numbers now; no lock of a row can then wait for another."""
    if db.get_bind().dialect.name == "postgresql":
        db.connection().execute(select(func.pg_advisory_xact_lock(LOCK)))


def _count_all(db: Session, kind: Kind) -> None:
    db.connection().execute(delete(kind.table))
    names = [*kind.key, NUMBER]
    db.connection().execute(insert(kind.table).from_select(names, kind.counted(true())))


def _add(db: Session, kind: Kind, moved: Mapping[tuple[Any, ...], int]) -> None:
    if not moved:
        return
    _take_turns(db)
    lite = db.get_bind().dialect.name == "sqlite"
    made = (sqlite.insert if lite else postgresql.insert)(kind.table)
    number = kind.table.c[NUMBER]
    added = made.on_conflict_do_update(
        index_elements=kind.key, set_={NUMBER: number + made.excluded[NUMBER]}
    )
    rows = [dict(zip(kind.key, key, strict=True)) | {NUMBER: n} for key, n in moved.items()]
    db.connection().execute(added, rows)


# Whether it is so ------------------------------------------------------------------------------------------------


def first_wrong(db: Session) -> str | None:
    """The first number that is not that of the rows it stands for."""
    for kind in KINDS:
        stored, counted = _stored(db, kind), _counted(db, kind)
        for key in sorted(stored.keys() | counted.keys(), key=str):
            if stored[key] != counted[key]:
                of = ", ".join(f"{name} {part}" for name, part in zip(kind.key, key, strict=True))
                return f"{kind.table.name} ({of}) says {stored[key]}, and there are {counted[key]}"
    return None


def _stored(db: Session, kind: Kind) -> Numbers:
    rows = db.connection().execute(select(kind.table))
    return Counter({tuple(key): number for *key, number in rows})


def _counted(db: Session, kind: Kind) -> Numbers:
    rows = db.connection().execute(kind.counted(true()))
    return Counter({tuple(key): number for *key, number in rows})

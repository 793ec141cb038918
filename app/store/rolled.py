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
from functools import cached_property
from operator import itemgetter
from typing import Any

from sqlalchemy import (
    ColumnElement,
    Date,
    FromClause,
    Integer,
    Table,
    and_,
    case,
    cast,
    delete,
    event,
    exists,
    extract,
    func,
    literal,
    literal_column,
    or_,
    select,
    tuple_,
)
from sqlalchemy.ext.compiler import compiles
from sqlalchemy.orm import Session, SessionTransaction, object_session, sessionmaker
from sqlalchemy.sql.functions import FunctionElement

from app.core.facts import ITEMS as CORE_ITEMS
from app.core.mechanical import FIRST_BY_ANOTHER
from app.core.plan.demand import NO_WORK
from app.core.plan.forecast import MONTHS
from app.store.bulk import among, insert_or_add, plain_rows
from app.store.columns import BEGINNING, table_of
from app.store.derived import CarRolled, DueEnding, DueRolled, DueRow
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

# Read as they are and counted here: grouping them so often takes a database four times as long.
NOBODY: ColumnElement[int] = literal_column("0")
NOWHERE: ColumnElement[str] = literal_column("''")
NEVER = literal(BEGINNING)
DAY = func.coalesce(DUE.c.due_on, NEVER)
MONTH = func.coalesce(month_of(DUE.c.due_on), NEVER)
WORK = (DUE.c.item_no, DUE.c.rule, func.coalesce(DUE.c.interval_months, 0))
UNPLANNED = (DUE.c.item_no, DUE.c.rule, NOBODY)
STANDS = (DUE.c.listed, DUE.c.state)
LAST_ITEMS = tuple(CORE_ITEMS.index(item) for item in sorted(NO_WORK))


def is_last_day(of: FromClause) -> ColumnElement[bool]:
    """Whether it is the item by which its car first comes to a last service day."""
    other = DUE.alias("other")
    earlier = exists().where(
        other.c.car_id == of.c.car_id,
        other.c.item_no.in_(LAST_ITEMS),
        tuple_(other.c.due_on, other.c.item_no) < tuple_(of.c.due_on, of.c.item_no),
    )
    return and_(of.c.item_no.in_(LAST_ITEMS), ~earlier)


def month_no(day: Any) -> ColumnElement[int]:
    """The month of a day, counted from year 0."""
    return cast(extract("year", day) * 12 + extract("month", day) - 1, Integer)


def month_of_end(due: ColumnElement[Any], last: ColumnElement[Any]) -> ColumnElement[int]:
    """The first month in which an item that falls due on this day of a month does so on the last day or after it."""
    return month_no(last) + case((extract("day", due) < extract("day", last), 1), else_=0)


def ends_with(due: FromClause, last: FromClause) -> ColumnElement[bool]:
    """Whether a due item is of the car of a last service day."""
    return and_(due.c.car_id == last.c.car_id, is_last_day(last), last.c.due_on.is_not(None))


# What is due often and overdue for longer is rare; a forecast reads it as it is.
YEARS_LATE = 5
LAST = DUE.alias("last")


def due_often(item_no: ColumnElement[int], interval: ColumnElement[Any]) -> ColumnElement[bool]:
    """Whether an item falls due twice in the ten years of a forecast; one done once in ten years does not."""
    sooner = item_no.in_([CORE_ITEMS.index(item) for item in FIRST_BY_ANOTHER])
    return and_(interval > 0, or_(interval < MONTHS, sooner))


def may_end() -> ColumnElement[bool]:
    """Whether the end of its car, `LAST`, takes anything from an item in ten years from a day near its own."""
    often = due_often(DUE.c.item_no, DUE.c.interval_months)
    near = month_no(LAST.c.due_on) - month_no(DUE.c.due_on) <= MONTHS + 12 * YEARS_LATE
    return or_(DUE.c.due_on >= LAST.c.due_on, and_(often, near))


LAST_MONTH = case((is_last_day(DUE), MONTH), else_=NEVER)
CAR_STANDS = (CAR.c.owner_id, CAR.c.standing)

Columns = tuple[ColumnElement[Any], ...]
WITHOUT_CAR = itemgetter(slice(1, None))


@dataclass(frozen=True)
class Kind:
    """One of the two: where its numbers are, what they are of, and by cut the columns that each counts by.

    In the order of the table's key. A cut of `per_car` counts cars, another rows; `among`: of these rows alone.
    """

    table: Table
    car: ColumnElement[int]
    cuts: Mapping[str, Columns]
    per_car: Collection[str] = ()
    among: Sequence[ColumnElement[bool]] = ()

    @property
    def key(self) -> list[str]:
        return [column.name for column in self.table.primary_key.columns]

    @cached_property
    def columns(self) -> Columns:
        """All that is read, each once, the car's key first."""
        return tuple(
            dict.fromkeys((self.car, *(each for cut in self.cuts.values() for each in cut)))
        )

    @cached_property
    def keys(self) -> Mapping[str, Callable[[Any], tuple[Any, ...]]]:
        """By cut what makes its key of a row as it was read, behind the car's where cars are counted."""
        place = {column: at for at, column in enumerate(self.columns)}
        of_car = {cut: (0,) if cut in self.per_car else () for cut in self.cuts}
        return {
            cut: itemgetter(*of_car[cut], *(place[each] for each in told))
            for cut, told in self.cuts.items()
        }

    def hold(self, db: Session, car_ids: Collection[int]) -> None:
        """Keep others from writing these rows, so that they are counted as they are replaced."""
        for some in in_parts(car_ids):
            rows = select(self.car).where(self.car.in_(some)).order_by(self.car).with_for_update()
            db.connection().execute(select(func.count()).select_from(rows.subquery()))

    def now(self, db: Session, car_ids: Collection[int]) -> Numbers:
        """How these cars, or their items, count now, in the driver's own values."""
        found: Numbers = Counter()
        told = (column.label(f"c{at}") for at, column in enumerate(self.columns))
        query = select(*told).where(*self.among)
        for some in in_parts(car_ids):
            rows = plain_rows(db.connection(), query.where(among(self.car, some)))
            for cut, key in self.keys.items():
                keys = map(key, rows)
                if cut in self.per_car:
                    keys = map(WITHOUT_CAR, set(keys))
                for alike, number in Counter(keys).items():
                    found[cut, *alike] += number
        return found


def in_parts(car_ids: Collection[int]) -> Iterator[Sequence[int]]:
    ordered = sorted(car_ids)
    for first in range(0, len(ordered), AT_ONCE):
        yield ordered[first : first + AT_ONCE]


ITEMS = Kind(
    table_of(DueRolled),
    DUE.c.car_id,
    {
        "day": (NOBODY, NOWHERE, *STANDS, DAY, *UNPLANNED),
        "month": (NOBODY, NOWHERE, *STANDS, MONTH, *WORK),
        "owner": (DUE.c.owner_id, NOWHERE, *STANDS, MONTH, *WORK),
        "region": (NOBODY, DUE.c.region, *STANDS, MONTH, *WORK),
        "last": (DUE.c.owner_id, NOWHERE, *STANDS, LAST_MONTH, NOBODY, NOWHERE, NOBODY),
        "rule": (DUE.c.owner_id, NOWHERE, *STANDS, NEVER, NOBODY, DUE.c.rule, NOBODY),
    },
    per_car=("rule",),
)
FALLS = month_no(DUE.c.due_on), DUE.c.item_no, func.coalesce(DUE.c.interval_months, 0)
# Those that are over before they fall due are alike, whenever it was.
ENDS = case((DUE.c.due_on >= LAST.c.due_on, 0), else_=month_of_end(DUE.c.due_on, LAST.c.due_on))
ENDING = Kind(
    table_of(DueEnding),
    LAST.c.car_id,
    {
        "month": (NOBODY, NOWHERE, *FALLS, ENDS),
        "owner": (DUE.c.owner_id, NOWHERE, *FALLS, ENDS),
        "region": (NOBODY, DUE.c.region, *FALLS, ENDS),
    },
    among=(
        ends_with(DUE, LAST),
        DUE.c.item_no.not_in(LAST_ITEMS),
        DUE.c.listed.is_(True),
        may_end(),
    ),
)
CARS = Kind(
    table_of(CarRolled),
    CAR.c.id,
    {
        "": (*CAR_STANDS, NOWHERE),
        "region": (*CAR_STANDS, CAR.c.region),
        "specification_class": (*CAR_STANDS, CAR.c.specification_class),
        "commodity": (*CAR_STANDS, CAR.c.commodity),
    },
)
KINDS = (ITEMS, ENDING, CARS)


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
    _change(db, ENDING, car_ids)


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
            _add(db, kind, moved)


def _take_turns(db: Session) -> None:
    """Wait for whichever transaction is storing numbers now; no lock of a row can then wait for another."""
    if db.get_bind().dialect.name == "postgresql":
        db.connection().execute(select(func.pg_advisory_xact_lock(LOCK)))


def _count_all(db: Session, kind: Kind) -> None:
    db.connection().execute(delete(kind.table))
    _add(db, kind, kind.now(db, _every_car(db)))


def _every_car(db: Session) -> Sequence[int]:
    return db.connection().execute(select(CAR.c.id)).scalars().all()


def _add(db: Session, kind: Kind, moved: Mapping[tuple[Any, ...], int]) -> None:
    rows = [(*key, number) for key, number in moved.items() if number]
    if rows:
        _take_turns(db)
        insert_or_add(db, kind.table, rows, NUMBER)


# Whether it is so ------------------------------------------------------------------------------------------------


def first_wrong(db: Session) -> str | None:
    """The first number that is not that of the rows it stands for."""
    for kind in KINDS:
        stored, counted = _stored(db, kind), kind.now(db, _every_car(db))
        for key in sorted(stored.keys() | counted.keys(), key=str):
            if stored[key] != counted[key]:
                of = ", ".join(f"{name} {part}" for name, part in zip(kind.key, key, strict=True))
                return f"{kind.table.name} ({of}) says {stored[key]}, and there are {counted[key]}"
    return None


def _stored(db: Session, kind: Kind) -> Numbers:
    rows = plain_rows(db.connection(), select(kind.table))
    return Counter({tuple(key): number for *key, number in rows})

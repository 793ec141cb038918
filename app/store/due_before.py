"""What due items were before they moved: kept for some weeks when items are written anew, and what moved since a day.

A car's items are kept whole, once a day, before the first change of that day. So how they stood when a day
began is the first of these from that day on, and with none it is what is stored.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from sqlalchemy import (
    ColumnElement,
    Row,
    ScalarSelect,
    Select,
    Subquery,
    and_,
    delete,
    exists,
    func,
    literal,
    null,
    or_,
    select,
    true,
    tuple_,
)
from sqlalchemy.dialects import postgresql, sqlite
from sqlalchemy.orm import Session, aliased

from app.core.due import state_on
from app.core.facts import Status
from app.core.status import days_left
from app.store import cars, due
from app.store.columns import table_of
from app.store.derived import DueRow
from app.store.due import DueFilter
from app.store.paging import Cursor, Page, Value, page_of, read_cursor
from app.store.tables import Car, Party
from app.store.watch import NO_ITEM, DueBefore

KEPT_FOR = timedelta(days=35)
AT_ONCE = 5_000
NAMES = ("car_id", "day", "item_no", "state", "due_on", "listed")


@dataclass(frozen=True, slots=True)
class Moved:
    """An item that stands otherwise than when a day began; `was` is None where there was no such item.

    A status is None where the car was not in service.
    """

    car_id: int
    mark: str
    number: int
    owner: str
    region: str
    item: str
    item_no: int
    was: Status | None
    was_due_on: date | None
    status: Status | None
    due_on: date | None
    days_left: int | None
    new: bool

    @property
    def name(self) -> str:
        return f"{self.mark} {self.number}"


def keep(db: Session, car_ids: Sequence[int], day: date) -> None:
    """Keep how the items of these cars stand, before they are written anew; the first of a day counts."""
    for first in range(0, len(car_ids), AT_ONCE):
        some = car_ids[first : first + AT_ONCE]
        _keep(db, _stands(some, day))
        _keep(db, _has_none(some, day))


def _keep(db: Session, rows: Select[*tuple[Any, ...]]) -> None:
    lite = db.get_bind().dialect.name == "sqlite"
    made = (sqlite.insert if lite else postgresql.insert)(table_of(DueBefore))
    # PostgreSQL: whoever works a car out at the same moment may have kept it already.
    db.execute(made.from_select(NAMES, rows).on_conflict_do_nothing())


def _stands(car_ids: Sequence[int], day: date) -> Select[*tuple[Any, ...]]:
    return select(
        DueRow.car_id, literal(day), DueRow.item_no, DueRow.state, DueRow.due_on, DueRow.listed
    ).where(DueRow.car_id.in_(car_ids), ~_kept_on(DueRow.car_id, day))


def _has_none(car_ids: Sequence[int], day: date) -> Select[*tuple[Any, ...]]:
    return select(Car.id, literal(day), literal(NO_ITEM), null(), null(), null()).where(
        Car.id.in_(car_ids), ~_kept_on(Car.id, day)
    )


def _kept_on(car_id: Any, day: date) -> ColumnElement[bool]:
    return exists().where(DueBefore.car_id == car_id, DueBefore.day == day)


def clear_up(db: Session, today: date) -> None:
    """Forget what was before the weeks that can be asked for."""
    db.execute(delete(DueBefore).where(DueBefore.day < today - KEPT_FOR))


def kept_from() -> ScalarSelect[date]:
    """The first day of which anything is kept; null where nothing is."""
    return select(func.min(DueBefore.day)).scalar_subquery()


# What moved ------------------------------------------------------------------------------------------------------

# From so many lines on they are not sorted by name, but looked for in that order until the page is full.
MANY = 1_000
KINDS = (str, int, int)


def moved(
    db: Session,
    wanted: DueFilter,
    since: date,
    count: int,
    after: str | None = None,
    limit: int = 50,
) -> Page[Moved]:
    """Items that stand otherwise than when the day `since` began, by mark and number.

    Of those only what is or was overdue, due now, due within the filter's days, or unknown. `count` is how
    many there are, as `count_moved` tells; it says how they are best looked for.
    """
    cursor = read_cursor(after, KINDS) if after else None
    if not count:
        return Page(())
    many = count >= MANY
    found = _by_name(db, wanted, since, cursor) if many else _written(since)
    name: Any = found.c if many else DueRow
    keys = [name.mark, name.number, DueRow.item_no.expression]

    def make(row: Row[*tuple[Any, ...]]) -> tuple[tuple[Value, ...], Moved]:
        return (row.mark, row.number, row.item_no), _shown(row, wanted, since)

    return page_of(db, _moved(db, wanted, since, found), keys, KINDS, after, limit, make)


def each_moved(db: Session, wanted: DueFilter, since: date) -> list[Moved]:
    """All of them, in the same order."""
    query = _moved(db, wanted, since, _written(since))
    ordered = query.order_by(DueRow.mark, DueRow.number, DueRow.item_no)
    return [_shown(row, wanted, since) for row in db.execute(ordered)]


def count_moved(db: Session, wanted: DueFilter, since: date, most: int) -> int:
    """How many there are; `most` where there are as many or more."""
    some = _moved(db, wanted, since, _written(since)).limit(most).subquery()
    return db.scalar(select(func.count()).select_from(some)) or 0


def _moved(
    db: Session, wanted: DueFilter, since: date, first: Subquery
) -> Select[*tuple[Any, ...]]:
    """What moved of these cars, each given with the first day since of which its items are kept."""
    before = aliased(DueBefore)
    same = and_(
        before.car_id == first.c.car_id,
        before.day == first.c.day,
        before.item_no == DueRow.item_no,
    )
    differs = or_(
        before.car_id.is_(None),
        before.state != DueRow.state,
        before.due_on.is_distinct_from(DueRow.due_on),
        before.listed != DueRow.listed,
    )
    is_in_view = _in_view(DueRow, wanted.as_of, wanted.soon_days)
    was_in_view = _in_view(before, since, wanted.soon_days)
    return (
        select(
            DueRow.car_id, DueRow.mark, DueRow.number, Party.name, DueRow.region, DueRow.item, DueRow.item_no,
            DueRow.state, DueRow.due_on, DueRow.listed, before.car_id.label("before"),
            before.state.label("was_state"), before.due_on.label("was_due_on"),
            before.listed.label("was_listed"),
        )
        .select_from(first)
        .join(DueRow, DueRow.car_id == first.c.car_id)
        .join(Party, Party.id == DueRow.owner_id)
        .outerjoin(before, same)
        .where(differs, or_(is_in_view, was_in_view), *due.kept_by(db, wanted))
    )  # fmt: skip


def _written(since: date) -> Subquery:
    """The cars that were written since, each by the first of its rows that are kept from then on."""
    row, earlier = aliased(DueBefore), aliased(DueBefore)
    is_later = exists().where(
        earlier.car_id == row.car_id,
        earlier.day >= since,
        tuple_(earlier.day, earlier.item_no) < tuple_(row.day, row.item_no),
    )
    query = select(_unindexed(row.car_id), row.day)
    return query.where(row.day >= since, ~is_later).subquery()


def _by_name(db: Session, wanted: DueFilter, since: date, cursor: Cursor | None) -> Subquery:
    """The same cars, found among all that the filter keeps, in the order of their names from the cursor on."""
    day = (
        select(func.min(DueBefore.day))
        .where(DueBefore.car_id == Car.id, DueBefore.day >= since)
        .scalar_subquery()
    )
    asked = cars.RegisterFilter(
        search=wanted.search, owner_id=wanted.owner_id, region=wanted.region, standing="all"
    )
    query = select(_unindexed(Car.id), Car.mark, Car.number, day.label("day"))
    query = query.where(day.is_not(None), *cars.conditions(db, asked))
    if cursor:
        name, place = tuple_(Car.mark, Car.number), cursor.key[:2]
        query = query.where(name <= place if cursor.backwards else name >= place)
    return query.subquery()


def _unindexed(key: Any) -> ColumnElement[int]:
    """A car's key as no index knows it: what keeps SQLite from beginning with the items."""
    sum_: ColumnElement[int] = key + 0
    return sum_.label("car_id")


def _in_view(row: Any, day: date, days: int) -> ColumnElement[bool]:
    near = and_(row.state == "dated", row.due_on <= day + timedelta(days=days))
    return and_(row.listed == true(), or_(row.state.in_(("owed", "unknown")), near))


def _shown(row: Row[*tuple[Any, ...]], wanted: DueFilter, since: date) -> Moved:
    def status(listed: bool, state: str, due_on: date | None, day: date) -> Status | None:
        return state_on(state, due_on, day, wanted.soon_days) if listed else None

    return Moved(
        car_id=row.car_id,
        mark=row.mark,
        number=row.number,
        owner=row.name,
        region=row.region,
        item=row.item,
        item_no=row.item_no,
        was=status(row.was_listed, row.was_state, row.was_due_on, since),
        was_due_on=row.was_due_on,
        status=status(row.listed, row.state, row.due_on, wanted.as_of),
        due_on=row.due_on,
        days_left=days_left(row.due_on, wanted.as_of),
        new=row.before is None,
    )

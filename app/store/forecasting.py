"""What falls due by month, counted in the database; and cars whose last service day comes."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from typing import Any, Literal

from sqlalchemy import (
    ColumnElement,
    FromClause,
    Select,
    Subquery,
    and_,
    case,
    exists,
    extract,
    func,
    literal,
    or_,
    select,
)
from sqlalchemy.orm import Session

from app.core.facts import ITEMS
from app.core.plan.forecast import Falling
from app.store import due_counts, reach
from app.store.columns import BEGINNING, table_of
from app.store.derived import DueRolled, DueRow
from app.store.due import Again, next_interval
from app.store.plans import VisitPlan, VisitWork
from app.store.rolled import LAST_ITEMS
from app.store.tables import Party
from app.store.visits import ENDS, VisitStep, stepped

Grouping = Literal["item", "owner", "region"]


@dataclass(frozen=True, slots=True)
class ForecastFilter:
    """Which due items are counted, in groups of what; cars in service only. `again`: `due.next_interval`."""

    by: Grouping = "item"
    item: str | None = None
    owner_id: int | None = None
    owner: str | None = None
    region: str | None = None
    again: Again = field(default_factory=dict)

    def in_words(self) -> str:
        parts = [
            self.item and f"{self.item.replace('_', ' ')} only",
            self.owner_id and f"owner {self.owner or self.owner_id}",
            self.region and f"region {self.region}",
        ]
        return ", ".join(["Cars in service", *(part for part in parts if part)])


def falling(db: Session, wanted: ForecastFilter) -> list[Falling]:
    """Every dated item that work can put in date again, in the month in which it falls due."""
    cut = _cut(db, wanted)
    return _rolled(db, wanted, cut) if cut else falling_one_by_one(db, wanted)


def falling_one_by_one(db: Session, wanted: ForecastFilter) -> list[Falling]:
    """The same from the items alone: what the rolled up numbers are held against."""
    month = _month(DueRow.due_on)
    return _counted(db, wanted, month, _counts(db, wanted))


def _cut(db: Session, wanted: ForecastFilter) -> str | None:
    """The cut (`rolled.ITEMS`) that knows what is asked; None: none does."""
    cut = due_counts.cut_of(db, wanted.owner_id, wanted.region)
    if wanted.by == "item" or wanted.by == cut:
        return cut
    return wanted.by if cut == "month" else None


def _rolled(db: Session, wanted: ForecastFilter, cut: str) -> list[Falling]:
    group: Any = {"owner": Party.name, "region": DueRolled.region}.get(wanted.by, literal(""))
    interval = next_interval(
        DueRolled.item_no.expression, DueRolled.interval_months.expression, wanted.again
    )
    told = DueRolled.item_no, group, DueRolled.day, interval.label("interval")
    query = select(*told, func.sum(DueRolled.number)).where(
        *due_counts.rows_of(db, cut, wanted.owner_id, wanted.region),
        DueRolled.listed.is_(True),
        DueRolled.day > BEGINNING,
        DueRolled.item_no.not_in(LAST_ITEMS),
        DueRolled.number > 0,
    )
    if wanted.by == "owner":
        query = query.join(Party, Party.id == DueRolled.owner_id)
    if wanted.item is not None:
        query = query.where(DueRolled.item_no == ITEMS.index(wanted.item))
    found = []
    for item_no, name, day, interval, number in db.execute(query.group_by(*told)):
        item = ITEMS[item_no]
        group_name = item if wanted.by == "item" else name
        found.append(
            Falling(item, group_name, day.year * 12 + day.month - 1, interval or None, number)
        )
    return found


def ending(db: Session, wanted: ForecastFilter, until: date, months: int) -> list[Falling]:
    """Of what `falling` tells what the last service day of its car may end in the months until a day, with when.

    What falls due from then on is planned by nobody (`core.plan.demand.after_service`).
    """
    last = _last_of_cars(until)
    of_these = last.join(table_of(DueRow), DueRow.car_id == last.c.car_id)
    # What is due before the last day and once in so many months is not due again, so nothing of it ends.
    may_end = or_(DueRow.due_on >= last.c.on, DueRow.interval_months < months)
    counts = and_(_counts(db, wanted), may_end)
    return _counted(db, wanted, _month(DueRow.due_on), counts, of_these, _end(last))


def _last_of_cars(until: date) -> Subquery:
    """The last service day of each car that has one before a day."""
    return (
        select(DueRow.car_id, func.min(DueRow.due_on).label("on"))
        .where(DueRow.item_no.in_(LAST_ITEMS), DueRow.due_on < until, DueRow.listed.is_(True))
        .group_by(DueRow.car_id)
        .subquery()
    )


def _end(last: Subquery) -> ColumnElement[int]:
    """The first month in which an item that falls due on this day of a month does so on the last day or after it."""
    before = extract("day", DueRow.due_on) < extract("day", last.c.on)
    return _month(last.c.on) + case((before, 1), else_=0)


def moved_by_plan(
    db: Session, wanted: ForecastFilter, until: date
) -> tuple[list[Falling], list[Falling]]:
    """The items that planned visits will do: as they fall due, and in the month of their visit.

    Of an item that several visits are to do the first counts, since it is done then. Items of cars whose last service
    day comes before `until` end with it, but for a visit that is planned for later all the same.
    """
    first, last = _first_visits(), _last_of_cars(until)
    same = and_(DueRow.car_id == first.c.car_id, DueRow.item == first.c.item)
    # In this order, so that a database begins with the cars that have planned work.
    of_these = first.join(table_of(DueRow), same).outerjoin(last, last.c.car_id == DueRow.car_id)
    counts = _counts(db, wanted)
    due = _counted(db, wanted, _month(DueRow.due_on), counts, of_these, _end(last))
    visit = _counted(db, wanted, _month(first.c.month), counts, of_these, _end(last))
    return due, [_at_least_once(each) for each in visit]


def _at_least_once(visit: Falling) -> Falling:
    return replace(visit, ends=visit.ends and max(visit.ends, visit.month + 1))


def _first_visits() -> Subquery:
    """The month in which each item of a car is to be done first, by visits that did not do it yet."""
    return (
        select(VisitWork.car_id, VisitWork.item, func.min(VisitPlan.month).label("month"))
        .join(VisitPlan, VisitPlan.visit_id == VisitWork.visit_id)
        .join(DueRow, and_(DueRow.car_id == VisitWork.car_id, DueRow.item == VisitWork.item))
        .where(~stepped(VisitWork.visit_id, ENDS), ~_done())
        # Said once more so that a database begins with the cars that have planned work.
        .where(DueRow.car_id.in_(select(VisitWork.car_id)))
        .group_by(VisitWork.car_id, VisitWork.item)
        .subquery()
    )


def _done() -> ColumnElement[bool]:
    """Whether the item counts from a day of the visit already, though the car is not released."""
    return exists().where(
        VisitStep.visit_id == VisitWork.visit_id,
        VisitStep.superseded_at.is_(None),
        VisitStep.step == "sent",
        VisitStep.happened_on <= DueRow.basis_on,
    )


def _month(day: Any) -> ColumnElement[int]:
    counted: ColumnElement[int] = extract("year", day) * 12 + extract("month", day) - 1
    return counted


def _counted(
    db: Session,
    wanted: ForecastFilter,
    month: ColumnElement[int],
    condition: ColumnElement[bool],
    of: FromClause = table_of(DueRow),
    ends: ColumnElement[Any] | None = None,
) -> list[Falling]:
    interval = next_interval(
        DueRow.item_no.expression, DueRow.interval_months.expression, wanted.again
    )
    told = [DueRow.item, _group(wanted), month, interval.label("interval")]
    told += [] if ends is None else [ends]
    query: Select[Any] = (
        select(func.count(), *told)
        .select_from(of)
        .join(Party, Party.id == DueRow.owner_id)
        .where(condition)
        .group_by(*told)
    )
    return [
        Falling(
            item, str(name or ""), int(at), interval, count,
            *(None if on is None else int(on) for on in end),
        )
        for count, item, name, at, interval, *end in db.execute(query)
    ]  # fmt: skip


def _group(wanted: ForecastFilter) -> Any:
    return {"item": DueRow.item, "owner": Party.name, "region": DueRow.region}[wanted.by]


def _counts(db: Session, wanted: ForecastFilter) -> ColumnElement[bool]:
    return and_(*_among(db, wanted), DueRow.item_no.not_in(LAST_ITEMS))


def _among(db: Session, wanted: ForecastFilter) -> Sequence[ColumnElement[bool]]:
    # Where a car is, is its owner's affair, so a forecast is of cars that are whole one's own or in one's shop.
    conditions = [
        reach.whole(db, DueRow.owner_id, DueRow.car_id),
        DueRow.listed.is_(True),
        DueRow.due_on.is_not(None),
    ]
    if wanted.item is not None:
        conditions.append(DueRow.item_no == ITEMS.index(wanted.item))
    if wanted.owner_id is not None:
        conditions.append(DueRow.owner_id == wanted.owner_id)
    if wanted.region is not None:
        conditions.append(DueRow.region == wanted.region)
    return conditions


@dataclass(frozen=True, slots=True)
class LastDay:
    car_id: int
    mark: str
    number: int
    owner: str
    item: str
    on: date


def cars_by_last_year(db: Session, wanted: ForecastFilter, until: date) -> dict[int, int]:
    """How many cars come to their first last service day in a year, before the first day of a month."""
    found: Counter[int] = Counter()
    if wanted.item is None and due_counts.cut_of(db, None, None):
        # Numbers that came to nothing stay as such.
        kept = [DueRolled.cut == "last", DueRolled.listed.is_(True), DueRolled.number > 0]
        kept += [
            DueRolled.day > BEGINNING,
            DueRolled.day < until,
            reach.owned(db, DueRolled.owner_id),
        ]
        if wanted.owner_id is not None:
            kept.append(DueRolled.owner_id == wanted.owner_id)
        if wanted.region is not None:
            kept.append(DueRolled.region == wanted.region)
        query = select(DueRolled.day, func.sum(DueRolled.number)).where(*kept)
        for day, number in db.execute(query.group_by(DueRolled.day)):
            found[day.year] += number
        return dict(found)
    return cars_by_last_year_one_by_one(db, wanted, until)


def cars_by_last_year_one_by_one(
    db: Session, wanted: ForecastFilter, until: date
) -> dict[int, int]:
    """The same from the items alone: what the rolled up numbers are held against."""
    first = func.min(DueRow.due_on)
    query = select(first).where(*_last(db, wanted, until)).group_by(DueRow.car_id)
    return dict(Counter(day.year for day in db.scalars(query) if day))


def count_last_days(db: Session, wanted: ForecastFilter, until: date) -> int:
    """How many `last_days` there are."""
    query = select(func.count()).select_from(DueRow).where(*_last(db, wanted, until))
    return db.scalar(query) or 0


def _last(db: Session, wanted: ForecastFilter, until: date) -> list[ColumnElement[bool]]:
    return [*_among(db, wanted), DueRow.item_no.in_(LAST_ITEMS), DueRow.due_on < until]


def last_days(
    db: Session, wanted: ForecastFilter, until: date, most: int | None = None
) -> list[LastDay]:
    """The last service days that come before a day, or have passed, the earliest first; the first `most` of them."""
    query = (
        select(DueRow.car_id, DueRow.mark, DueRow.number, Party.name, DueRow.item, DueRow.due_on)
        .join(Party, Party.id == DueRow.owner_id)
        .where(*_last(db, wanted, until))
        .order_by(DueRow.due_on, DueRow.mark, DueRow.number)
        .limit(most)
    )
    return [
        LastDay(car_id, mark, number, owner, item, on)
        for car_id, mark, number, owner, item, on in db.execute(query)
        if on is not None
    ]

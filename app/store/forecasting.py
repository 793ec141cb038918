"""What falls due by month, counted in the database; and cars whose last service day comes."""

from __future__ import annotations

import heapq
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from itertools import islice
from typing import Any, Literal

from sqlalchemy import (
    ColumnElement,
    FromClause,
    Select,
    Subquery,
    and_,
    case,
    exists,
    func,
    literal,
    or_,
    select,
    true,
)
from sqlalchemy.orm import Session

from app.core.facts import ITEMS
from app.core.plan.forecast import MONTHS, YEARS, Falling, lost
from app.store import due_counts, reach
from app.store.columns import BEGINNING, table_of
from app.store.derived import DueEnding, DueRolled, DueRow
from app.store.due import Again, next_interval
from app.store.plans import VisitPlan, VisitWork
from app.store.rolled import (
    LAST,
    LAST_ITEMS,
    YEARS_LATE,
    due_often,
    ends_with,
    month_no,
    month_of_end,
)
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


def falling(db: Session, wanted: ForecastFilter, first: date) -> list[Falling]:
    """Every dated item that work can put in date again, in the month in which it falls due.

    Within ten years from the first day of a month; what is due before it stands there. By owner or region the kinds
    of items need not be told apart.
    """
    cut = _cut(db, wanted)
    return _rolled(db, wanted, first, cut) if cut else falling_one_by_one(db, wanted, first)


def falling_one_by_one(db: Session, wanted: ForecastFilter, first: date) -> list[Falling]:
    """The same from the items alone: what the rolled up numbers are held against."""
    counts = and_(_counts(db, wanted), DueRow.due_on < until(first))
    return _counted(db, wanted, month_no(_from(DueRow.due_on, first)), counts)


def until(first: date) -> date:
    """The day before which a forecast ends that begins on the first day of a month."""
    return first.replace(year=first.year + YEARS)


def _from(day: Any, first: date) -> ColumnElement[date]:
    return case((day < first, literal(first)), else_=day)


def _cut(db: Session, wanted: ForecastFilter) -> str | None:
    """The cut (`rolled.ITEMS`) that knows what is asked; None: none does."""
    cut = due_counts.cut_of(db, wanted.owner_id, wanted.region)
    if wanted.by == "item" or wanted.by == cut:
        return cut
    return wanted.by if cut == "month" else None


def _rolled(db: Session, wanted: ForecastFilter, first: date, cut: str) -> list[Falling]:
    kept = [
        *_kept(db, wanted, cut, DueRolled),
        DueRolled.listed.is_(True),
        DueRolled.item_no.not_in(LAST_ITEMS),
        DueRolled.day > BEGINNING,
        DueRolled.day < until(first),
    ]
    return [
        Falling(item, group, _month_of(day), interval, number)
        for item, group, day, interval, number in _summed(
            db, wanted, DueRolled, _from(DueRolled.day, first), kept
        )
    ]


def _kept(
    db: Session, wanted: ForecastFilter, cut: str, of: type[DueRolled | DueEnding]
) -> list[ColumnElement[bool]]:
    # Numbers that came to nothing stay as such.
    kept = [*due_counts.rows_of(db, cut, wanted.owner_id, wanted.region, of), of.number > 0]
    if wanted.item is not None:
        kept.append(of.item_no == ITEMS.index(wanted.item))
    return kept


def _summed(
    db: Session,
    wanted: ForecastFilter,
    of: type[DueRolled | DueEnding],
    when: ColumnElement[Any],
    kept: Sequence[ColumnElement[bool]],
) -> Iterator[tuple[str, str, Any, int | None, int]]:
    """Item and group, when, the months after which they fall due again, and how many."""
    group = {"item": of.item_no, "owner": of.owner_id, "region": of.region}[wanted.by]
    told = [group.expression, when, _interval(of, wanted)]
    called = _owners(db) if wanted.by == "owner" else {}
    query: Select[Any] = select(*told, func.sum(of.number)).where(*kept).group_by(*told)
    for value, at, interval, number in db.execute(query):
        item = ITEMS[value] if wanted.by == "item" else ""
        yield item, item or called.get(value, value), at, interval or None, number


def _interval(of: type[DueRolled | DueEnding], wanted: ForecastFilter) -> ColumnElement[int]:
    """Months after which items fall due again, 0 where they do not."""
    return next_interval(of.item_no.expression, of.interval_months.expression, wanted.again)


def _owners(db: Session) -> dict[int, str]:
    return {party.id: party.name for party in db.execute(select(Party.id, Party.name))}


def _month_of(day: date) -> int:
    return day.year * 12 + day.month - 1


def gone(db: Session, wanted: ForecastFilter, first: date) -> list[Falling]:
    """What of all that `falling` tells falls due no more, since the last service day of its car comes before.

    Nobody plans it (`core.plan.demand.after_service`).
    """
    cut = _cut(db, wanted)
    if not cut:
        return _gone_one_by_one(db, wanted, first)
    late = first.replace(year=first.year - YEARS_LATE)
    return _gone_rolled(db, wanted, first, late, cut) + _gone_late(db, wanted, first, late)


def _gone_rolled(
    db: Session, wanted: ForecastFilter, first: date, late: date, cut: str
) -> list[Falling]:
    month = _first_lost(_interval(DueEnding, wanted), _month_of(first))
    kept = [
        *_kept(db, wanted, cut, DueEnding),
        or_(DueEnding.ends == 0, DueEnding.month >= _month_of(late)),
        month < _month_of(first) + MONTHS,
    ]
    return [Falling(*alike) for alike in _summed(db, wanted, DueEnding, month, kept)]


def _gone_late(db: Session, wanted: ForecastFilter, first: date, late: date) -> list[Falling]:
    """Of items that are due often and were due before `late`, none of which is over: kinds of them are rare."""
    cut = due_counts.cut_of(db, wanted.owner_id, wanted.region)
    item_no, interval = DueRolled.item_no.expression, DueRolled.interval_months.expression
    kept = [
        *_kept(db, wanted, str(cut), DueRolled),
        DueRolled.listed.is_(True),
        DueRolled.day > BEGINNING,
        DueRolled.day < late,
        due_often(item_no, interval),
    ]
    items = db.scalars(select(item_no).where(*kept).distinct()).all()
    among = and_(
        DueRow.item_no.in_(items),
        DueRow.due_on < late,
        DueRow.due_on < LAST.c.due_on,
        due_often(DueRow.item_no.expression, DueRow.interval_months.expression),
    )
    return _gone_one_by_one(db, wanted, first, among) if items else []


def _first_lost(interval: ColumnElement[int], first: int) -> ColumnElement[int]:
    """As `core.plan.forecast.lost` has it."""
    ends: ColumnElement[int] = DueEnding.ends.expression
    month = case((DueEnding.month < first, first), else_=DueEnding.month)
    times = (ends - month + interval - 1) // interval
    return month + case((ends == 0, 0), (ends <= month, interval), else_=times * interval)


def _gone_one_by_one(
    db: Session, wanted: ForecastFilter, first: date, among: ColumnElement[bool] = true()
) -> list[Falling]:
    """The same from the items alone, of some of them."""
    of_these = table_of(DueRow).join(LAST, _ends_by(first))
    counts = and_(_counts(db, wanted), DueRow.due_on < until(first), among)
    ending = _counted(db, wanted, month_no(DueRow.due_on), counts, of_these, _end())
    return [each for each in (lost(one, _month_of(first)) for one in ending) if each]


def _ends_by(first: date) -> ColumnElement[bool]:
    return and_(ends_with(table_of(DueRow), LAST), LAST.c.due_on < until(first))


def _end() -> ColumnElement[int]:
    return month_of_end(DueRow.due_on.expression, LAST.c.due_on)


def moved_by_plan(
    db: Session, wanted: ForecastFilter, first: date
) -> tuple[list[Falling], list[Falling]]:
    """The items that planned visits will do: as they fall due, and in the month of their visit.

    Of an item that several visits are to do the first counts, since it is done then. Items of cars whose last service
    day comes within the ten years end with it, but for a visit that is planned for later all the same.
    """
    visits = _first_visits()
    same = and_(DueRow.car_id == visits.c.car_id, DueRow.item == visits.c.item)
    # In this order, so that a database begins with the cars that have planned work.
    of_these = visits.join(table_of(DueRow), same).outerjoin(LAST, _ends_by(first))
    counts = _counts(db, wanted)
    due = _counted(db, wanted, month_no(DueRow.due_on), counts, of_these, _end())
    visit = _counted(db, wanted, month_no(visits.c.month), counts, of_these, _end())
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


def cars_by_last_year(db: Session, wanted: ForecastFilter, first: date) -> dict[int, int]:
    """How many cars come to their first last service day in a year, or have, before those ten years are over."""
    if wanted.item or wanted.region is not None or not due_counts.cut_of(db, None, None):
        return cars_by_last_year_one_by_one(db, wanted, first)
    kept = [
        *due_counts.rows_of(db, "last", wanted.owner_id),
        DueRolled.listed.is_(True),
        DueRolled.day > BEGINNING,
        DueRolled.day < until(first),
        DueRolled.number > 0,
    ]
    query = select(DueRolled.day, func.sum(DueRolled.number)).where(*kept)
    found: Counter[int] = Counter()
    for day, number in db.execute(query.group_by(DueRolled.day)):
        found[day.year] += number
    return dict(found)


def cars_by_last_year_one_by_one(
    db: Session, wanted: ForecastFilter, first: date
) -> dict[int, int]:
    """The same from the items alone: what the rolled up numbers are held against."""
    earliest = func.min(DueRow.due_on)
    query = select(earliest).where(*_last(db, wanted, first)).group_by(DueRow.car_id)
    return dict(Counter(day.year for day in db.scalars(query) if day))


def count_last_days(db: Session, wanted: ForecastFilter, first: date) -> int:
    """How many `last_days` there are."""
    query = select(func.count()).select_from(DueRow).where(*_last(db, wanted, first))
    return db.scalar(query) or 0


def _last(
    db: Session, wanted: ForecastFilter, first: date, items: Sequence[int] = LAST_ITEMS
) -> list[ColumnElement[bool]]:
    return [*_among(db, wanted), DueRow.item_no.in_(items), DueRow.due_on < until(first)]


def last_days(
    db: Session, wanted: ForecastFilter, first: date, most: int | None = None
) -> list[LastDay]:
    """The last service days that come within those ten years, or have passed, the earliest first; `most` of them."""
    # By the order of each item, so that the first few are read without sorting all.
    of_each = [_last_days_of(db, wanted, first, item_no, most) for item_no in LAST_ITEMS]
    return list(islice(heapq.merge(*of_each, key=_in_turn), most))


def _last_days_of(
    db: Session, wanted: ForecastFilter, first: date, item_no: int, most: int | None
) -> list[LastDay]:
    query = (
        select(DueRow.car_id, DueRow.mark, DueRow.number, Party.name, DueRow.item, DueRow.due_on)
        .join(Party, Party.id == DueRow.owner_id)
        .where(*_last(db, wanted, first, (item_no,)))
        .order_by(DueRow.due_on, DueRow.mark, DueRow.number)
        .limit(most)
    )
    return [
        LastDay(car_id, mark, number, owner, item, on)
        for car_id, mark, number, owner, item, on in db.execute(query)
        if on is not None
    ]


def _in_turn(each: LastDay) -> tuple[date, str, int]:
    return each.on, each.mark, each.number

"""What falls due by month, counted in the database; and cars whose last service day comes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any, Literal

from sqlalchemy import ColumnElement, Select, Subquery, and_, exists, extract, func, literal, select
from sqlalchemy.orm import Session

from app.core.facts import ITEMS
from app.core.plan.demand import NO_WORK
from app.core.plan.forecast import Falling
from app.store import due_counts, reach
from app.store.columns import BEGINNING
from app.store.derived import DueRolled, DueRow
from app.store.plans import VisitPlan, VisitWork
from app.store.tables import Party
from app.store.visits import ENDS, VisitStep, stepped

Grouping = Literal["item", "owner", "region"]
LAST_DAYS = [ITEMS.index(item) for item in sorted(NO_WORK)]


@dataclass(frozen=True, slots=True)
class ForecastFilter:
    """Which due items are counted, in groups of what; cars in service only."""

    by: Grouping = "item"
    item: str | None = None
    owner_id: int | None = None
    owner: str | None = None
    region: str | None = None

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
    """The cut (`rolled.CUTS`) that knows what is asked; None: none does."""
    cut = due_counts.cut_of(db, wanted.owner_id, wanted.region)
    if wanted.by == "item" or wanted.by == cut:
        return cut
    return wanted.by if cut == "month" else None


def _rolled(db: Session, wanted: ForecastFilter, cut: str) -> list[Falling]:
    group: Any = {"owner": Party.name, "region": DueRolled.region}.get(wanted.by, literal(""))
    told = DueRolled.item_no, group, DueRolled.day, DueRolled.interval_months
    query = select(*told, func.sum(DueRolled.number)).where(
        *due_counts.rows_of(db, cut, wanted.owner_id, wanted.region),
        DueRolled.listed.is_(True),
        DueRolled.day > BEGINNING,
        DueRolled.item_no.not_in(LAST_DAYS),
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


def moved_by_plan(db: Session, wanted: ForecastFilter) -> tuple[list[Falling], list[Falling]]:
    """The items that planned visits will do: as they fall due, and in the month of their visit.

    Of an item that several visits are to do the first counts, since it is done then.
    """
    first = _first_visits()
    planned = and_(
        _counts(db, wanted), DueRow.car_id == first.c.car_id, DueRow.item == first.c.item
    )
    due = _counted(db, wanted, _month(DueRow.due_on), planned)
    visit = _counted(db, wanted, _month(first.c.month), planned)
    return due, visit


def _first_visits() -> Subquery:
    """The month in which each item of a car is to be done first, by visits that did not do it yet."""
    return (
        select(VisitWork.car_id, VisitWork.item, func.min(VisitPlan.month).label("month"))
        .join(VisitPlan, VisitPlan.visit_id == VisitWork.visit_id)
        .join(DueRow, and_(DueRow.car_id == VisitWork.car_id, DueRow.item == VisitWork.item))
        .where(~stepped(VisitWork.visit_id, ENDS), ~_done())
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
    db: Session, wanted: ForecastFilter, month: ColumnElement[int], condition: ColumnElement[bool]
) -> list[Falling]:
    group = _group(wanted)
    query: Select[Any] = (
        select(DueRow.item, group, month, DueRow.interval_months, func.count())
        .select_from(DueRow)
        .join(Party, Party.id == DueRow.owner_id)
        .where(condition)
        .group_by(DueRow.item, group, month, DueRow.interval_months)
    )
    return [
        Falling(item, str(name or ""), int(number), interval, count)
        for item, name, number, interval, count in db.execute(query)
    ]


def _group(wanted: ForecastFilter) -> Any:
    return {"item": DueRow.item, "owner": Party.name, "region": DueRow.region}[wanted.by]


def _counts(db: Session, wanted: ForecastFilter) -> ColumnElement[bool]:
    return and_(*_among(db, wanted), DueRow.item_no.not_in(LAST_DAYS))


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


def last_days(db: Session, wanted: ForecastFilter, until: date) -> list[LastDay]:
    """The last service days that come before a day, or have passed, the earliest first."""
    query = (
        select(DueRow.car_id, DueRow.mark, DueRow.number, Party.name, DueRow.item, DueRow.due_on)
        .join(Party, Party.id == DueRow.owner_id)
        .where(
            *_among(db, wanted),
            DueRow.item_no.in_(LAST_DAYS),
            DueRow.due_on < until,
        )
        .order_by(DueRow.due_on, DueRow.mark, DueRow.number)
    )
    return [
        LastDay(car_id, mark, number, owner, item, on)
        for car_id, mark, number, owner, item, on in db.execute(query)
        if on is not None
    ]

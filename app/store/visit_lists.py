"""Questions about many visits: those of a shop, a month or a state; and how long cars were out of service."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from statistics import mean, median
from typing import Any

from sqlalchemy import func, select
from sqlalchemy.orm import Session, aliased

from app.store import reach, visiting
from app.store.plans import VisitPlan, days_planned
from app.store.tables import Car, Party
from app.store.visiting import VisitShown
from app.store.visits import END, Visit, VisitStep, stepped

STATES = ("planned", "sent", "in_shop", "released")
# A release stays on the list for so many days; days out of service are looked at over two years.
LATELY_DAYS = 90
LOOKED_BACK_DAYS = 730
# Which steps a visit in each state has come to, and which it has not.
_STEPS = {
    "planned": (("planned",), ("sent", "arrived", "released", "cancelled")),
    "sent": (("sent",), ("arrived", "released", "cancelled")),
    "in_shop": (("sent", "arrived"), ("released", "cancelled")),
    "released": (("sent", "released"), ("cancelled",)),
}


@dataclass(frozen=True, slots=True)
class VisitFilter:
    """Which visits are listed; None does not restrict. `month` is the first day of the month planned for."""

    today: date
    shop: str | None = None
    state: str | None = None
    month: date | None = None

    def in_words(self) -> str:
        """What the list holds, for people to read."""
        what = {"in_shop": "Cars in a shop", "sent": "Cars on their way to a shop"}.get(
            self.state or "", f"{(self.state or 'all open').capitalize()} visits"
        )
        to = f" to {self.shop}" if self.shop else ""
        month = f", planned for {self.month:%Y-%m}" if self.month else ""
        return f"{what}{to}{month}, and those released in the last {LATELY_DAYS} days"

    @property
    def states(self) -> Sequence[str]:
        return (self.state,) if self.state else STATES


def in_state(
    db: Session, wanted: VisitFilter, state: str, limit: int | None = None
) -> list[VisitShown]:
    """Visits in a state: planned ones by month, released ones the latest first, else by shop and car."""
    shop = aliased(Party)
    query = visiting.reached(db).join(shop, shop.id == Visit.shop_id).where(*_asked(wanted, state))
    if state == "planned":
        query = query.order_by(VisitPlan.month, shop.name, Car.mark, Car.number, Visit.id)
    elif state == "released":
        query = query.order_by(_ended().desc(), Visit.id.desc())
    else:
        query = query.order_by(shop.name, Car.mark, Car.number, Visit.id)
    return visiting.made(db, query.limit(limit))


def count(db: Session, wanted: VisitFilter, state: str) -> int:
    """How many visits are in a state."""
    found = visiting.reached(db).where(*_asked(wanted, state)).subquery()
    return db.scalar(select(func.count()).select_from(found)) or 0


def _asked(wanted: VisitFilter, state: str) -> list[reach.Condition]:
    has, has_not = _STEPS[state]
    asked = [stepped(Visit.id, (step,)) for step in has]
    asked.append(~stepped(Visit.id, has_not))
    if wanted.shop:
        asked.append(Visit.shop_id.in_(select(Party.id).where(Party.name == wanted.shop)))
    if wanted.month:
        asked.append(VisitPlan.month == wanted.month)
    if state == "released":
        asked.append(_ended() >= wanted.today - timedelta(days=LATELY_DAYS))
    return asked


def _ended() -> Any:
    row = aliased(VisitStep)
    return (
        select(func.max(row.happened_on))
        .where(row.visit_id == Visit.id, row.superseded_at.is_(None), row.step == END)
        .correlate(Visit)
        .scalar_subquery()
    )


def shops(db: Session) -> list[str]:
    """The names of the shops of all visits that the session reaches."""
    query = (
        select(Party.name)
        .join(Visit, Visit.shop_id == Party.id)
        .join(Car, Car.id == Visit.car_id)
        .where(Visit.superseded_at.is_(None), reach.whole(db, Car.owner_id, Car.id))
        .distinct()
    )
    return sorted(db.scalars(query))


@dataclass(frozen=True, slots=True)
class DaysOut:
    """Days from sent to released, of so many visits; None of none."""

    visits: int
    median: float | None
    mean: float | None

    @classmethod
    def of(cls, days: Sequence[int]) -> DaysOut:
        return cls(len(days), median(days), mean(days)) if days else cls(0, None, None)


@dataclass(frozen=True, slots=True)
class ShopDays:
    """How long cars were out of service at a shop: every visit, and those that were planned, both ways."""

    shop: str
    every: DaysOut
    planned: DaysOut
    planned_real: DaysOut


def days_out(db: Session, wanted: VisitFilter) -> list[ShopDays]:
    """By shop, over the visits released in the last two years."""
    sent, ended = aliased(VisitStep), aliased(VisitStep)
    query = (
        select(Party.name, sent.happened_on, ended.happened_on, days_planned())
        .select_from(Visit)
        .join(Car, Car.id == Visit.car_id)
        .join(Party, Party.id == Visit.shop_id)
        .join(sent, (sent.visit_id == Visit.id) & (sent.step == "sent"))
        .join(ended, (ended.visit_id == Visit.id) & (ended.step == END))
        .outerjoin(VisitPlan, VisitPlan.visit_id == Visit.id)
        .where(
            Visit.superseded_at.is_(None), sent.superseded_at.is_(None),
            ended.superseded_at.is_(None), reach.whole(db, Car.owner_id, Car.id),
            ended.happened_on >= wanted.today - timedelta(days=LOOKED_BACK_DAYS),
        )
    )  # fmt: skip
    if wanted.shop:
        query = query.where(Party.name == wanted.shop)
    found: dict[str, list[tuple[int, int | None]]] = {}
    for shop, first, last, planned in db.execute(query):
        found.setdefault(shop, []).append(((last - first).days, planned))
    return [_of_shop(shop, found[shop]) for shop in sorted(found)]


def _of_shop(shop: str, found: Sequence[tuple[int, int | None]]) -> ShopDays:
    both = [(real, planned) for real, planned in found if planned is not None]
    return ShopDays(
        shop,
        DaysOut.of([real for real, _ in found]),
        DaysOut.of([planned for _, planned in both]),
        DaysOut.of([real for real, _ in both]),
    )

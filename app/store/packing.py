"""What a tablet takes along, of many cars at once: a bounded number of queries, whatever the number of cars."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date

from sqlalchemy import Row, cast, exists, func, select
from sqlalchemy.orm import Session, aliased

from app.access.reach import ITEMS_OF
from app.core.measure import Amount, as_stated
from app.store import reach
from app.store.changes import ChangeAbout
from app.store.columns import Key
from app.store.paging import Page, Value, page_of
from app.store.prepared import of_cars
from app.store.tables import (
    Car,
    Component,
    EventRow,
    Installation,
    Party,
    ReadingRow,
    Removal,
)
from app.store.visits import CarReach, Visit, VisitStep

KINDS = (str, int, int)


@dataclass(frozen=True, slots=True)
class Chosen:
    """A car to be packed; `items` are those of it that the session reaches, None for all of it."""

    id: int
    mark: str
    number: int
    owner_id: int
    owner: str
    standing: str
    commodity: str
    keeps_photo_place: bool
    items: frozenset[str] | None = None


def chosen(
    db: Session, among: Sequence[reach.Condition], after: str | None, limit: int
) -> Page[Chosen]:
    """The cars that these conditions keep and the session reaches, by mark and number."""
    query = (
        select(
            Car.id, Car.mark, Car.number, Car.owner_id, Party.name, Car.standing, Car.commodity,
            Party.keeps_photo_place, reach.whole(db, Car.owner_id, Car.id),
        )
        .join(Party, Party.id == Car.owner_id)
        .where(*_reached(db, among))
    )  # fmt: skip
    keys = (Car.mark.expression, Car.number.expression, Car.id.expression)
    page = page_of(db, query, keys, KINDS, after, limit, _keyed)
    items = _items(db, [car.id for car, whole in page.rows if not whole])
    rows = tuple(
        car if whole else _partly(car, items.get(car.id, frozenset())) for car, whole in page.rows
    )
    return Page(rows, page.next_after, page.previous)


def count(db: Session, among: Sequence[reach.Condition]) -> int:
    return db.scalar(select(func.count()).select_from(Car).where(*_reached(db, among))) or 0


def _reached(db: Session, among: Sequence[reach.Condition]) -> list[reach.Condition]:
    return [*among, reach.some(db, Car.owner_id, Car.id)]


def _keyed(row: Row[*tuple[object, ...]]) -> tuple[tuple[Value, ...], tuple[Chosen, bool]]:
    car = Chosen(*row[:-1])  # type: ignore[arg-type]
    return (car.mark, car.number, car.id), (car, bool(row[-1]))


def _partly(car: Chosen, items: frozenset[str]) -> Chosen:
    # What it carries is its owner's affair.
    return replace(car, commodity="", items=items)


def _items(db: Session, car_ids: Sequence[int]) -> dict[int, frozenset[str]]:
    """The items that the session reaches of cars of which it does not reach all."""
    if not car_ids:
        return {}
    mine = reach.of(db)
    rows = db.execute(
        select(CarReach.car_id, CarReach.kind).where(
            CarReach.car_id.in_(car_ids),
            CarReach.party_id.in_(sorted(mine.parties or ())),
            CarReach.kind.in_(sorted(mine.partial)),
        )
    )
    found: dict[int, frozenset[str]] = defaultdict(frozenset)
    for car_id, kind in rows:
        found[car_id] |= ITEMS_OF[kind]  # type: ignore[index]
    return found


def of_visit(visit_id: int) -> reach.Condition:
    """The car of a visit that counts."""
    there = select(Visit.car_id).where(Visit.id == visit_id, Visit.superseded_at.is_(None))
    return Car.id.in_(there)


def at_shop(db: Session, shop: str) -> reach.Condition:
    """Cars that were sent to the shop of this name and are not released."""
    begun, ended = select(VisitStep.visit_id), select(VisitStep.visit_id)
    counts = VisitStep.superseded_at.is_(None)
    begun = begun.where(counts, VisitStep.step == "sent")
    ended = ended.where(counts, VisitStep.step.in_(("released", "cancelled")))
    there = (
        select(Visit.car_id)
        .join(Party, Party.id == Visit.shop_id)
        .where(
            Party.name == shop,
            Visit.superseded_at.is_(None),
            Visit.id.in_(begun),
            Visit.id.not_in(ended),
        )
    )
    return Car.id.in_(there) & reach.whole(db, Car.owner_id, Car.id)


@dataclass(frozen=True, slots=True)
class Mounted:
    """A component on a car, and how it was put on."""

    installation: Installation
    component: Component


def mounted(db: Session, car_ids: Sequence[int], day: date) -> dict[int, list[Mounted]]:
    """What is on each car on a day, by kind and position."""
    off = exists().where(
        Removal.installation_id == Installation.id,
        Removal.superseded_at.is_(None),
        Removal.removed_on <= day,
    )
    rows = db.execute(
        select(Installation, Component)
        .join(Component, Component.id == Installation.component_id)
        .where(
            Installation.car_id.in_(car_ids),
            Installation.superseded_at.is_(None),
            Installation.from_on <= day,
            ~off,
        )
        .order_by(Component.kind, Installation.position, Installation.id),
        execution_options=of_cars(car_ids),
    )
    found: dict[int, list[Mounted]] = defaultdict(list)
    for installation, component in rows:
        found[installation.car_id].append(Mounted(installation, component))
    return found


@dataclass(frozen=True, slots=True)
class Measured:
    zone: str
    inches: Amount
    on: date


def last_measured(db: Session, car_ids: Sequence[int]) -> dict[int, list[Measured]]:
    """Of each zone of each car the readings of the last day on which it was measured, as in its report."""
    rows = db.execute(
        select(
            ReadingRow.car_id,
            ReadingRow.zone,
            ReadingRow.inches,
            ReadingRow.stated,
            EventRow.happened_on,
        )
        .join(EventRow, EventRow.id == ReadingRow.event_id)
        .where(ReadingRow.car_id.in_(car_ids), EventRow.superseded_at.is_(None))
        .order_by(EventRow.happened_on.desc(), EventRow.id.desc(), ReadingRow.place),
        execution_options=of_cars(car_ids),
    )
    last: dict[tuple[int, str], date] = {}
    found: dict[int, list[Measured]] = defaultdict(list)
    for car_id, zone, inches, stated, day in rows:
        if last.setdefault((car_id, zone), day) == day:
            amount = as_stated("inches", inches, stated) or inches
            found[car_id].append(Measured(zone, amount, day))
    return found


@dataclass(frozen=True, slots=True)
class OnVisit:
    id: int
    shop: str
    sent: date
    instructions: str


def visits(db: Session, car_ids: Sequence[int]) -> dict[int, OnVisit]:
    """The visit that each car is on, where it is on one."""
    later = aliased(VisitStep)
    ended = exists().where(
        later.visit_id == Visit.id,
        later.superseded_at.is_(None),
        later.step.in_(("released", "cancelled")),
    )
    rows = db.execute(
        select(Visit.car_id, Visit.id, Party.name, VisitStep.happened_on, Visit.instructions)
        .join(Party, Party.id == Visit.shop_id)
        .join(VisitStep, VisitStep.visit_id == Visit.id)
        .where(
            Visit.car_id.in_(car_ids),
            Visit.superseded_at.is_(None),
            VisitStep.step == "sent",
            VisitStep.superseded_at.is_(None),
            ~ended,
        )
        .order_by(Visit.id),
        execution_options=of_cars(car_ids),
    )
    return {row[0]: OnVisit(*row[1:]) for row in rows}


def versions(db: Session, car_ids: Sequence[int]) -> dict[int, int]:
    """The last entry in the record of change about each car, as the version of what is recorded of it."""
    rows = db.execute(
        select(cast(ChangeAbout.key, Key), func.max(ChangeAbout.change_id))
        .where(ChangeAbout.kind == "car", ChangeAbout.key.in_([str(each) for each in car_ids]))
        .group_by(ChangeAbout.key)
    )
    return {row[0]: row[1] for row in rows}

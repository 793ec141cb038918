"""Questions about how shells, linings and relief valves fare across the fleet: plain rows, as they count today."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any, NamedTuple

from sqlalchemy import ColumnElement, Select, distinct, func, select
from sqlalchemy.orm import Session

from app.core.measure import Amount, as_stated
from app.store import reach
from app.store.asked import Standpoint, counted
from app.store.columns import CarFact
from app.store.tables import (
    OUT_OF_RECORD,
    RELIEF_KINDS,
    Car,
    Component,
    Construction,
    EventRow,
    Installation,
    LiningFact,
    Party,
    ReadingRow,
    ServiceFact,
)


@dataclass(frozen=True, slots=True)
class WearFilter:
    """Cars in the register, of an owner or a region alone; `owner` is what the owner is called."""

    owner_id: int | None = None
    owner: str | None = None
    region: str | None = None

    def in_words(self) -> str:
        parts = ["Cars in the register", self.owner, self.region and f"in {self.region}"]
        return ", ".join(part for part in parts if part)


class FleetCar(NamedTuple):
    """A car as groups are made of it; what nobody stated is empty."""

    id: int
    mark: str
    number: int
    owner_id: int
    owner: str
    specification: str
    built_on: date | None
    commodity: str


class Measured(NamedTuple):
    """How many readings of a car count, and on how many days they were taken."""

    readings: int
    days: int


class LiningRow(NamedTuple):
    from_on: date
    lined: bool
    kind: str | None
    applied_on: date | None
    owner_interval_months: int | None
    documented: bool


class Happened(NamedTuple):
    car_id: int
    on: date
    items: tuple[str, ...]
    outcome: str
    facility: str


class Benched(NamedTuple):
    """A relief device as it was found on the bench before it was put on a car; pressures in psig."""

    installation_id: int
    car_id: int
    component_id: int
    kind: str
    maker: str
    model: str
    serial: str
    installed_on: date | None
    tested_on: date | None
    set_psig: Decimal | None
    found_psig: Decimal
    stated: str | None

    @property
    def pressures(self) -> dict[str, Amount | None]:
        return {
            name: as_stated(name, getattr(self, name), self.stated)
            for name in ("set_psig", "found_psig")
        }


def _among(db: Session, wanted: WearFilter) -> list[ColumnElement[bool]]:
    # What a car carries and how it wears is its owner's affair: only cars that are whole one's own, or in one's shop.
    conditions = [reach.whole(db, Car.owner_id, Car.id), Car.standing.not_in(OUT_OF_RECORD)]
    if wanted.owner_id is not None:
        conditions.append(Car.owner_id == wanted.owner_id)
    if wanted.region is not None:
        conditions.append(Car.region == wanted.region)
    return conditions


def _ids(db: Session, wanted: WearFilter) -> Select[int]:
    return select(Car.id).where(*_among(db, wanted))


def count(db: Session, wanted: WearFilter) -> int:
    return db.scalar(select(func.count()).select_from(Car).where(*_among(db, wanted))) or 0


def fleet(db: Session, wanted: WearFilter) -> list[FleetCar]:
    """By mark and number."""
    query = (
        select(
            Car.id, Car.mark, Car.number, Car.owner_id, Party.name, Car.specification,
            Car.built_on, Car.commodity,
        )
        .join(Party, Party.id == Car.owner_id)
        .where(*_among(db, wanted))
        .order_by(Car.mark, Car.number, Car.id)
    )  # fmt: skip
    return [FleetCar(*row) for row in db.execute(query)]


def materials(db: Session, wanted: WearFilter, today: date) -> dict[int, str]:
    """The material of each tank that is stated."""
    rows = _dated(db, wanted, today, Construction, (Construction.material,))
    return {car_id: material or "" for car_id, _, material in rows}


def linings(db: Session, wanted: WearFilter, today: date) -> dict[int, list[LiningRow]]:
    """Every lining row that counts, by car and from the earliest on."""
    columns = (
        LiningFact.lined, LiningFact.kind, LiningFact.applied_on,
        LiningFact.owner_interval_months, LiningFact.documented,
    )  # fmt: skip
    found: dict[int, list[LiningRow]] = defaultdict(list)
    for car_id, *stated in _dated(db, wanted, today, LiningFact, columns):
        found[car_id].append(LiningRow(*stated))
    return found


def _dated(
    db: Session, wanted: WearFilter, today: date, table: type[CarFact], columns: Iterable[Any]
) -> Iterable[Any]:
    query = (
        select(table.car_id, table.from_on, *columns)
        .where(
            table.superseded_at.is_(None),
            table.from_on <= today,
            table.car_id.in_(_ids(db, wanted)),
        )
        .order_by(table.car_id, table.from_on, table.id)
    )
    return db.execute(query)


def measured(db: Session, wanted: WearFilter, today: date) -> dict[int, Measured]:
    """By car; one that was never measured is not there."""
    query = (
        select(ReadingRow.car_id, func.count(), func.count(distinct(EventRow.happened_on)))
        .join(EventRow, EventRow.id == ReadingRow.event_id)
        .where(*_counts(db, wanted, today))
        .group_by(ReadingRow.car_id)
    )
    return {car_id: Measured(readings, days) for car_id, readings, days in db.execute(query)}


def failures(db: Session, wanted: WearFilter, today: date) -> list[Happened]:
    """Every inspection that failed, in the order of days."""
    return _happened(db, wanted, today, EventRow.outcome == "fail")


def lining_work(db: Session, wanted: WearFilter, today: date) -> list[Happened]:
    """Every lining applied or removed, in the order of days."""
    done = EventRow.items.like("%lining_applied%") | EventRow.items.like("%lining_removed%")
    return _happened(db, wanted, today, done)


def _happened(
    db: Session, wanted: WearFilter, today: date, condition: ColumnElement[bool]
) -> list[Happened]:
    query = (
        select(
            EventRow.car_id, EventRow.happened_on, EventRow.items, EventRow.outcome, EventRow.facility
        )
        .where(*_counts(db, wanted, today), condition)
        .order_by(EventRow.happened_on, EventRow.id)
    )  # fmt: skip
    return [
        Happened(car_id, on, tuple(items.split(";")), outcome, facility)
        for car_id, on, items, outcome, facility in db.execute(query)
    ]


def _counts(db: Session, wanted: WearFilter, today: date) -> list[ColumnElement[bool]]:
    return [
        EventRow.superseded_at.is_(None),
        EventRow.happened_on <= today,
        EventRow.car_id.in_(_ids(db, wanted)),
    ]


def benched(db: Session, wanted: WearFilter, today: date) -> list[Benched]:
    """Every relief device whose opening pressure as found is recorded, those since taken off among them."""
    query = (
        select(
            Installation.id, Installation.car_id, Component.id, Component.kind, Component.maker,
            Component.model, Component.serial, Installation.installed_on, Installation.tested_on,
            Installation.set_psig, Installation.found_psig, Installation.stated,
        )
        .join(Component, Component.id == Installation.component_id)
        .where(
            Installation.superseded_at.is_(None),
            Installation.from_on <= today,
            Installation.found_psig.is_not(None),
            Component.kind.in_(RELIEF_KINDS),
            Installation.car_id.in_(_ids(db, wanted)),
        )
        .order_by(Installation.from_on, Installation.id)
    )  # fmt: skip
    return [Benched(*list(row)) for row in db.execute(query)]


def carried(db: Session, car_id: int, at: Standpoint) -> list[tuple[date, str]]:
    """What a car carried and from which day on, from the earliest on, seen from a day and a moment."""
    query = (
        select(ServiceFact.from_on, ServiceFact.commodity)
        .where(
            ServiceFact.car_id == car_id,
            counted(ServiceFact, at.known_at),
            ServiceFact.from_on <= at.as_of,
        )
        .order_by(ServiceFact.from_on, ServiceFact.id)
    )
    by_day: dict[date, str] = dict(db.execute(query).all())
    return list(by_day.items())


def relief_put_on(db: Session) -> dict[int, list[tuple[int, date]]]:
    """By relief device each installation that counts, with the later of its test and its day, from the earliest on."""
    query = (
        select(
            Installation.component_id,
            Installation.id,
            Installation.installed_on,
            Installation.tested_on,
        )
        .join(Component, Component.id == Installation.component_id)
        .join(Car, Car.id == Installation.car_id)
        .where(
            Installation.superseded_at.is_(None),
            Component.kind.in_(RELIEF_KINDS),
            reach.whole(db, Car.owner_id, Car.id),
        )
        .order_by(Installation.from_on, Installation.id)
    )
    found: dict[int, list[tuple[int, date]]] = defaultdict(list)
    for component_id, installation_id, installed_on, tested_on in db.execute(query):
        known = [day for day in (installed_on, tested_on) if day]
        if known:
            found[component_id].append((installation_id, max(known)))
    return found

"""Rows of thousands of cars as the driver gives them, for the columns of `app.bulk`: no objects, nothing converted.

What `store.facts` reads for a few cars, with the same meaning.
"""

from __future__ import annotations

from collections import namedtuple
from collections.abc import Iterable, Iterator, Sequence
from datetime import date, datetime
from functools import lru_cache
from typing import Any, NamedTuple

from sqlalchemy import (
    BigInteger,
    Boolean,
    ColumnElement,
    Date,
    Select,
    and_,
    case,
    func,
    select,
    type_coerce,
)  # fmt: skip
from sqlalchemy.engine import Dialect
from sqlalchemy.orm import Session

from app.bulk.days import WrittenDays
from app.bulk.rows import FITTING, LINING, STENCIL, FleetRows
from app.store import facts as crossing
from app.store.asked import Standpoint, counted, stated
from app.store.bulk import among, plain_rows
from app.store.columns import CarFact
from app.store.derived import DueRow
from app.store.directives import DirectiveMatch
from app.store.open_orders import as_orders, open_query
from app.store.tables import (
    RELIEF_KINDS,
    ApprovalFact,
    Car,
    CarName,
    Component,
    Construction,
    EventRow,
    Fitting,
    Installation,
    LiningFact,
    Ownership,
    ReadingRow,
    Removal,
    ServiceFact,
    Standing,
    StencilFact,
)

AnyRow = tuple[Any, ...]
AnySelect = Select[*tuple[Any, ...]]


def read(
    db: Session, car_ids: Sequence[int], as_of: date, known_at: datetime | None = None
) -> FleetRows:
    """What holds of these cars, in ascending order of their keys, on `as_of`, as known at a moment (None: now)."""
    asked = AskedPlainly(db, car_ids, as_of, known_at)
    days = ("built_on", "rebuilt_on")
    build = [name for name in stated(Construction) if name not in days]
    constructions = asked.latest(Construction, (*days, *build))
    builds, build_of = _distinct(row[3:] for row in constructions)
    service = stated(ServiceFact)
    ladings = asked.latest(ServiceFact, service)
    services, service_of = _distinct(row[1:] for row in ladings)
    return FleetRows(
        car_ids=car_ids,
        builds=[
            (row.specification, crossing.tank_of(row))
            for row in _named(Construction, build, builds)
        ],
        services=[crossing.service_of(row) for row in _named(ServiceFact, service, services)],
        constructions=[(*row[:3], at) for row, at in zip(constructions, build_of, strict=True)],
        ladings=[(row[0], at) for row, at in zip(ladings, service_of, strict=True)],
        linings=asked.latest(LiningFact, LINING),
        fittings=asked.latest(Fitting, FITTING),
        stencils=asked.latest(StencilFact, STENCIL),
        approvals=_approvals(asked),
        devices=_devices(asked),
        events=_events(asked),
        readings=_readings(asked),
        orders=_orders(asked),
    )


class AskedPlainly:
    """Which cars, on which day, as known when (None: now)."""

    def __init__(
        self, db: Session, car_ids: Sequence[int], as_of: date, known_at: datetime | None = None
    ) -> None:
        db.flush()
        self.connection, self.car_ids = db.connection(), car_ids
        self.as_of, self.known_at = as_of, known_at

    def among(self, column: ColumnElement[Any]) -> ColumnElement[bool]:
        return among(column, self.car_ids)

    def rows(self, query: AnySelect) -> list[AnyRow]:
        """The driver's own rows."""
        return plain_rows(self.connection, query)

    def in_force(self, table: type[CarFact], query: AnySelect) -> list[AnyRow]:
        """In the order in which a later row replaces an earlier."""
        query = query.where(
            self.among(table.car_id.expression),
            counted(table, self.known_at),
            table.from_on <= self.as_of,
        )
        return self.rows(query.order_by(table.car_id, table.from_on, table.id))

    def latest(self, table: type[CarFact], names: Iterable[str]) -> list[AnyRow]:
        """The row in force of each car: its key and these columns."""
        query = select(table.car_id, *(getattr(table, name) for name in names))
        return list({row[0]: row for row in self.in_force(table, query)}.values())


def _distinct(rows: Iterable[AnyRow]) -> tuple[list[AnyRow], list[int]]:
    """The distinct rows, and which of them each is."""
    places: dict[AnyRow, int] = {}
    which = [places.setdefault(row, len(places)) for row in rows]
    return list(places), which


def _named(table: type[CarFact], names: Sequence[str], rows: Iterable[AnyRow]) -> Iterator[Any]:
    """Few rows with their names, yes and no as such, as `store.facts` reads them."""
    row_class = namedtuple("row_class", names)  # type: ignore[misc]  # the table's own names
    flags = [isinstance(getattr(table, name).type, Boolean) for name in names]
    for row in rows:
        pairs = zip(row, flags, strict=True)
        yield row_class._make(
            bool(value) if flag and value is not None else value for value, flag in pairs
        )


def _approvals(asked: AskedPlainly) -> list[AnyRow]:
    query = select(
        ApprovalFact.car_id, ApprovalFact.item, ApprovalFact.reference,
        ApprovalFact.interval_months, ApprovalFact.stenciled,
    )  # fmt: skip
    # One without an interval ends the one of its item and reference.
    held = {row[:3]: row for row in asked.in_force(ApprovalFact, query)}
    return [
        (car_id, item, months, stenciled)
        for car_id, item, _, months, stenciled in held.values()
        if months
    ]


def _devices(asked: AskedPlainly) -> list[AnyRow]:
    gone = and_(
        Removal.installation_id == Installation.id,
        Removal.removed_on <= asked.as_of,
        counted(Removal, asked.known_at),
    )
    query = (
        select(
            Installation.car_id, Component.kind, Installation.installed_on,
            Installation.installed_month_only, Installation.tested_on,
            Installation.protected_in_storage, Installation.owner_interval_months,
        )
        .join(Component, Component.id == Installation.component_id)
        .outerjoin(Removal, gone)
        .where(Removal.id.is_(None), Component.kind.in_(RELIEF_KINDS))
    )  # fmt: skip
    rows = asked.in_force(Installation, query)
    return [(car_id, RELIEF_KINDS[kind], *rest) for car_id, kind, *rest in rows]


def _events(asked: AskedPlainly) -> list[AnyRow]:
    query = (
        select(
            EventRow.car_id, EventRow.id, EventRow.happened_on, EventRow.items, EventRow.outcome,
            EventRow.opens,
        )
        .where(
            asked.among(EventRow.car_id.expression),
            counted(EventRow, asked.known_at),
            EventRow.happened_on <= asked.as_of,
        )
        .order_by(
            EventRow.car_id,
            EventRow.happened_on,
            func.coalesce(EventRow.original_id, EventRow.id),
        )
    )  # fmt: skip
    return asked.rows(query)


def _readings(asked: AskedPlainly) -> list[AnyRow]:
    millionths = type_coerce(ReadingRow.inches, BigInteger)
    # Twice, so that there is room between two for what was stated in millimetres and so lies between them.
    twice = 2 * millionths + case((ReadingRow.stated.is_(None), 0), else_=1)
    columns = (ReadingRow.event_id, ReadingRow.zone, twice)
    return asked.rows(select(*columns).where(asked.among(ReadingRow.car_id.expression)))


def _orders(asked: AskedPlainly) -> list[AnyRow]:
    """Few rows, so with their days as such."""
    query = open_query(asked.as_of, asked.known_at).where(
        asked.among(DirectiveMatch.car_id.expression)
    )
    return [order[:3] for order in as_orders(asked.connection.execute(query))]


def in_record(db: Session, car_ids: Sequence[int], as_of: date) -> dict[int, AnyRow]:
    """By car its mark, number, owner, region and standing; a car without a name or an owner is not there."""
    asked = AskedPlainly(db, car_ids, as_of)
    owners = {row[0]: row[1:] for row in asked.latest(Ownership, ("owner_id", "region"))}
    standings: dict[int, str] = dict(asked.latest(Standing, ("standing",)))
    return {
        car_id: (mark, number, *owners[car_id], standings.get(car_id, "in_service"))
        for car_id, mark, number in asked.latest(CarName, ("mark", "number"))
        if car_id in owners
    }


class InRegister(NamedTuple):
    """What lists show and filter a car by, beside its due items."""

    mark: str
    number: int
    owner_id: int
    region: str
    standing: str
    specification: str
    built_on: date | None
    commodity: str


def in_register(db: Session, car_ids: Sequence[int], at: Standpoint) -> dict[int, InRegister]:
    """By car what lists say of it, seen from a day and a moment.

    A car that was not built by that day is not there, nor one of which no name, owner or
    specification was known; `store.facts.load` leaves out the latter too.
    """
    asked = AskedPlainly(db, car_ids, at.as_of, at.known_at)
    owners = {row[0]: row[1:] for row in asked.latest(Ownership, ("owner_id", "region"))}
    standings: dict[int, str] = dict(asked.latest(Standing, ("standing",)))
    ladings: dict[int, str] = dict(asked.latest(ServiceFact, ("commodity",)))
    builds = {row[0]: row[1:] for row in asked.latest(Construction, ("specification", "built_on"))}
    found = {}
    for car_id, mark, number in asked.latest(CarName, ("mark", "number")):
        if car_id not in owners or car_id not in builds:
            continue
        (owner_id, region), (specification, built) = owners[car_id], builds[car_id]
        built_on = day_of(built)
        if built_on is None or built_on <= at.as_of:
            found[car_id] = InRegister(
                mark, number, owner_id, region, standings.get(car_id, "in_service"),
                specification, built_on, ladings.get(car_id, ""),
            )  # fmt: skip
    return found


def day_of(given: date | str | None) -> date | None:
    """A day as some driver gives it."""
    return date.fromisoformat(given) if isinstance(given, str) else given


def stored_items(db: Session, car_ids: Sequence[int], names: Sequence[str]) -> list[AnyRow]:
    """Columns of the stored due items of these cars, by car and item."""
    asked = AskedPlainly(db, car_ids, date.max)
    query = select(*(getattr(DueRow, name) for name in names))
    query = query.where(asked.among(DueRow.car_id.expression))
    return asked.rows(query.order_by(DueRow.car_id, DueRow.item_no))


def shared_by_items(db: Session, car_ids: Sequence[int], names: Sequence[str]) -> list[AnyRow]:
    """What the stored due items of these cars say of their car: a row a car, more where they disagree."""
    asked = AskedPlainly(db, car_ids, date.max)
    query = select(DueRow.car_id, *(getattr(DueRow, name) for name in names))
    return asked.rows(query.where(asked.among(DueRow.car_id.expression)).distinct())


def projections(db: Session, car_ids: Sequence[int], names: Sequence[str]) -> list[AnyRow]:
    """Columns of the cars themselves."""
    asked = AskedPlainly(db, car_ids, date.max)
    return asked.rows(
        select(*(getattr(Car, name) for name in names)).where(asked.among(Car.id.expression))
    )


def written_days(db: Session) -> WrittenDays:
    """How this database's driver gives and takes a day."""
    return _written(db.get_bind().dialect)


@lru_cache
def _written(dialect: Dialect) -> WrittenDays:
    process = Date().dialect_impl(dialect).bind_processor(dialect)
    return WrittenDays(process) if process else WrittenDays()

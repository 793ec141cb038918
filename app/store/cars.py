"""Questions about cars: one by its key or name, the fleet register, and everything ever recorded of one."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Any, Generic, TypeVar

from sqlalchemy import ColumnElement, Row, func, inspect, or_, select, true
from sqlalchemy.orm import Session

from app.errors import NotFound
from app.store import due, reach
from app.store.columns import CarFact
from app.store.names import EVERY_NAME, NamePrefix, matches
from app.store.paging import Cursor, Page, Value, page_of
from app.store.tables import (
    IN_RECORD,
    OUT_OF_RECORD,
    ApprovalFact,
    Car,
    CarName,
    Construction,
    Fitting,
    HoldFact,
    LiningFact,
    Ownership,
    Party,
    ServiceFact,
    Standing,
    StencilFact,
    Withdrawal,
)
from app.store.visits import VisitStep

F = TypeVar("F", bound=CarFact)


def car_or_raise(db: Session, car_id: int) -> Car:
    """The car, when the session reaches all of it; NotFound as well when there is none."""
    if (car := _whole(db, car_id)) is None:
        raise unknown(car_id)
    return car


def part_or_raise(db: Session, car_id: int) -> tuple[Car, frozenset[str] | None]:
    """The car and which of its items the session reaches (None: all of it); NotFound when none."""
    if (car := _whole(db, car_id)) is not None:
        return car, None
    items = reach.some_items_of(db, car_id)
    car = db.get(Car, car_id) if items else None
    if car is None:
        raise unknown(car_id)
    return car, items


def _whole(db: Session, car_id: int) -> Car | None:
    """The car, when the session reaches all of it."""
    found = select(Car).where(Car.id == car_id, reach.whole(db, Car.owner_id, Car.id))
    return db.scalars(found).first()


def reached(db: Session, car_id: int) -> bool:
    """Whether the session reaches all of the car, as after a change that may have given it away."""
    found = select(Car.id).where(Car.id == car_id, reach.whole(db, Car.owner_id, Car.id))
    return db.scalar(found) is not None


def owned(db: Session, car: Car) -> bool:
    """Whether the car is the session's own, not merely shared with it."""
    parties = reach.of(db).parties
    return parties is None or car.owner_id in parties


def just_changed(db: Session, car_id: int) -> tuple[Car, bool]:
    """A car that the session changed just now, and whether it still reaches any of it."""
    found = select(Car.id).where(Car.id == car_id, reach.some(db, Car.owner_id, Car.id))
    return db.get_one(Car, car_id), db.scalar(found) is not None


def locked(db: Session, car_ids: Sequence[int], items: Collection[str] | None = None) -> list[Car]:
    """These cars, in the order asked for, to be changed; whoever else changes them waits.

    Raises NotFound naming a key that the register lacks. With `items` a car will do of which the
    session reaches just these due items.
    """
    reachable = reach.whole if items is None else reach.some
    query = (
        select(Car)
        .where(Car.id.in_(car_ids), reachable(db, Car.owner_id, Car.id))
        .order_by(Car.id)
        .with_for_update()
    )
    query = query.execution_options(populate_existing=True)
    found = {car.id: car for car in db.scalars(query)}
    for car_id in car_ids:
        if car_id not in found or not _covers(db, car_id, items):
            raise unknown(car_id)
    return [found[car_id] for car_id in car_ids]


def _covers(db: Session, car_id: int, items: Collection[str] | None) -> bool:
    if items is None or reach.of(db).parties is None:
        return True
    reached = reach.items_of(db, car_id)
    return reached is None or set(items) <= reached


def locked_one(db: Session, car_id: int) -> Car:
    return locked(db, [car_id])[0]


def unknown(car_id: int) -> NotFound:
    return NotFound(f"There is no car with the key {car_id} in the register.")


def by_name(db: Session, mark: str, number: int) -> Car | None:
    """The car in record under this name today; a sold or scrapped car has given its name up."""
    return db.scalars(
        select(Car).where(
            Car.mark == mark,
            Car.number == number,
            Car.standing.in_(IN_RECORD),
            reach.whole(db, Car.owner_id, Car.id),
        )
    ).first()


def built(db: Session, car_ids: Collection[int]) -> dict[int, date | None]:
    """On which day those of these cars that are reached as a whole were built."""
    of = select(Car.id, Car.built_on).where(
        Car.id.in_(car_ids), reach.whole(db, Car.owner_id, Car.id)
    )
    return {row.id: row.built_on for row in db.execute(of)}


def once_named(db: Session, mark: str, number: int) -> Sequence[Car]:
    """Every car that ever bore this name, those out of record among them."""
    named = select(CarName.car_id).where(
        CarName.mark == mark, CarName.number == number, CarName.superseded_at.is_(None)
    )
    mine = reach.whole(db, Car.owner_id, Car.id)
    return db.scalars(select(Car).where(Car.id.in_(named), mine).order_by(Car.id)).all()


# A name with its mark was borne by few; more would be no search but a list.
MOST_ONCE_NAMED = 500


def once_beginning(db: Session, prefix: NamePrefix) -> tuple[int, ...]:
    """Cars that once bore a name beginning so, and bear another now; none unless mark and number are given."""
    if not (prefix.mark and prefix.digits):
        return ()
    query = (
        select(CarName.car_id)
        .join(Car, Car.id == CarName.car_id)
        .where(
            matches(prefix, CarName.mark.expression, CarName.number.expression),
            CarName.superseded_at.is_(None),
            or_(Car.mark != CarName.mark, Car.number != CarName.number),
            reach.some(db, Car.owner_id, Car.id),
        )
        .distinct()
        .limit(MOST_ONCE_NAMED)
    )
    return tuple(db.scalars(query))


@dataclass(frozen=True, slots=True)
class RegisterFilter:
    """What the fleet register shows. `standing` None is every car in record; "all" is every car.

    `once_so_named` are cars that the search finds besides, by a name they had (`once_beginning`);
    `whole_only` leaves out cars of which only some items are reached.
    """

    search: NamePrefix = EVERY_NAME
    once_so_named: tuple[int, ...] = ()
    owner_id: int | None = None
    region: str | None = None
    standing: str | None = None
    specification_class: str | None = None
    commodity: str | None = None
    whole_only: bool = False


@dataclass(frozen=True, slots=True)
class CarListRow:
    id: int
    mark: str
    number: int
    owner_id: int
    owner: str
    region: str
    standing: str
    specification: str
    commodity: str
    built_on: date | None
    next_item: str | None
    next_state: str | None
    next_due_on: date | None
    # Whether all of the car is reached; else the row says only what the session may know.
    whole: bool = True

    @property
    def name(self) -> str:
        return f"{self.mark} {self.number}"


def register(
    db: Session, wanted: RegisterFilter, after: str | None = None, limit: int = 50
) -> Page[CarListRow]:
    """Cars by mark, then number; `after` is a cursor of an earlier page."""
    query = (
        select(
            Car.id, Car.mark, Car.number, Car.owner_id, Party.name, Car.region, Car.standing,
            Car.specification, Car.commodity, Car.built_on,
            Car.next_item, Car.next_state, Car.next_due_on,
            reach.whole(db, Car.owner_id, Car.id),
        )
        .join(Party, Party.id == Car.owner_id)
        .where(*conditions(db, wanted))
    )  # fmt: skip
    keys: list[ColumnElement[Any]] = [Car.mark.expression, Car.number.expression, Car.id.expression]
    page = page_of(db, query, keys, (str, int, int), after, limit, _listed)
    return replace(page, rows=_as_reached(db, page.rows)) if reach.of(db).partial else page


def _as_reached(db: Session, rows: Sequence[CarListRow]) -> tuple[CarListRow, ...]:
    """Of a car that is reached in part its name, specification and owner, and the first of the items reached."""
    first = due.first(db, [row.id for row in rows if not row.whole])
    return tuple(row if row.whole else _partly(row, first.get(row.id)) for row in rows)


def _partly(row: CarListRow, first: due.First | None) -> CarListRow:
    item, state, due_on = first or (None, None, None)
    return replace(
        row, region="", commodity="", built_on=None,
        next_item=item, next_state=state, next_due_on=due_on,
    )  # fmt: skip


def register_place(row: CarListRow) -> str:
    """The cursor after this row of the register."""
    return Cursor((row.mark, row.number, row.id)).as_text()


def _listed(row: Row[*tuple[Any, ...]]) -> tuple[tuple[Value, ...], CarListRow]:
    shown = CarListRow(*tuple(row))
    return (shown.mark, shown.number, shown.id), shown


def conditions(db: Session, wanted: RegisterFilter) -> list[ColumnElement[bool]]:
    """What a filter asks of a row of `car`, within what the session reaches."""
    named = matches(wanted.search, Car.mark.expression, Car.number.expression)
    conditions = [or_(named, Car.id.in_(wanted.once_so_named)) if wanted.once_so_named else named]
    # What a car of which only some items are reached carries and where it is, is not to be found out either.
    asks_owner = wanted.region is not None or wanted.commodity is not None or wanted.whole_only
    reachable = reach.whole if asks_owner else reach.some
    conditions.append(reachable(db, Car.owner_id, Car.id))
    if wanted.standing is None:
        # Said the other way round it would lure SQLite from the index that has the order.
        conditions.append(Car.standing.not_in(OUT_OF_RECORD))
    elif wanted.standing != "all":
        conditions.append(Car.standing == wanted.standing)
    for column, value in (
        (Car.owner_id, wanted.owner_id),
        (Car.region, wanted.region),
        (Car.specification_class, wanted.specification_class),
        (Car.commodity, wanted.commodity),
    ):
        conditions.append(true() if value is None else column == value)
    return conditions


@dataclass(frozen=True, slots=True)
class Recorded(Generic[F]):
    """A row as it was recorded; `in_force` when it is what holds now."""

    row: F
    in_force: bool
    withdrawal: Withdrawal | None


@dataclass(frozen=True, slots=True)
class Histories:
    """Every row ever recorded of a car, latest first, those that were corrected among them."""

    names: tuple[Recorded[CarName], ...]
    ownerships: tuple[Recorded[Ownership], ...]
    standings: tuple[Recorded[Standing], ...]
    holds: tuple[Recorded[HoldFact], ...]
    constructions: tuple[Recorded[Construction], ...]
    services: tuple[Recorded[ServiceFact], ...]
    linings: tuple[Recorded[LiningFact], ...]
    fittings: tuple[Recorded[Fitting], ...]
    stencils: tuple[Recorded[StencilFact], ...]
    approvals: tuple[Recorded[ApprovalFact], ...]
    parties: dict[int, str]


def histories(db: Session, car_id: int) -> Histories:
    return Histories(
        names=_recorded(db, CarName, car_id),
        ownerships=_recorded(db, Ownership, car_id),
        standings=_recorded(db, Standing, car_id),
        holds=_recorded(db, HoldFact, car_id),
        constructions=_recorded(db, Construction, car_id),
        services=_recorded(db, ServiceFact, car_id),
        linings=_recorded(db, LiningFact, car_id),
        fittings=_recorded(db, Fitting, car_id),
        stencils=_recorded(db, StencilFact, car_id),
        approvals=_recorded(db, ApprovalFact, car_id),
        parties=party_names(db),
    )


def _recorded(db: Session, table: type[F], car_id: int) -> tuple[Recorded[F], ...]:
    rows = db.scalars(
        select(table).where(table.car_id == car_id).order_by(table.from_on.desc(), table.id.desc())
    ).all()
    withdrawn = withdrawals(
        db, str(inspect(table).local_table), [row.id for row in rows if row.superseded_at]
    )
    held: set[object] = set()
    return tuple(Recorded(row, _first_in_force(row, held), withdrawn.get(row.id)) for row in rows)


def _first_in_force(row: CarFact, held: set[object]) -> bool:
    # Approvals stand side by side, one an item and reference; of every other fact one row holds.
    kind = (row.item, row.reference) if isinstance(row, ApprovalFact) else None
    if row.superseded_at is not None or kind in held:
        return False
    held.add(kind)
    return True


def withdrawals(db: Session, table: str, row_ids: Sequence[int]) -> dict[int, Withdrawal]:
    """Who withdrew these rows, and why; rows that were corrected or taken back are not among them."""
    if not row_ids:
        return {}
    found = db.scalars(
        select(Withdrawal).where(Withdrawal.table_name == table, Withdrawal.row_id.in_(row_ids))
    )
    return {each.row_id: each for each in found}


def highest_key(db: Session) -> int:
    """The key of the last car registered: about how many cars there are, for next to nothing."""
    return db.scalar(select(func.max(Car.id))) or 0


def newest(db: Session) -> tuple[int | None, ...]:
    """The latest row of all that decides what the register is filtered by; while they stay, so do its choices."""
    facts = (Ownership, Construction, ServiceFact, Standing, VisitStep, Withdrawal)
    latest = (select(func.max(table.id)).scalar_subquery() for table in facts)
    return tuple(db.execute(select(*latest)).one())


def any_reached(db: Session) -> ColumnElement[bool]:
    """Whether the session reaches any car at all."""
    return select(Car.id).where(reach.some(db, Car.owner_id, Car.id)).exists()


def highest_key_reached(db: Session) -> int:
    """As `highest_key`; 0 when the session reaches no car at all."""
    mine = select(Car.id).where(reach.some(db, Car.owner_id, Car.id)).limit(1)
    return highest_key(db) if db.scalar(mine) else 0


def party_names(db: Session) -> dict[int, str]:
    """The name of every party, for rows that the session may see."""
    return dict(db.execute(select(Party.id, Party.name)).all())


def own_party_names(db: Session) -> list[str]:
    """The names of the session's own parties and of those they keep, to choose from."""
    return sorted(db.scalars(select(Party.name).where(reach.owned(db, Party.id))))


def party_by_name(db: Session, name: str) -> Party | None:
    """The party of this name among the session's own and those they keep."""
    return db.scalars(
        select(Party)
        .where(Party.name == name, reach.owned(db, Party.id))
        .order_by(Party.kept_by.is_not(None), Party.id)
    ).first()


def party_anywhere(db: Session, name: str) -> Party | None:
    """The party of this name that stands for itself, whoever's it is; else one that the session keeps.

    So a name means the same company whether or not somebody used it here before.
    """
    alone = select(Party).where(Party.name == name, Party.kept_by.is_(None))
    return db.scalars(alone).first() or party_by_name(db, name)


def keeper(db: Session) -> int | None:
    """Who keeps the records of a party that this session adds; None before anybody was set up."""
    if members := reach.of(db).members:
        return min(members)
    return db.scalar(select(Party.id).where(Party.keeps_register))


def all_ids(db: Session) -> Sequence[int]:
    """The key of every car ever recorded, in order."""
    return db.scalars(select(Car.id).order_by(Car.id)).all()

"""Questions of a file that is being brought in: many rows a query, plain rows, nothing mapped."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator, Sequence
from datetime import date
from typing import Any, NamedTuple

from sqlalchemy import Row, Table, and_, exists, func, or_, select
from sqlalchemy.orm import Session, aliased

from app.store import reach
from app.store.columns import CarFact
from app.store.derived import ImportRun
from app.store.names import Name
from app.store.tables import (
    IN_RECORD,
    Car,
    CarName,
    Component,
    EventRow,
    Installation,
    Lading,
    Party,
    ReadingRow,
    Removal,
    Withdrawal,
)

# As many keys as one query takes without coming near any engine's limit of parameters.
AT_ONCE = 5_000


class KnownCar(NamedTuple):
    id: int
    mark: str
    number: int
    owner_id: int
    built_on: date | None
    specification: str

    @property
    def name(self) -> str:
        return f"{self.mark} {self.number}"


def table_of(mapped: type[Any]) -> Table:
    """The table behind a mapped class, for statements that skip the mapping."""
    table = mapped.__table__
    assert isinstance(table, Table)
    return table


def in_parts(keys: Iterable[int]) -> Iterator[list[int]]:
    """The keys in lists short enough for one query."""
    ordered = sorted(set(keys))
    for start in range(0, len(ordered), AT_ONCE):
        yield ordered[start : start + AT_ONCE]


KNOWN = (Car.id, Car.mark, Car.number, Car.owner_id, Car.built_on, Car.specification)


def cars_named(db: Session, names: Collection[Name]) -> dict[Name, KnownCar]:
    """The cars in record that go by these names today."""
    numbers: dict[str, set[int]] = defaultdict(set)
    for mark, number in names:
        numbers[mark].add(number)
    found = {}
    for mark, wanted in numbers.items():
        for part in in_parts(wanted):
            rows = db.execute(
                select(*KNOWN).where(
                    Car.mark == mark,
                    Car.number.in_(part),
                    Car.standing.in_(IN_RECORD),
                    reach.whole(db, Car.owner_id, Car.id),
                )
            )
            found.update({(row.mark, row.number): KnownCar(*row) for row in rows})
    return found


def names_now(db: Session, names: Collection[Name]) -> dict[Name, str]:
    """For names that a car in record once bore: what it is called today."""
    found: dict[Name, str] = {}
    for mark in {mark for mark, _ in names}:
        for part in in_parts(number for of, number in names if of == mark):
            rows = db.execute(
                select(CarName.mark, CarName.number, Car.mark, Car.number)
                .join(Car, Car.id == CarName.car_id)
                .where(
                    CarName.mark == mark,
                    CarName.number.in_(part),
                    CarName.superseded_at.is_(None),
                    Car.standing.in_(IN_RECORD),
                    reach.whole(db, Car.owner_id, Car.id),
                )
            )
            found.update({(row[0], row[1]): f"{row[2]} {row[3]}" for row in rows})
    return found


def facts_of(
    db: Session, table: type[CarFact], car_ids: Collection[int]
) -> dict[int, list[dict[str, Any]]]:
    """The rows of each car that count, in the order in which a later one replaces an earlier."""
    held = table_of(table)
    found: dict[int, list[dict[str, Any]]] = defaultdict(list)
    for part in in_parts(car_ids):
        query = (
            select(held)
            .where(held.c.car_id.in_(part), held.c.superseded_at.is_(None))
            .order_by(held.c.car_id, held.c.from_on, held.c.id)
        )
        for row in db.execute(query):
            found[row.car_id].append(dict(row._mapping))
    return found


def first_events(db: Session, car_ids: Collection[int]) -> dict[int, date]:
    """The earliest event that counts of each car."""
    found: dict[int, date] = {}
    for part in in_parts(car_ids):
        rows = db.execute(
            select(EventRow.car_id, func.min(EventRow.happened_on))
            .where(EventRow.car_id.in_(part), EventRow.superseded_at.is_(None))
            .group_by(EventRow.car_id)
        )
        found.update(dict(rows.all()))
    return found


def events_of(db: Session, car_ids: Collection[int]) -> Iterator[Row[Any]]:
    """The events of these cars that count, and those that were corrected or withdrawn by hand.

    The latter so that a file brought in again is known for what it is. What was taken back with its
    import is not among them.
    """
    held = table_of(EventRow)
    for part in in_parts(car_ids):
        yield from db.execute(
            select(held).where(held.c.car_id.in_(part), _told(EventRow)).order_by(held.c.id)
        )


def _told(table: type[EventRow] | type[Installation]) -> Any:
    """Counts, or was corrected or withdrawn by somebody."""
    later = aliased(table)
    corrected = exists().where(later.corrects == table.id)
    withdrawn = exists().where(
        and_(Withdrawal.table_name == table.__tablename__, Withdrawal.row_id == table.id)
    )
    return or_(table.superseded_at.is_(None), corrected, withdrawn)


def readings_of(db: Session, event_ids: Collection[int]) -> dict[int, list[Any]]:
    """The readings of each event, in their places."""
    found: dict[int, list[Any]] = defaultdict(list)
    for part in in_parts(event_ids):
        query = (
            select(
                ReadingRow.event_id, ReadingRow.zone, ReadingRow.inches, ReadingRow.extent,
                ReadingRow.span_in, ReadingRow.apart_in,
            )
            .where(ReadingRow.event_id.in_(part))
            .order_by(ReadingRow.event_id, ReadingRow.place)
        )  # fmt: skip
        for row in db.execute(query):
            found[row.event_id].append(row)
    return found


def mounted_on(db: Session, car_ids: Collection[int]) -> dict[int, list[dict[str, Any]]]:
    """What is or was mounted on each car, oldest row first, with `removed_on` and the component.

    Rows that were corrected or withdrawn by hand are among them, for the reason of `events_of`.
    """
    found: dict[int, list[dict[str, Any]]] = defaultdict(list)
    gone = and_(Removal.installation_id == Installation.id, Removal.superseded_at.is_(None))
    for part in in_parts(car_ids):
        query = (
            select(
                table_of(Installation), Component.kind, Component.maker, Component.model,
                Component.lot, Component.serial, Removal.removed_on,
            )
            .join(Component, Component.id == Installation.component_id)
            .outerjoin(Removal, gone)
            .where(Installation.car_id.in_(part), _told(Installation))
            .order_by(Installation.id)
        )  # fmt: skip
        for row in db.execute(query):
            found[row.car_id].append(dict(row._mapping))
    return found


def parties(db: Session) -> dict[int, str]:
    """The names of the session's own parties and of those that they keep."""
    return dict(db.execute(select(Party.id, Party.name).where(reach.owned(db, Party.id))).all())


def parties_alone(db: Session) -> dict[int, str]:
    """The names of the parties that stand for themselves, whoever's they are."""
    return dict(db.execute(select(Party.id, Party.name).where(Party.kept_by.is_(None))).all())


def keepers(db: Session) -> dict[int, int]:
    """Who keeps the records of each party."""
    return dict(db.execute(select(Party.id, func.coalesce(Party.kept_by, Party.id))).all())


def ladings(db: Session) -> dict[str, dict[str, Any]]:
    """The list of ladings by name in small letters."""
    rows = db.execute(select(table_of(Lading)))
    return {row.name.casefold(): dict(row._mapping) for row in rows}


def reserve(db: Session, table: Table, count: int) -> Sequence[int]:
    """Keys for `count` new rows, which nobody else will get.

    PostgreSQL hands them out of the table's own sequence; on SQLite the caller has the write lock.
    """
    if db.get_bind().dialect.name == "postgresql":
        sequence = func.pg_get_serial_sequence(table.name, "id")
        keys = select(func.nextval(sequence)).select_from(func.generate_series(1, count))
        return db.scalars(keys).all()
    last = db.scalar(select(func.max(table.c.id))) or 0
    return range(last + 1, last + 1 + count)


def cars_added_by(db: Session, import_id: int) -> list[int]:
    """The cars that an import added: their first name came with it."""
    return list(
        db.scalars(
            select(CarName.car_id).where(
                CarName.import_id == import_id, CarName.superseded_at.is_(None)
            )
        )
    )


def cars_told_of_by(db: Session, tables: Iterable[type[CarFact]], import_id: int) -> set[int]:
    """Every car of which an import brought something that still counts."""
    found: set[int] = set()
    mapped: tuple[type[CarFact] | type[EventRow], ...] = (*tables, EventRow)
    for table in mapped:
        held = table_of(table)
        found.update(
            db.scalars(
                select(held.c.car_id)
                .where(held.c.import_id == import_id, held.c.superseded_at.is_(None))
                .distinct()
            )
        )
    found.update(
        db.scalars(
            select(Installation.car_id)
            .join(Removal, Removal.installation_id == Installation.id)
            .where(Removal.import_id == import_id, Removal.superseded_at.is_(None))
        )
    )
    return found


def names_of(db: Session, car_ids: Collection[int]) -> dict[int, str]:
    """Mark and number of each car."""
    found: dict[int, str] = {}
    for part in in_parts(car_ids):
        rows = db.execute(select(Car.id, Car.mark, Car.number).where(Car.id.in_(part)))
        found.update({key: f"{mark} {number}" for key, mark, number in rows})
    return found


def resting_on(db: Session, table: type[CarFact] | type[EventRow], import_id: int) -> list[int]:
    """Cars that an import added and of which this table learned something elsewhere since."""
    added = select(CarName.car_id).where(
        CarName.import_id == import_id, CarName.superseded_at.is_(None)
    )
    return list(
        db.scalars(
            select(table.car_id)
            .where(
                table.car_id.in_(added),
                table.superseded_at.is_(None),
                or_(table.import_id.is_(None), table.import_id != import_id),
            )
            .distinct()
        )
    )


def corrected_since(
    db: Session, table: type[EventRow] | type[Installation], import_id: int
) -> list[int]:
    """Cars of which a row that an import brought was corrected elsewhere since."""
    earlier = aliased(table)
    return list(
        db.scalars(
            select(table.car_id)
            .join(earlier, earlier.id == table.corrects)
            .where(
                earlier.import_id == import_id,
                table.superseded_at.is_(None),
                or_(table.import_id.is_(None), table.import_id != import_id),
            )
            .distinct()
        )
    )


def removed_since(db: Session, import_id: int) -> list[int]:
    """Cars from which something that an import put on was taken off elsewhere since."""
    return list(
        db.scalars(
            select(Installation.car_id)
            .join(Removal, Removal.installation_id == Installation.id)
            .where(
                Installation.import_id == import_id,
                Removal.superseded_at.is_(None),
                or_(Removal.import_id.is_(None), Removal.import_id != import_id),
            )
            .distinct()
        )
    )


def moved_since(db: Session, import_id: int) -> list[int]:
    """Cars onto which a component that an import brought was put elsewhere since."""
    return list(
        db.scalars(
            select(Installation.car_id)
            .join(Component, Component.id == Installation.component_id)
            .where(
                Component.import_id == import_id,
                Installation.superseded_at.is_(None),
                or_(Installation.import_id.is_(None), Installation.import_id != import_id),
            )
            .distinct()
        )
    )


def replaced_by(db: Session, import_id: int) -> list[dict[str, Any]]:
    """The installations as they stood before an import corrected them, with what replaced each.

    Not those that an import brought which was itself taken back: nobody corrected these.
    """
    later = aliased(Installation)
    taken_back = exists().where(
        and_(ImportRun.id == Installation.import_id, ImportRun.taken_back_at.is_not(None))
    )
    rows = db.execute(
        select(table_of(Installation), later.id.label("replaced_by"))
        .join(later, later.corrects == Installation.id)
        .where(later.import_id == import_id, later.superseded_at.is_(None), ~taken_back)
        .order_by(Installation.id)
    )
    return [dict(row._mapping) for row in rows]

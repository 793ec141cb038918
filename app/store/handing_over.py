"""Cars handed over to another register, and what a car's rows said of their recording in the one they came from.

Also the rows that go along with a car: all that was recorded of it, of other cars nothing. Visits to shops stay,
and so do accounts: of people only the names go that rows and reports bear.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from sqlalchemy import (
    Column,
    Date,
    ForeignKey,
    String,
    Table,
    UniqueConstraint,
    and_,
    func,
    or_,
    select,
)
from sqlalchemy.orm import Mapped, Session, mapped_column

from app.core import measure
from app.errors import NotFound
from app.store import reach
from app.store.columns import BEGINNING, Base, Exact, Id, Key, Moment, Words, table_of
from app.store.field import FieldEntry, Report, ReportEvent
from app.store.kept import plain
from app.store.people import Membership
from app.store.pictures import Photograph
from app.store.retention import RemovalPermit
from app.store.tables import (
    IN_RECORD,
    ApprovalFact,
    Car,
    CarName,
    Component,
    Construction,
    EventRow,
    Fitting,
    HoldFact,
    Installation,
    LiningFact,
    Ownership,
    Party,
    ReadingRow,
    Removal,
    ServiceFact,
    Standing,
    StencilFact,
    Withdrawal,
)

# What goes along, each after what its rows name.
GOES_ALONG: tuple[type[Any], ...] = (
    CarName, Ownership, Standing, HoldFact, Construction, ServiceFact, LiningFact, Fitting,
    StencilFact, ApprovalFact, Component, Installation, Removal, EventRow, ReadingRow, Report,
    FieldEntry, ReportEvent, Photograph, RemovalPermit, Withdrawal,
)  # fmt: skip
# What is told of a car and stays: derived, the business of the register, or about the hand-over itself. Directives
# are told beside the rows (`files.hand_overs.StatedOrder`): an order is whose it is, and issued anew elsewhere.
STAYS_HERE = (
    "due", "due_before", "due_seen", "car_reach", "visit", "visit_plan", "visit_work", "audit_car",
    "directive_match", "told_order", "loading_question", "hand_over", "origin",
)  # fmt: skip
# What the other register has its own of: cars, people, files, visits.
STAYS = ("car_id", "person_id", "import_id", "visit_id")
Rows = Mapping[str, Sequence[Mapping[str, Any]]]


class HandOver(Base):
    """A car was handed over to a party with a register of its own; the file is made of this and the record."""

    __tablename__ = "hand_over"
    id: Mapped[Id]
    recorded_at: Mapped[datetime] = mapped_column(Moment)
    recorded_by: Mapped[Words]
    car_id: Mapped[int] = mapped_column(Key, ForeignKey("car.id"), index=True)
    from_id: Mapped[int] = mapped_column(Key, ForeignKey("party.id"), comment="whose the car was")
    to_id: Mapped[int] = mapped_column(Key, ForeignKey("party.id"), comment="whose it is since")
    handed_on: Mapped[date] = mapped_column(Date)
    ownership_id: Mapped[int] = mapped_column(
        Key, ForeignKey("ownership.id"), comment="the row that says so"
    )
    standing_id: Mapped[int] = mapped_column(
        Key, ForeignKey("standing.id"), comment="the row by which it left"
    )


class Origin(Base):
    """When and by whom a row that came with a car was recorded before, and when it counted no longer."""

    __tablename__ = "origin"
    id: Mapped[Id]
    recorded_at: Mapped[datetime] = mapped_column(Moment)
    recorded_by: Mapped[Words]
    import_id: Mapped[int] = mapped_column(Key, ForeignKey("import_run.id"), index=True)
    car_id: Mapped[int] = mapped_column(Key, ForeignKey("car.id"), index=True)
    table_name: Mapped[str] = mapped_column(String(30))
    row_id: Mapped[int] = mapped_column(Key)
    superseded_at: Mapped[datetime | None] = mapped_column(Moment)
    __table_args__ = (UniqueConstraint("table_name", "row_id"),)


def of_car(db: Session, car_id: int) -> Sequence[HandOver]:
    """The hand-overs of a car that the session reaches, the latest first."""
    query = select(HandOver).where(HandOver.car_id == car_id).order_by(HandOver.id.desc())
    return db.scalars(query).all()


def one_or_raise(db: Session, hand_over_id: int) -> HandOver:
    """A hand-over of a car of the session's own or that it kept."""
    query = (
        select(HandOver)
        .join(Car, Car.id == HandOver.car_id)
        .where(HandOver.id == hand_over_id, reach.owned(db, Car.owner_id))
    )
    found = db.scalars(query).first()
    if found is None:
        raise NotFound(f"There is no hand-over with the number {hand_over_id}.")
    return found


def came_with(db: Session, import_id: int) -> bool:
    """Whether an import was the taking over of a car."""
    return db.scalar(select(Origin.id).where(Origin.import_id == import_id).limit(1)) is not None


def is_at_home(db: Session, party: Party) -> bool:
    """Whether the party has cars in record in this register, or people who look into it."""
    car = select(Car.id).where(Car.owner_id == party.id, Car.standing.in_(IN_RECORD)).limit(1)
    member = select(Membership.id).where(Membership.party_id == party.id).limit(1)
    return any(db.scalar(query) is not None for query in (car, member))


def last_event(db: Session, car_id: int) -> date:
    """The last day on which anything that counts was done to the car; the beginning where nothing was."""
    query = select(func.max(EventRow.happened_on)).where(
        EventRow.car_id == car_id, EventRow.superseded_at.is_(None)
    )
    return db.scalar(query) or BEGINNING


# Rows that go along -----------------------------------------------------------------------------------------------


def rows_of(db: Session, made: HandOver) -> dict[str, list[dict[str, Any]]]:
    """By table what was on record of the car when it was handed over, in the order of the keys, as JSON holds it."""
    names = {party.id: party.name for party in db.scalars(select(Party))}
    found: dict[str, list[dict[str, Any]]] = {}
    for mapped in GOES_ALONG:
        table = table_of(mapped)
        query = select(table).where(_goes_along(table, made.car_id, found))
        if "recorded_at" in table.c:
            query = query.where(table.c.recorded_at <= made.recorded_at)
        rows = db.execute(query.order_by(*table.primary_key.columns)).mappings()
        found[table.name] = [
            _out(table, row, made, names) for row in rows if not _made_by_it(table, row, made)
        ]
    _as_first_recorded(db, made.car_id, found)
    return found


def _as_first_recorded(db: Session, car_id: int, found: Mapping[str, list[dict[str, Any]]]) -> None:
    """Of rows that were taken over themselves the moments at which they were recorded before."""
    by_row = {(row["id"], name): row for name, rows in found.items() for row in rows if "id" in row}
    for each in db.scalars(select(Origin).where(Origin.car_id == car_id)):
        row = by_row.get((each.row_id, each.table_name))
        if row is not None:
            row["recorded_at"] = plain(each.recorded_at)
            if each.superseded_at is not None:
                row["superseded_at"] = plain(each.superseded_at)


def _made_by_it(table: Table, row: Mapping[Any, Any], made: HandOver) -> bool:
    """The rows by which the car left are no part of what it took along."""
    by_it = {"ownership": made.ownership_id, "standing": made.standing_id}
    return table.name in by_it and row["id"] == by_it[table.name]


def _goes_along(table: Table, car_id: int, found: Rows) -> Any:
    """Which rows are the car's; of those without its key by the rows that go already."""
    c = table.c
    match table.name:
        case "component":
            of_car = select(Installation.component_id).where(Installation.car_id == car_id)
            return c.id.in_(of_car)
        case "removal":
            return c.installation_id.in_(_keys(found, "installation"))
        case "reading" | "removal_permit" | "report_event":
            return c.event_id.in_(_keys(found, "event"))
        case "withdrawal":
            return or_(
                *(and_(c.table_name == name, c.row_id.in_(_keys(found, name)))
                  for name, rows in found.items() if rows and "id" in rows[0])
            )  # fmt: skip
    return c.car_id == car_id


def _keys(found: Rows, name: str) -> list[int]:
    return [row["id"] for row in found[name]]


def _out(
    table: Table, row: Mapping[Any, Any], made: HandOver, names: Mapping[int, str]
) -> dict[str, Any]:
    told = {
        column.name: names.get(row[column.name]) if _is_party(column) else plain(row[column.name])
        for column in table.columns
        if column.name not in STAYS
    }
    gone = row.get("superseded_at")
    if gone is not None and gone > made.recorded_at:
        told["superseded_at"] = None
    return told


def _is_party(column: Column[Any]) -> bool:
    return any(each.column.table.name == "party" for each in column.foreign_keys)


def parties_in(table: Table) -> list[str]:
    """The columns of a table that name a party: in a file by its name."""
    return [column.name for column in table.columns if _is_party(column)]


def read_back(table: Table, told: Mapping[str, Any]) -> dict[str, Any]:
    """The values of a row as Python has them. Raises ValueError, TypeError or ArithmeticError for what is none."""
    known = {column.name: column for column in table.columns if column.name not in STAYS}
    # A file of an older version knows of no other units.
    told = {name: None for name in known if name == "stated"} | dict(told)
    if told.keys() != known.keys():
        raise ValueError(f"want the columns {', '.join(known)}")
    values = {name: _value(known[name], value) for name, value in told.items()}
    if values.get("stated"):
        measure.must_agree(values, values["stated"])
    return values


def _value(column: Column[Any], value: Any) -> Any:
    if value is None or _is_party(column):
        return value
    if isinstance(column.type, Exact):
        return Decimal(value)
    if isinstance(column.type, Moment):
        return datetime.fromisoformat(value)
    return date.fromisoformat(value) if isinstance(column.type, Date) else value


def kinds(table: Table) -> Iterator[tuple[str, str]]:
    """The columns that go along, with what their values are."""
    for column in table.columns:
        if column.name not in STAYS:
            kind = "party" if _is_party(column) else type(column.type).__name__.lower()
            yield column.name, kind

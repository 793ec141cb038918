"""Questions about reports of field work: their entries, the events of them, what others recorded meanwhile."""

from __future__ import annotations

import json
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.core.field.entries import Entry
from app.errors import NotFound
from app.store import prepared, reach
from app.store.change_log import canonical
from app.store.field import FieldEntry, Report, ReportEvent
from app.store.tables import Car, EventRow


def hold_cars(db: Session, car_ids: Collection[int]) -> None:
    """Let whoever else records of these cars wait; each transaction takes them in the same order."""
    ordered = select(Car.id).where(Car.id.in_(sorted(car_ids))).order_by(Car.id)
    db.execute(ordered.with_for_update()).all()


def by_key(db: Session, keys: Collection[str]) -> dict[str, Report]:
    """Reports by what tablets call them, whoever began them."""
    found = db.scalars(select(Report).where(Report.key.in_(sorted(keys))))
    return {row.key: row for row in found}


def one_or_raise(db: Session, report_id: int) -> Report:
    """The report, when the session reaches all of its car; NotFound as well when there is none."""
    return _reached(db, Report.id == report_id, str(report_id))


def keyed_or_raise(db: Session, key: str) -> Report:
    return _reached(db, Report.key == key, key)


def _reached(db: Session, condition: reach.Condition, named: str) -> Report:
    found = (
        select(Report)
        .join(Car, Car.id == Report.car_id)
        .where(condition, reach.whole(db, Car.owner_id, Car.id))
    )
    report = db.scalars(found).first()
    if report is None:
        raise NotFound(f"There is no report {named} in the register.")
    return report


def entries(db: Session, reports: Iterable[Report]) -> dict[str, list[Entry]]:
    """By report's key its entries in order."""
    keys = {row.id: row.key for row in reports}
    found: dict[str, list[Entry]] = {key: [] for key in keys.values()}
    rows = db.scalars(
        select(FieldEntry)
        .where(FieldEntry.report_id.in_(sorted(keys)))
        .order_by(FieldEntry.report_id, FieldEntry.place)
    )
    for row in rows:
        found[keys[row.report_id]].append(_entry(keys[row.report_id], row))
    return found


def stored(db: Session, keys: Collection[str]) -> dict[str, Entry]:
    """Those of these entries that were stored before, in whichever report."""
    rows = db.execute(
        select(FieldEntry, Report.key)
        .join(Report, Report.id == FieldEntry.report_id)
        .where(FieldEntry.key.in_(sorted(keys)))
    )
    return {row.key: _entry(report, row) for row, report in rows}


def _entry(report: str, row: FieldEntry) -> Entry:
    says = json.loads(row.says)
    return Entry(row.key, report, row.place, row.kind, row.made_at, row.replaces, says)


def written(says: Mapping[str, Any]) -> str:
    """What an entry says as it is kept; a code is good for a minute and kept nowhere."""
    return canonical({name: value for name, value in says.items() if name != "code"})


def arrivals(db: Session, report_id: int) -> dict[str, datetime]:
    """By key of each entry of a report when it came into the record."""
    rows = db.execute(
        select(FieldEntry.key, FieldEntry.recorded_at).where(FieldEntry.report_id == report_id)
    )
    return {row.key: row.recorded_at for row in rows}


@dataclass(frozen=True, slots=True)
class ReportListed:
    """A report in the list of its car."""

    id: int
    happened_on: date
    recorded_by: str
    recorded_at: datetime
    signed: bool


def of_car(db: Session, car_id: int) -> list[ReportListed]:
    """The reports of a car, the latest first."""
    signed = select(FieldEntry.report_id).where(
        FieldEntry.car_id == car_id, FieldEntry.kind == "signed"
    )
    query = (
        select(
            Report.id, Report.happened_on, Report.recorded_by, Report.recorded_at,
            Report.id.in_(signed),
        )
        .where(Report.car_id == car_id)
        .order_by(Report.happened_on.desc(), Report.id.desc())
    )  # fmt: skip
    return [ReportListed(*row) for row in db.execute(prepared.by_key(query))]


def events_of(db: Session, report_id: int) -> Sequence[EventRow]:
    """What a signed report recorded, each as it was recorded then."""
    return db.scalars(
        select(EventRow)
        .join(ReportEvent, ReportEvent.event_id == EventRow.id)
        .where(ReportEvent.report_id == report_id)
        .order_by(EventRow.id)
    ).all()


def in_force(db: Session, car_id: int, event_ids: Collection[int]) -> set[int]:
    """Of these events of a car those neither corrected nor withdrawn."""
    return set(
        db.scalars(
            select(EventRow.id).where(
                EventRow.id.in_(event_ids),
                EventRow.car_id == car_id,
                EventRow.superseded_at.is_(None),
            )
        )
    )


def recorded_since(db: Session, car_id: int, since: datetime) -> Sequence[EventRow]:
    """Events of a car in force that came into the record after a moment."""
    return db.scalars(
        select(EventRow)
        .where(
            EventRow.car_id == car_id,
            EventRow.recorded_at > since,
            EventRow.superseded_at.is_(None),
        )
        .order_by(EventRow.id)
    ).all()

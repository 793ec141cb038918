"""Recomputing what is due on thousands of cars at once: the columns of `app.bulk`, and only what changed is written."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import date, datetime
from typing import Any

from sqlalchemy.orm import Session

from app.actions.rulebooks import Programme
from app.bulk.answers import DueColumns, due_columns
from app.bulk.rows import FleetRows
from app.core.facts import ITEMS, Settings
from app.core.stencil import decode
from app.store import due, due_before, fleet_rows, rolled
from app.store.bulk import update_ready
from app.store.columns import table_of
from app.store.tables import Car

AnyRow = tuple[Any, ...]
ITEM_COLUMNS = (
    "car_id", "item_no", "state", "due_on", "basis_on", "interval_months",
    "calculated_due_on", "confidence", "rule", "citation",
)  # fmt: skip
SHARED = ("mark", "number", "owner_id", "region", "listed", "hazardous")
PROJECTED = (
    "id", "mark", "number", "owner_id", "region", "standing", "specification",
    "specification_class", "commodity", "built_on", "next_item", "next_state", "next_due_on",
)  # fmt: skip


def columns(
    db: Session,
    known: Mapping[int, AnyRow],
    today: date,
    programme: Programme,
    settings: Settings,
    known_at: datetime | None = None,
) -> Iterator[tuple[FleetRows, DueColumns]]:
    """The due items of cars (`fleet_rows.in_record`), those that go by one owner's rules together.

    As known at a moment (None: now); `programme` are the rules then.
    """
    rows = fleet_rows.read(db, list(known), today, known_at)
    by_rules = defaultdict(list)
    for car_id, (_, _, owner_id, *_) in known.items():
        by_rules[programme.of(owner_id)].append(car_id)
    for laid, cars in by_rules.items():
        some = replace(rows, car_ids=cars)
        read = replace(settings, **laid.settings)  # type: ignore[arg-type]
        yield some, due_columns(some, today, laid.rulebook, read)


def rebuild(
    db: Session, car_ids: Sequence[int], today: date, programme: Programme, settings: Settings
) -> list[int]:
    """Bring stored due items and projections of these cars up to date; gives the cars left to the pure function."""
    ids = sorted(set(car_ids))
    known = fleet_rows.in_record(db, ids, today)
    left = [car_id for car_id in ids if car_id not in known]
    for rows, found in columns(db, known, today, programme, settings):
        left += found.left
        _write_items(db, found, _shared(rows, found, known), today)
        _write_projections(db, _projections(db, rows, found, known, programme))
    return left


def _shared(rows: FleetRows, found: DueColumns, known: Mapping[int, AnyRow]) -> dict[int, AnyRow]:
    """By car what each of its due items says of it, in the order of SHARED."""
    lading: dict[int, int] = dict(rows.ladings)
    shared = {}
    for car_id in rows.car_ids:
        if car_id not in found.left:
            mark, number, owner_id, region, standing = known[car_id]
            hazardous = rows.services[lading[car_id]].hazardous if car_id in lading else True
            shared[car_id] = (mark, number, owner_id, region, standing == "in_service", hazardous)
    return shared


def _projections(
    db: Session,
    rows: FleetRows,
    found: DueColumns,
    known: Mapping[int, AnyRow],
    programme: Programme,
) -> dict[int, AnyRow]:
    """By car what lists show of it, in the order of PROJECTED."""
    tables = programme.everyone.rulebook.stencils
    lading = {car_id: rows.services[place].commodity or "" for car_id, place in rows.ladings}
    built = {car_id: (day, rows.builds[place][0]) for car_id, day, _, place in rows.constructions}
    projections = {}
    for car_id, first in found.first(fleet_rows.written_days(db)):
        mark, number, owner_id, region, standing = known[car_id]
        built_on, specification = built[car_id]
        projections[car_id] = (
            car_id, mark, number, owner_id, region, standing, specification,
            decode(specification, tables).class_, lading.get(car_id, ""), built_on, *first,
        )  # fmt: skip
    return projections


def _write_items(db: Session, found: DueColumns, shared: Mapping[int, AnyRow], today: date) -> None:
    """Put anew the items of those cars of which any is not stored as it is now."""
    ids, fresh = list(shared), found.rows(fleet_rows.written_days(db))
    told = {(car_id, *each) for car_id, each in shared.items()}
    # A car whose items disagree has several rows here, and so is among these whatever they say.
    changed = {
        row[0] for row in told.symmetric_difference(fleet_rows.shared_by_items(db, ids, SHARED))
    }
    stored = fleet_rows.stored_items(db, ids, ITEM_COLUMNS)
    if stored != fresh:
        changed |= {row[0] for row in set(fresh).symmetric_difference(stored)}
    anew = [(*row, ITEMS[row[1]], *shared[row[0]]) for row in fresh if row[0] in changed]
    due_before.keep(db, sorted(changed), today)
    due.replace_ready(db, sorted(changed), (*ITEM_COLUMNS, "item", *SHARED), anew)


def _write_projections(db: Session, projections: Mapping[int, AnyRow]) -> None:
    held = fleet_rows.projections(db, list(projections), PROJECTED)
    changed = [projections[row[0]] for row in held if projections[row[0]] != row]
    rolled.cars_change(db, [row[0] for row in changed])
    update_ready(db, table_of(Car), PROJECTED, changed)

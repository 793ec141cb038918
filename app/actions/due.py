"""Recomputing what is due: the stored due items of cars, and what the lists show of each car."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import date
from typing import Any

from sqlalchemy import bindparam, update
from sqlalchemy.orm import Session

from app import garbage
from app.actions import directive_matches, fleet_due, rulebooks
from app.actions.rulebooks import Programme
from app.actions.stamp import Stamp
from app.core.facts import ITEMS, Due, Settings
from app.core.rule import Rulebook
from app.core.stencil import decode
from app.store import due, due_before, reach, rolled
from app.store import facts as crossing
from app.store import rulebooks as editions
from app.store.facts import CarRecord
from app.store.tables import Car

BATCH = 500
# Cars whose columns are in memory at once, some kilobytes each; and from how many on columns pay.
MANY, FEW = 5_000, 200
PLACE = {item: place for place, item in enumerate(ITEMS)}
Tell = Callable[[int, int], None]


def refresh(
    db: Session, car_ids: Sequence[int], today: date, settings: Settings = crossing.DEFAULTS
) -> None:
    """Rebuild the due items and the projection of these cars, as things are known now.

    Belongs into the transaction of whatever changed them, by way of `settle`.
    """
    with garbage.paused(len(car_ids) > BATCH):
        for first in range(0, len(car_ids), MANY):
            _refresh_some(db, car_ids[first : first + MANY], today, settings)


def settle(db: Session, car_ids: Sequence[int], stamp: Stamp) -> None:
    """Bring up to date what follows from a change of these cars: which directives are about them, and what is due."""
    directive_matches.ask_again(db, car_ids, stamp)
    refresh(db, car_ids, stamp.today)


def refresh_all(
    db: Session, today: date, tell: Tell | None = None, owner_id: int | None = None
) -> int:
    """Rebuild every car, or every car of an owner; `tell` hears how many of how many are done.

    Gives the number of cars.
    """
    every = editions.cars_of(db, owner_id)
    with garbage.paused(len(every) > BATCH):
        for first in range(0, len(every), MANY):
            _refresh_some(db, every[first : first + MANY], today, crossing.DEFAULTS)
            if tell:
                tell(min(first + MANY, len(every)), len(every))
    return len(every)


def _refresh_some(db: Session, car_ids: Sequence[int], today: date, settings: Settings) -> None:
    """Few cars one by one; many as columns, and one by one what those cannot express."""
    editions.hold(db)
    programme = rulebooks.in_force(db)
    every = car_ids
    if len(car_ids) >= FEW:
        car_ids = fleet_due.rebuild(db, car_ids, today, programme, settings)
    for first in range(0, len(car_ids), BATCH):
        _refresh_batch(db, car_ids[first : first + BATCH], today, programme, settings)
    reach.rebuild(db, every, today)
    _forget_projections(db)


def _refresh_batch(
    db: Session, car_ids: Sequence[int], today: date, programme: Programme, settings: Settings
) -> None:
    records = crossing.load(db, car_ids, today, settings=settings)
    rows: list[dict[str, Any]] = []
    projected: list[dict[str, Any]] = []
    for record in records.values():
        items, projection = as_stored(record, programme, today)
        rows += items
        projected.append({"car_id": record.car_id} | _renamed(projection))
    due_before.keep(db, car_ids, today)
    due.replace(db, car_ids, rows)
    rolled.cars_change(db, car_ids)
    if projected:
        db.connection().execute(PROJECT, projected)
    without_facts = [each for each in car_ids if each not in records]
    if without_facts:
        # All that was known came with a file that was taken back.
        db.execute(update(Car).where(Car.id.in_(without_facts)).values(standing="withdrawn"))


def as_stored(
    record: CarRecord, programme: Programme, today: date
) -> tuple[list[dict[str, Any]], dict[str, Any]]:
    """The columns of `due` for each item of a car, and those of `car` that show it in lists."""
    answer = programme.whole_answer(record, today).answer
    shared = _shared(record)
    items = [_row(shared, each) for each in answer.items]
    return items, _projection(record, answer.next, programme.everyone.rulebook)


def _shared(record: CarRecord) -> dict[str, Any]:
    return {
        "car_id": record.car_id,
        "owner_id": record.owner_id,
        "region": record.region,
        "mark": record.car.mark,
        "number": record.car.number,
        "listed": record.standing == "in_service",
        "hazardous": record.car.service.hazardous,
    }


def _row(shared: dict[str, Any], item: Due) -> dict[str, Any]:
    return shared | {
        "item_no": PLACE[item.item],
        "item": item.item,
        "state": item.state,
        "due_on": item.due_on,
        "basis_on": item.basis_on,
        "interval_months": item.interval_months,
        "calculated_due_on": item.calculated_due_on,
        "confidence": item.confidence,
        "rule": item.rule,
        "citation": next((each.citation for each in item.reasons if each.citation), ""),
    }


PROJECT = (
    update(Car.__table__)  # type: ignore[arg-type]
    .where(Car.__table__.c.id == bindparam("car_id"))
    .values(
        {
            name: bindparam(f"new_{name}")
            for name in (
                "owner_id", "mark", "number", "region", "standing", "specification",
                "specification_class", "commodity", "built_on", "next_item", "next_state",
                "next_due_on",
            )
        }
    )
)  # fmt: skip


def _projection(record: CarRecord, first: Due | None, rulebook: Rulebook) -> dict[str, Any]:
    car = record.car
    return {
        "owner_id": record.owner_id,
        "mark": car.mark,
        "number": car.number,
        "region": record.region,
        "standing": record.standing,
        "specification": car.specification,
        "specification_class": decode(car.specification, rulebook.stencils).class_,
        "commodity": car.service.commodity or "",
        "built_on": car.built_on,
        "next_item": first.item if first else None,
        "next_state": first.state if first else None,
        "next_due_on": first.due_on if first else None,
    }


def _renamed(projection: dict[str, Any]) -> dict[str, Any]:
    """By the names in PROJECT: a column's own name there is the value it has."""
    return {f"new_{name}": value for name, value in projection.items()}


def _forget_projections(db: Session) -> None:
    """Cars that the session holds were just changed behind its back."""
    for held in db.identity_map.values():
        if isinstance(held, Car):
            db.expire(held)

"""What lists and reach go by, against the facts it is derived from: whose a car is, who sees it, its name.

The dates themselves are worked out by the calculator, not here.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any

from sqlalchemy import case, func, or_, select
from sqlalchemy.orm import Session

from app.store import reach
from app.store.asked import AnyRow, Asked
from app.store.columns import CarFact, table_of
from app.store.derived import DueRow
from app.store.proof import Tell
from app.store.tables import (
    Car,
    CarName,
    Construction,
    Ownership,
    Party,
    ServiceFact,
    Standing,
)

AT_ONCE = 1_000
CAR, DUE, PARTY = table_of(Car), table_of(DueRow), table_of(Party)
# By column of a car the fact that states it, its column there, and what holds without such a fact.
SHOWN: Mapping[str, tuple[type[CarFact], str, Any]] = {
    "owner_id": (Ownership, "owner_id", None),
    "region": (Ownership, "region", None),
    "mark": (CarName, "mark", None),
    "number": (CarName, "number", None),
    "standing": (Standing, "standing", "in_service"),
    "specification": (Construction, "specification", None),
    "built_on": (Construction, "built_on", None),
    "commodity": (ServiceFact, "commodity", ""),
}
NEEDED = (CarName, Construction, Ownership)
COPIED = ("owner_id", "region", "mark", "number")


def first_not_derived(db: Session, today: date, tell: Tell) -> str | None:
    """The first car that is shown or shared otherwise than its facts in force on this day have it."""
    ids = list(db.connection().execute(select(CAR.c.id).order_by(CAR.c.id)).scalars())
    for first in range(0, len(ids), AT_ONCE):
        some = ids[first : first + AT_ONCE]
        tell("Comparing cars with their facts", first, len(ids))
        wrong = _shown(db, some, today) or _shared(db, some, today)
        if wrong:
            return wrong
    return _kept_by_another(db) or _first_copied(db)


def _shown(db: Session, car_ids: Sequence[int], today: date) -> str | None:
    asked = Asked(db, car_ids, today, None)
    facts = {table: asked.latest(table) for table, _, _ in SHOWN.values()}
    rows = db.connection().execute(select(CAR).where(CAR.c.id.in_(car_ids)).order_by(CAR.c.id))
    for car in map(dict, rows.mappings()):
        held = {table: found.get(car["id"]) for table, found in facts.items()}
        if all(held[table] for table in NEEDED) and (wrong := _first_column(car, held)):
            return f"{_called(car)}: {wrong}"
    return None


def _first_column(
    car: Mapping[str, Any], held: Mapping[type[CarFact], AnyRow | None]
) -> str | None:
    for name, (table, column, unsaid) in SHOWN.items():
        row = held[table]
        stated = unsaid if row is None else getattr(row, column)
        if car[name] != (unsaid if stated is None else stated):
            return f"{name} is stored as {car[name]}, and its facts say {stated}"
    return None


def _shared(db: Session, car_ids: Sequence[int], today: date) -> str | None:
    held, fresh = reach.sharings(db, car_ids, today)
    for car_id, party_id, kind in sorted(held - fresh):
        return (
            f"car {car_id} is shared with party {party_id} ({kind}), and nothing recorded says so"
        )
    for car_id, party_id, kind in sorted(fresh - held):
        return (
            f"car {car_id} is not shared with party {party_id} ({kind}), as what is recorded says"
        )
    return None


def _kept_by_another(db: Session) -> str | None:
    keeper = func.coalesce(PARTY.c.kept_by, PARTY.c.id)
    wanted = (
        select(CAR, keeper.label("keeper"))
        .join(PARTY, PARTY.c.id == CAR.c.owner_id)
        .where(CAR.c.keeper_id != keeper)
        .order_by(CAR.c.id)
    )
    car = db.connection().execute(wanted.limit(1)).mappings().first()
    if car is None:
        return None
    stored, keeper_id = car["keeper_id"], car["keeper"]
    return f"{_called(dict(car))}: keeper_id is stored as {stored}, and its owner's is {keeper_id}"


def _first_copied(db: Session) -> str | None:
    """A due item that is listed under another owner, region or name than its car."""
    in_service = case((CAR.c.standing == "in_service", True), else_=False)
    differs = [DUE.c[name] != CAR.c[name] for name in COPIED]
    wanted = (
        select(CAR, DUE.c.item)
        .join(DUE, DUE.c.car_id == CAR.c.id)
        .where(or_(*differs, DUE.c.listed != in_service))
        .order_by(CAR.c.id, DUE.c.item_no)
    )
    car = db.connection().execute(wanted.limit(1)).mappings().first()
    if car is None:
        return None
    return f"{_called(dict(car))}: {car['item']} is listed otherwise than its car"


def _called(car: Mapping[str, Any]) -> str:
    return f"car {car['mark']} {car['number']} (its key is {car['id']})"

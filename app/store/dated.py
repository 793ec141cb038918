"""Questions about any dated fact of a car, whatever its table."""

from __future__ import annotations

from datetime import date
from typing import TypeVar

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.store.columns import CarFact

F = TypeVar("F", bound=CarFact)


def in_force(db: Session, table: type[F], car_id: int, **kind: str) -> F | None:
    """The row that holds now; `kind` tells facts apart that stand side by side, by column."""
    return db.scalars(
        select(table)
        .where(table.car_id == car_id, table.superseded_at.is_(None))
        .filter_by(**kind)
        .order_by(table.from_on.desc(), table.id.desc())
        .limit(1)
    ).first()


def on_day(db: Session, table: type[F], car_id: int, day: date) -> F | None:
    """The row that held on a day, for all that is known now."""
    return db.scalars(
        select(table)
        .where(table.car_id == car_id, table.superseded_at.is_(None), table.from_on <= day)
        .order_by(table.from_on.desc(), table.id.desc())
        .limit(1)
    ).first()


def corrected_by(db: Session, row: F) -> F | None:
    """The row that took this one's place, if one did."""
    table = type(row)
    return db.scalars(select(table).where(table.corrects == row.id)).first()


def has_others(db: Session, row: CarFact) -> bool:
    """Whether the car has another row of the same table that counts."""
    table = type(row)
    others = select(table.id).where(
        table.car_id == row.car_id, table.superseded_at.is_(None), table.id != row.id
    )
    return db.scalar(others.limit(1)) is not None

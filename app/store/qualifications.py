"""Questions about what people are qualified for."""

from __future__ import annotations

from collections.abc import Sequence

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.core.steps import Held
from app.errors import NotFound
from app.store.cars import withdrawals
from app.store.field_data import Qualification
from app.store.tables import Withdrawal


def counting(db: Session, person_id: int) -> Sequence[Qualification]:
    """Those of a person that count, by method."""
    query = select(Qualification).where(
        Qualification.person_id == person_id, Qualification.superseded_at.is_(None)
    )
    return db.scalars(query.order_by(Qualification.method)).all()


def held(db: Session, person_id: int) -> list[Held]:
    """The same for the calculator."""
    return [Held(row.method, row.level, row.valid_until) for row in counting(db, person_id)]


def of_method(db: Session, person_id: int, method: str) -> Qualification | None:
    return next((row for row in counting(db, person_id) if row.method == method), None)


def one_or_raise(db: Session, person_id: int, qualification_id: int) -> Qualification:
    """A qualification of this person; the caller may see the person."""
    row = db.get(Qualification, qualification_id)
    if row is None or row.person_id != person_id:
        raise NotFound("This person has no such qualification.")
    return row


def withdrawn(db: Session, person_id: int) -> list[tuple[Qualification, Withdrawal]]:
    """Those that somebody withdrew and nobody brought back, the latest first, with who did so and why."""
    query = select(Qualification).where(Qualification.person_id == person_id)
    rows = db.scalars(query.order_by(Qualification.id.desc())).all()
    replaced = {row.corrects for row in rows}
    gone = withdrawals(db, "qualification", [row.id for row in rows if row.id not in replaced])
    return [(row, gone[row.id]) for row in rows if row.id in gone]


def corrected_by(db: Session, row: Qualification) -> Qualification | None:
    """The row that took this one's place, if one did."""
    return db.scalars(select(Qualification).where(Qualification.corrects == row.id)).first()

"""Questions about the list of ladings to choose from."""

from __future__ import annotations

from collections.abc import Sequence

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from app.errors import NotFound
from app.store.tables import Lading


def all(db: Session) -> Sequence[Lading]:  # noqa: A001  read as ladings.all
    """The whole list, by name whatever its capitals."""
    return db.scalars(select(Lading).order_by(func.lower(Lading.name), Lading.id)).all()


def by_name(db: Session, name: str) -> Lading | None:
    return db.scalars(select(Lading).where(Lading.name == name)).first()


def meant(db: Session, name: str, un: str | None) -> Sequence[Lading]:
    """The entries with the identification number where one was written, else with the name whatever its capitals."""
    same = Lading.un == un if un else func.lower(Lading.name) == name.lower()
    return db.scalars(select(Lading).where(same).order_by(func.lower(Lading.name), Lading.id)).all()


def lading_or_raise(db: Session, lading_id: int) -> Lading:
    lading = db.get(Lading, lading_id)
    if lading is None:
        raise NotFound(f"There is no lading with the number {lading_id} in the list.")
    return lading

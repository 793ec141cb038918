"""Questions about the list of ladings to choose from, and what a car would carry with one of them."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from fractions import Fraction

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from app.core import facts as core
from app.errors import NotFound
from app.store.tables import PRESSURES, Lading


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


def service_listed(entry: Lading) -> core.Service:
    """What a car would carry with this entry of the list chosen for it."""
    return core.Service(
        commodity=entry.name,
        un=entry.un,
        hazardous=entry.hazardous,
        hazard_class=entry.hazard_class,
        packing_group=entry.packing_group,
        poison_by_inhalation=entry.poison_by_inhalation,
        corrosive_or_reactive=entry.corrosive_or_reactive,
        corrosion_rate_mil_per_year=_fraction(entry.corrosion_rate_mil_per_year),
        pressures=pressures_listed(entry),
    )


def pressures_listed(entry: Lading) -> core.LadingPressures:
    """What the list says of the pressures of a lading, psig."""
    return core.LadingPressures(**{name: _fraction(getattr(entry, name)) for name in PRESSURES})


def _fraction(stated: Decimal | None) -> Fraction | None:
    return None if stated is None else Fraction(stated)

"""Visits of cars to shops, as steps that happened; and whom a car is shared with because of it."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import Any

from sqlalchemy import ColumnElement, Date, ForeignKey, Index, String, Text, exists
from sqlalchemy.orm import Mapped, mapped_column

from app.store.columns import Base, Key, Recorded, one_of

STEPS = ("planned", "sent", "arrived", "released", "cancelled")
SHARED = ("lining", "equipment", "shop")

BEGUN = ("sent", "arrived")
END = "released"
ENDS = (END, "cancelled")


class Visit(Recorded, Base):
    """A car's going to a shop, with what is to be done there."""

    __tablename__ = "visit"
    car_id: Mapped[int] = mapped_column(Key, ForeignKey("car.id"), index=True)
    shop_id: Mapped[int] = mapped_column(Key, ForeignKey("party.id"), index=True)
    instructions: Mapped[str] = mapped_column(Text, default="")


class VisitStep(Recorded, Base):
    """What a visit came to on a day; the shop reaches the car from `sent` until `released`."""

    __tablename__ = "visit_step"
    visit_id: Mapped[int] = mapped_column(Key, ForeignKey("visit.id"), index=True)
    step: Mapped[str] = mapped_column(String(12))
    happened_on: Mapped[date] = mapped_column(Date)
    __table_args__ = (one_of("step", STEPS),)


class CarReach(Base):
    """A car that a party reaches though it is not its own; derived, rebuilt with the due items."""

    __tablename__ = "car_reach"
    car_id: Mapped[int] = mapped_column(Key, ForeignKey("car.id"), primary_key=True)
    party_id: Mapped[int] = mapped_column(Key, ForeignKey("party.id"), primary_key=True)
    kind: Mapped[str] = mapped_column(String(10), primary_key=True)
    __table_args__ = (
        one_of("kind", SHARED),
        Index("ix_car_reach_party", "party_id", "kind", "car_id"),
    )


def stepped(visit_id: Any, steps: Sequence[str]) -> ColumnElement[bool]:
    """Whether any of these steps counts for the visit of a column."""
    return exists().where(
        VisitStep.visit_id == visit_id,
        VisitStep.superseded_at.is_(None),
        VisitStep.step.in_(steps),
    )

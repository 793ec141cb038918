"""Shop plans: the planner's standards, plans with their versions, what was changed by hand, what was accepted.

Every row is as it was made; another way of planning is another row.
"""

from __future__ import annotations

from datetime import date
from typing import Any, get_args

from sqlalchemy import (
    JSON,
    ColumnElement,
    Date,
    ForeignKey,
    Index,
    LargeBinary,
    String,
    func,
    select,
)
from sqlalchemy.orm import Mapped, mapped_column

from app.core.plan.revise import Kind
from app.store.columns import Base, Key, Made, Words, one_of

CHANGES: tuple[str, ...] = get_args(Kind)


class PlanningBasis(Made, Base):
    """Standards, shops and moves by which a party plans; the latest row of a party counts for new plans."""

    __tablename__ = "planning_basis"
    party_id: Mapped[int] = mapped_column(Key, ForeignKey("party.id"), index=True)
    content: Mapped[dict[str, Any]] = mapped_column(JSON, comment="core.plan.basis.Basis")


class Plan(Made, Base):
    """Which cars are planned over which months; its versions are the ways of doing it."""

    __tablename__ = "plan"
    party_id: Mapped[int] = mapped_column(Key, ForeignKey("party.id"), index=True)
    name: Mapped[Words]
    selection: Mapped[dict[str, Any]] = mapped_column(JSON, comment="core.plan.demand.Selection")


class PlanVersion(Made, Base):
    """A problem and the visits that solve it, as found by the search; hand work follows as changes."""

    __tablename__ = "plan_version"
    plan_id: Mapped[int] = mapped_column(Key, ForeignKey("plan.id"), index=True)
    name: Mapped[Words]
    parent_id: Mapped[int | None] = mapped_column(
        Key, ForeignKey("plan_version.id"), comment="the version it was solved again around"
    )
    content: Mapped[bytes] = mapped_column(
        LargeBinary,
        deferred=True,
        comment="basis, problem, cars' keys, visits, bound, prices: JSON, zlib",
    )


class PlanChange(Made, Base):
    """What a planner changed in a version by hand, one after the other."""

    __tablename__ = "plan_change"
    version_id: Mapped[int] = mapped_column(Key, ForeignKey("plan_version.id"), index=True)
    kind: Mapped[str] = mapped_column(String(10))
    detail: Mapped[dict[str, Any]] = mapped_column(JSON, comment="core.plan.revise.Change")
    __table_args__ = (one_of("kind", CHANGES),)


class PlanAccepted(Made, Base):
    """A version was accepted, and its visits planned; the latest of a plan counts."""

    __tablename__ = "plan_accepted"
    plan_id: Mapped[int] = mapped_column(Key, ForeignKey("plan.id"), index=True)
    version_id: Mapped[int] = mapped_column(Key, ForeignKey("plan_version.id"), index=True)


class VisitPlan(Made, Base):
    """For which month a visit is planned, and the days out of service that it was planned with."""

    __tablename__ = "visit_plan"
    visit_id: Mapped[int] = mapped_column(Key, ForeignKey("visit.id"), unique=True)
    car_id: Mapped[int] = mapped_column(Key, ForeignKey("car.id"))
    version_id: Mapped[int | None] = mapped_column(Key, ForeignKey("plan_version.id"), index=True)
    month: Mapped[date] = mapped_column(Date, comment="its first day")
    days_out: Mapped[int] = mapped_column(comment="days from sent to released, as planned")
    __table_args__ = (Index("ix_visit_plan_month", "month"), Index("ix_visit_plan_car", "car_id"))


class VisitWork(Made, Base):
    """A due item that is to be done in a visit, planned with it or added by the version of another plan."""

    __tablename__ = "visit_work"
    visit_id: Mapped[int] = mapped_column(Key, ForeignKey("visit.id"), index=True)
    car_id: Mapped[int] = mapped_column(Key, ForeignKey("car.id"), index=True)
    item: Mapped[str] = mapped_column(String(30))
    due_on: Mapped[date | None] = mapped_column(Date, comment="as known when it was planned")
    version_id: Mapped[int | None] = mapped_column(
        Key,
        ForeignKey("plan_version.id"),
        index=True,
        comment="the version that added it to a visit planned before",
    )
    adds_days: Mapped[int] = mapped_column(
        default=0, server_default="0", comment="days by which it lengthens a visit planned before"
    )


def days_planned() -> ColumnElement[int]:
    """The days from sent to released for which a visit is planned, with what was added; null where it is not."""
    added = (
        select(func.coalesce(func.sum(VisitWork.adds_days), 0))
        .where(VisitWork.visit_id == VisitPlan.visit_id)
        .correlate(VisitPlan)
        .scalar_subquery()
    )
    return VisitPlan.days_out + added

"""Audits: a sample as it was drawn, what was found of each point, findings and their closing. Rows never change."""

from __future__ import annotations

from datetime import date, datetime
from typing import Any, Literal, get_args

from sqlalchemy import (
    JSON,
    CheckConstraint,
    Date,
    ForeignKey,
    Integer,
    LargeBinary,
    String,
    Text,
    UniqueConstraint,
)
from sqlalchemy.orm import Mapped, mapped_column

from app.core.audit.points import ANSWERS
from app.store.columns import Base, Id, Key, Moment, Words, above_zero, one_of

Severity = Literal["stop", "mend", "remark"]
SEVERITIES: tuple[Severity, ...] = get_args(Severity)
Step = Literal["closed", "reopened"]
STEPS: tuple[Step, ...] = get_args(Step)


class Made:
    """A row that somebody made and nobody changes."""

    id: Mapped[Id]
    recorded_at: Mapped[datetime] = mapped_column(Moment)
    recorded_by: Mapped[Words]


class Audit(Made, Base):
    """A sample as it was drawn: of which cars, seen from which day and moment, by which seed, asked which points."""

    __tablename__ = "audit"
    party_id: Mapped[int] = mapped_column(Key, ForeignKey("party.id"), index=True)
    title: Mapped[Words]
    selection: Mapped[dict[str, Any]] = mapped_column(
        JSON, comment="which list, and its filter as an address holds it"
    )
    in_words: Mapped[str] = mapped_column(Text, comment="the selection, for people")
    as_of: Mapped[date] = mapped_column(Date)
    known_at: Mapped[datetime] = mapped_column(Moment)
    population: Mapped[int] = mapped_column(Integer)
    names: Mapped[bytes] = mapped_column(
        LargeBinary, deferred=True, comment="mark and number of each car drawn from: lines, zlib"
    )
    size: Mapped[int] = mapped_column(Integer)
    seed: Mapped[str] = mapped_column(String(60))
    checklist: Mapped[list[dict[str, str]]] = mapped_column(JSON, comment="core.audit.points.Point")
    __table_args__ = (above_zero("size"), CheckConstraint("size <= population", name="size"))


class AuditCar(Base):
    """A car of the sample, under the name by which it was drawn."""

    __tablename__ = "audit_car"
    id: Mapped[Id]
    audit_id: Mapped[int] = mapped_column(Key, ForeignKey("audit.id"))
    car_id: Mapped[int] = mapped_column(Key, ForeignKey("car.id"), index=True)
    place: Mapped[int] = mapped_column(Integer, comment="in the order of the draw, from 1")
    mark: Mapped[str] = mapped_column(String(4))
    number: Mapped[int] = mapped_column(Integer)
    __table_args__ = (UniqueConstraint("audit_id", "place"),)

    @property
    def name(self) -> str:
        return f"{self.mark} {self.number}"


class AuditAnswer(Made, Base):
    """What was found of a point at a car; the latest of a point counts."""

    __tablename__ = "audit_answer"
    audit_car_id: Mapped[int] = mapped_column(Key, ForeignKey("audit_car.id"), index=True)
    point: Mapped[str] = mapped_column(String(60), comment="its id in the checklist")
    answer: Mapped[str] = mapped_column(String(20))
    note: Mapped[str] = mapped_column(Text, default="")
    __table_args__ = (one_of("answer", ANSWERS),)


class AuditFinding(Made, Base):
    """What is wrong, how bad it is, who sees to it and until when; of a car, or of the audit as a whole."""

    __tablename__ = "audit_finding"
    audit_id: Mapped[int] = mapped_column(Key, ForeignKey("audit.id"), index=True)
    audit_car_id: Mapped[int | None] = mapped_column(Key, ForeignKey("audit_car.id"), index=True)
    point: Mapped[str | None] = mapped_column(String(60))
    what: Mapped[str] = mapped_column(Text)
    severity: Mapped[str] = mapped_column(String(10))
    due_on: Mapped[date | None]
    responsible: Mapped[Words] = mapped_column(default="")
    __table_args__ = (
        one_of("severity", SEVERITIES),
        CheckConstraint("severity = 'remark' OR due_on IS NOT NULL", name="due"),
    )


class AuditFindingStep(Made, Base):
    """A finding was closed with what was done, or opened again; the latest counts."""

    __tablename__ = "audit_finding_step"
    finding_id: Mapped[int] = mapped_column(Key, ForeignKey("audit_finding.id"), index=True)
    step: Mapped[str] = mapped_column(String(10))
    said: Mapped[str] = mapped_column(Text, comment="what was done, or why it is open again")
    evidence: Mapped[str] = mapped_column(Text, default="", comment="where the proof of it is")
    done_on: Mapped[date | None] = mapped_column(
        comment="the day on which it was mended; none: it was opened again, or is not known"
    )
    __table_args__ = (one_of("step", STEPS),)

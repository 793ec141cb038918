"""Reports of field work as a tablet sent them, entry by entry, and the events that came of them. Rows never change."""

from __future__ import annotations

from datetime import date, datetime

from sqlalchemy import CheckConstraint, Date, ForeignKey, Index, Integer, String, Text
from sqlalchemy.orm import Mapped, mapped_column

from app.store.columns import Base, Id, Key, Moment, Words


class Report(Base):
    """What one person records at one car in one go; signed when it has an entry that says so."""

    __tablename__ = "report"
    id: Mapped[Id]
    key: Mapped[str] = mapped_column(
        String(32), unique=True, comment="given by the tablet, 32 hexadecimal digits"
    )
    car_id: Mapped[int] = mapped_column(Key, ForeignKey("car.id"))
    person_id: Mapped[int | None] = mapped_column(
        Key, ForeignKey("person.id"), comment="who began it; null: somebody of another register"
    )
    visit_id: Mapped[int | None] = mapped_column(Key, ForeignKey("visit.id"))
    happened_on: Mapped[date] = mapped_column(Date)
    recorded_at: Mapped[datetime] = mapped_column(Moment)
    recorded_by: Mapped[Words]
    __table_args__ = (
        CheckConstraint("length(key) = 32", name="key"),
        Index("ix_report_by_car", "car_id", "happened_on", "id"),
        Index("ix_report_person", "person_id", "id"),
    )


class FieldEntry(Base):
    """One thing recorded in a report. `place` counts from 1 without gaps, in the order of the tablet."""

    __tablename__ = "field_entry"
    id: Mapped[Id]
    key: Mapped[str] = mapped_column(
        String(32), unique=True, comment="given by the tablet: an entry sent twice is one"
    )
    report_id: Mapped[int] = mapped_column(Key, ForeignKey("report.id"))
    car_id: Mapped[int] = mapped_column(Key, ForeignKey("car.id"), index=True)
    place: Mapped[int] = mapped_column(Integer)
    kind: Mapped[str] = mapped_column(String(20))
    made_at: Mapped[datetime] = mapped_column(Moment, comment="by the tablet's own clock")
    replaces: Mapped[str | None] = mapped_column(
        String(32), comment="key of the entry of this report that it corrects"
    )
    digest: Mapped[str | None] = mapped_column(
        String(64), index=True, comment="of the bytes of a photograph, SHA-256"
    )
    says: Mapped[str] = mapped_column(Text, comment="JSON, as the kind has it; without any code")
    recorded_at: Mapped[datetime] = mapped_column(Moment)
    recorded_by: Mapped[Words]
    __table_args__ = (
        CheckConstraint("length(key) = 32", name="key"),
        CheckConstraint("place >= 1", name="place"),
        Index("uq_field_entry_place", "report_id", "place", unique=True),
    )


class ReportEvent(Base):
    """An event that a signed report recorded; what corrects the event later is found from there."""

    __tablename__ = "report_event"
    report_id: Mapped[int] = mapped_column(Key, ForeignKey("report.id"), primary_key=True)
    event_id: Mapped[int] = mapped_column(Key, ForeignKey("event.id"), primary_key=True, index=True)
    car_id: Mapped[int] = mapped_column(Key, ForeignKey("car.id"), index=True)

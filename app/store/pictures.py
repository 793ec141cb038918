"""Photographs of cars: which there are, of which report or event, and under which sums they lie. Rows never change."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from datetime import datetime
from typing import Any

from sqlalchemy import (
    CheckConstraint,
    ForeignKey,
    Index,
    Integer,
    Select,
    String,
    and_,
    func,
    or_,
    select,
)
from sqlalchemy.orm import InstrumentedAttribute, Mapped, Session, mapped_column

from app.errors import NotFound
from app.store import reach
from app.store.columns import Base, Id, Key, Moment, Words, above_zero, one_of
from app.store.field import Report
from app.store.reach import Condition
from app.store.tables import Car, Party

TYPES = ("image/jpeg", "image/png", "image/webp")
AT_ONCE = 1000


class Photograph(Base):
    """A picture that came whole. What is kept differs from what was sent: it tells no place."""

    __tablename__ = "photograph"
    id: Mapped[Id]
    car_id: Mapped[int] = mapped_column(Key, ForeignKey("car.id"), index=True)
    report_id: Mapped[int | None] = mapped_column(Key, ForeignKey("report.id"))
    event_id: Mapped[int | None] = mapped_column(
        Key, ForeignKey("event.id"), comment="the event to which it was added at a desk"
    )
    sent_sha256: Mapped[str] = mapped_column(String(64), comment="of the bytes as they were sent")
    sent_bytes: Mapped[int] = mapped_column(Integer)
    sha256: Mapped[str] = mapped_column(
        String(64), index=True, comment="of what is kept, and its name among the attachments"
    )
    bytes: Mapped[int] = mapped_column(Integer)
    width: Mapped[int] = mapped_column(Integer, comment="pixels, as it is looked at")
    height: Mapped[int] = mapped_column(Integer)
    type: Mapped[str] = mapped_column(String(10), comment="told by decoding it")
    taken_at: Mapped[str | None] = mapped_column(
        String(25), comment="by the camera's clock, ISO 8601; without an offset unless it told one"
    )
    person_id: Mapped[int | None] = mapped_column(Key, ForeignKey("person.id"))
    recorded_at: Mapped[datetime] = mapped_column(Moment)
    recorded_by: Mapped[Words]
    __table_args__ = (
        one_of("type", TYPES),
        above_zero("bytes"),
        CheckConstraint("width > 0 AND height > 0", name="size"),
        CheckConstraint("length(sha256) = 64 AND length(sent_sha256) = 64", name="sums"),
        CheckConstraint("report_id IS NULL OR event_id IS NULL", name="of_one"),
        Index("uq_photograph_of_report", "report_id", "sent_sha256", unique=True),
        Index("uq_photograph_of_event", "event_id", "sent_sha256", unique=True),
        Index("ix_photograph_sent_sha256", "sent_sha256"),
    )


def report_or_raise(db: Session, key: str) -> Report:
    """The report with this key, at a car that is reached; NotFound otherwise."""
    found = db.scalar(
        select(Report)
        .join(Car, Car.id == Report.car_id)
        .where(Report.key == key, _reached(db, Report.person_id))
    )
    if found is None:
        raise NotFound(f"There is no report {key}. Send what it begins with first.")
    return found


def found_or_raise(db: Session, digest: str) -> Photograph:
    """The picture that was sent or is kept under this sum, of a car that is reached; NotFound otherwise."""
    either = or_(Photograph.sha256 == digest, Photograph.sent_sha256 == digest)
    found = db.scalar(_all(db).where(either).order_by(Photograph.id).limit(1))
    if found is None:
        raise NotFound("There is no such photograph.")
    return found


def that_came(db: Session, sent: str, report_key: str = "") -> Photograph | None:
    """The picture sent under this sum, for this report where one is named, of a car that is reached."""
    wanted = _all(db).where(Photograph.sent_sha256 == sent)
    if report_key:
        wanted = wanted.join(Report, Report.id == Photograph.report_id).where(
            Report.key == report_key
        )
    return db.scalar(wanted.order_by(Photograph.id).limit(1))


def of_report(db: Session, report_id: int, sent: str) -> Photograph | None:
    """The picture sent under this sum for this very report."""
    return db.scalar(
        select(Photograph).where(
            Photograph.report_id == report_id, Photograph.sent_sha256 == sent
        )
    )  # fmt: skip


def sent_of(db: Session, report_id: int, digests: Collection[str]) -> set[str]:
    """Of these sums those under which a picture came for this report."""
    found: set[str] = set()
    ordered = sorted(set(digests))
    for start in range(0, len(ordered), AT_ONCE):
        wanted = select(Photograph.sent_sha256).where(
            Photograph.report_id == report_id,
            Photograph.sent_sha256.in_(ordered[start : start + AT_ONCE]),
        )
        found.update(db.scalars(wanted))
    return found


def of_car(db: Session, car_id: int) -> Sequence[Photograph]:
    """All that is reached of a car's, the newest report or event first."""
    newest = (Photograph.recorded_at.desc(), Photograph.id.desc())
    return db.scalars(_all(db).where(Photograph.car_id == car_id).order_by(*newest)).all()


def every_sum(db: Session) -> Iterator[tuple[str, int, int]]:
    """Sum and bytes of each thing kept, once, and the key of a car that it is of; for the machine itself."""
    kept = (Photograph.sha256, Photograph.bytes)
    wanted = select(*kept, func.min(Photograph.car_id)).group_by(*kept).order_by(Photograph.sha256)
    for row in db.execute(wanted, execution_options={"yield_per": AT_ONCE}):
        yield row[0], row[1], row[2]


def keeps_place(db: Session, car_id: int) -> bool:
    """Whether the owner of a car wants to know where its pictures were taken."""
    wanted = select(Party.keeps_photo_place).join(Car, Car.owner_id == Party.id)
    return bool(db.scalar(wanted.where(Car.id == car_id)))


def _all(db: Session) -> Select[Photograph]:
    return (
        select(Photograph)
        .join(Car, Car.id == Photograph.car_id)
        .where(_reached(db, Photograph.person_id))
    )


def _reached(db: Session, person: InstrumentedAttribute[Any]) -> Condition:
    """Of cars that are reached as a whole; of those reached in part, what the person took oneself."""
    own = and_(
        reach.some(db, Car.owner_id, Car.id), person == reach.of(db).person_id, person.is_not(None)
    )
    return or_(reach.whole(db, Car.owner_id, Car.id), own)

"""Beside the record: derived due rows, files brought in or waiting, work that lasts, and editions of the rules."""

from __future__ import annotations

from datetime import date, datetime
from typing import Any, Literal

from sqlalchemy import (
    JSON,
    Boolean,
    CheckConstraint,
    ForeignKey,
    Index,
    Integer,
    LargeBinary,
    SmallInteger,
    String,
    Text,
)
from sqlalchemy.orm import Mapped, mapped_column

from app.store.columns import Base, Id, Key, Moment, Words, named, one_of

STATES = ("owed", "dated", "by_event", "unknown", "not_required")
JOB_STATES = ("waiting", "running", "done", "failed")
NAMED = ("mark", "number", "item_no")
SHOWN_BY = ("listed", "region")
FILE_KINDS = ("cars", "components", "events", "ladings", "visits")
# What waits may also be the file by which a car comes from another register.
HAND_OVER: Literal["hand_over"] = "hand_over"
UPLOAD_KINDS = (*FILE_KINDS, HAND_OVER)


class DueRow(Base):
    """A due item of a car; what lists sort and filter by is copied from the car, so that one index does."""

    __tablename__ = "due"
    car_id: Mapped[int] = mapped_column(Key, ForeignKey("car.id"), primary_key=True)
    item_no: Mapped[int] = mapped_column(
        SmallInteger, primary_key=True, comment="place in core.facts.ITEMS"
    )
    item: Mapped[str] = mapped_column(String(30))
    state: Mapped[str] = mapped_column(String(12))
    due_on: Mapped[date | None]
    basis_on: Mapped[date | None]
    interval_months: Mapped[int | None] = mapped_column(SmallInteger)
    calculated_due_on: Mapped[date | None]
    confidence: Mapped[str] = mapped_column(String(10))
    rule: Mapped[str] = mapped_column(
        String(40), default="", server_default="", comment="id of the rule that governs it"
    )
    citation: Mapped[str] = mapped_column(String(80), default="")
    owner_id: Mapped[int] = mapped_column(Key, ForeignKey("party.id"))
    region: Mapped[Words] = mapped_column(default="")
    mark: Mapped[str] = mapped_column(String(4))
    number: Mapped[int] = mapped_column(Integer)
    listed: Mapped[bool] = mapped_column(Boolean, comment="the car is in service")
    hazardous: Mapped[bool] = mapped_column(
        Boolean, comment="its lading is, so that overdue means: may not load"
    )

    __table_args__ = (
        one_of("state", STATES),
        one_of("confidence", ("verified", "memory")),
        CheckConstraint("due_on IS NOT NULL OR state NOT IN ('owed', 'dated')", name="dated"),
        *named("due"),
        # One order each; the columns after it let a list skip what it does not show from the index.
        Index("ix_due_soonest", "due_on", *NAMED, *SHOWN_BY, "state", "owner_id"),
        Index("ix_due_owner", "owner_id", "due_on", *NAMED, *SHOWN_BY, "state"),
        Index("ix_due_item", "item_no", "due_on", *NAMED[:2], *SHOWN_BY, "state", "owner_id"),
        Index("ix_due_rule", "rule", "due_on", *NAMED, "listed", "state", "car_id"),
        Index("ix_due_state", "state", "due_on", *NAMED, *SHOWN_BY, "owner_id"),
    )


# Of a row that is little but its key SQLite keeps one copy, in the key's order, and not two.
ALL_KEY = {"sqlite_with_rowid": False}


class DueRolled(Base):
    """How many due items are alike; derived with `due`, in the same transaction (`store.rolled.ITEMS`).

    What a cut does not tell apart is 0 or empty. An item without a day stands under BEGINNING.
    """

    __tablename__ = "due_rolled"
    __table_args__ = ALL_KEY
    cut: Mapped[str] = mapped_column(String(6), primary_key=True)
    owner_id: Mapped[int] = mapped_column(Key, primary_key=True, autoincrement=False)
    region: Mapped[Words] = mapped_column(primary_key=True)
    listed: Mapped[bool] = mapped_column(Boolean, primary_key=True)
    state: Mapped[str] = mapped_column(String(12), primary_key=True)
    day: Mapped[date] = mapped_column(primary_key=True, comment="or the first of its month")
    item_no: Mapped[int] = mapped_column(SmallInteger, primary_key=True, autoincrement=False)
    rule: Mapped[str] = mapped_column(String(40), primary_key=True)
    interval_months: Mapped[int] = mapped_column(
        SmallInteger, primary_key=True, autoincrement=False, comment="0: none"
    )
    number: Mapped[int] = mapped_column(Integer)


class DueEnding(Base):
    """How many due items whose car comes to its last service day are alike; as `due_rolled`, of cars in service.

    Of those that the ten years of a forecast may ask for (`store.rolled.ENDING`).
    """

    __tablename__ = "due_ending"
    __table_args__ = ALL_KEY
    cut: Mapped[str] = mapped_column(String(6), primary_key=True)
    owner_id: Mapped[int] = mapped_column(Key, primary_key=True, autoincrement=False)
    region: Mapped[Words] = mapped_column(primary_key=True)
    month: Mapped[int] = mapped_column(
        Integer, primary_key=True, autoincrement=False, comment="counted from year 0"
    )
    item_no: Mapped[int] = mapped_column(SmallInteger, primary_key=True, autoincrement=False)
    interval_months: Mapped[int] = mapped_column(
        SmallInteger, primary_key=True, autoincrement=False, comment="0: none"
    )
    ends: Mapped[int] = mapped_column(
        Integer,
        primary_key=True,
        autoincrement=False,
        comment="the month from which on it falls due no more; 0: it never does",
    )
    number: Mapped[int] = mapped_column(Integer)


class CarRolled(Base):
    """How many cars of an owner are alike in one thing; derived with `car`, as `due_rolled` is with `due`."""

    __tablename__ = "car_rolled"
    __table_args__ = ALL_KEY
    what: Mapped[str] = mapped_column(
        String(20), primary_key=True, comment="a column of car; empty: just cars"
    )
    owner_id: Mapped[int] = mapped_column(Key, primary_key=True, autoincrement=False)
    standing: Mapped[str] = mapped_column(String(20), primary_key=True)
    value: Mapped[Words] = mapped_column(primary_key=True)
    number: Mapped[int] = mapped_column(Integer)


class ImportRun(Base):
    """A file that was brought in, whole. Taking it back stamps its rows and this one."""

    __tablename__ = "import_run"
    id: Mapped[Id]
    kind: Mapped[str] = mapped_column(String(12))
    file_name: Mapped[Words]
    sha256: Mapped[str] = mapped_column(String(64))
    rows: Mapped[int] = mapped_column(Integer)
    added: Mapped[int] = mapped_column(Integer)
    changed: Mapped[int] = mapped_column(Integer)
    repeated: Mapped[int] = mapped_column(Integer)
    recorded_at: Mapped[datetime] = mapped_column(Moment)
    recorded_by: Mapped[Words]
    taken_back_at: Mapped[datetime | None] = mapped_column(Moment)
    taken_back_by: Mapped[str | None] = mapped_column(String(200))
    person_id: Mapped[int | None] = mapped_column(Key, ForeignKey("person.id"))
    parties: Mapped[list[int] | None] = mapped_column(
        JSON, comment="whose cars it could be about; null: anybody's"
    )
    __table_args__ = (one_of("kind", FILE_KINDS),)


class Upload(Base):
    """A file handed in on a page, kept until it is confirmed or dropped."""

    __tablename__ = "upload"
    id: Mapped[str] = mapped_column(String(40), primary_key=True, comment="unguessable")
    kind: Mapped[str] = mapped_column(String(12))
    file_name: Mapped[Words]
    content: Mapped[bytes] = mapped_column(LargeBinary)
    uploaded_at: Mapped[datetime] = mapped_column(Moment)
    person_id: Mapped[int | None] = mapped_column(Key, ForeignKey("person.id"))
    __table_args__ = (one_of("kind", UPLOAD_KINDS),)


class Job(Base):
    """Work that lasts, with its progress: what is shown to whoever comes back to look."""

    __tablename__ = "job"
    id: Mapped[str] = mapped_column(String(40), primary_key=True)
    kind: Mapped[str] = mapped_column(String(30))
    payload: Mapped[dict[str, Any]] = mapped_column(JSON)
    state: Mapped[str] = mapped_column(String(10), default="waiting")
    step: Mapped[str] = mapped_column(String(200), default="")
    done: Mapped[int] = mapped_column(Integer, default=0)
    total: Mapped[int] = mapped_column(Integer, default=0)
    result: Mapped[dict[str, Any] | None] = mapped_column(JSON)
    error: Mapped[str] = mapped_column(Text, default="")
    asked_by: Mapped[Words]
    person_id: Mapped[int | None] = mapped_column(Key, ForeignKey("person.id"))
    asked_at: Mapped[datetime] = mapped_column(Moment)
    started_at: Mapped[datetime | None] = mapped_column(Moment)
    heard_at: Mapped[datetime | None] = mapped_column(Moment, comment="last sign of life")
    ended_at: Mapped[datetime | None] = mapped_column(Moment)
    stop_at: Mapped[datetime | None] = mapped_column(
        Moment, comment="somebody asked to end it with the best so far"
    )
    __table_args__ = (one_of("state", JOB_STATES), Index("ix_job_state_asked", "state", "asked_at"))


class RulebookEdition(Base):
    """An edition of the rules, or an owner's stricter programme, as it was loaded; never changed."""

    __tablename__ = "rulebook_edition"
    id: Mapped[Id]
    code: Mapped[str] = mapped_column(String(60), unique=True, comment="its own `id`")
    edition: Mapped[Words]
    base: Mapped[str] = mapped_column(String(60), comment="the rulebook it was laid over")
    owner_id: Mapped[int | None] = mapped_column(
        Key, ForeignKey("party.id"), comment="whose programme it is"
    )
    source: Mapped[str] = mapped_column(Text, comment="the document, word for word")
    recorded_at: Mapped[datetime] = mapped_column(Moment)
    recorded_by: Mapped[Words]


class RulebookInForce(Base):
    """From this moment the edition holds; the latest row of an owner, and of all (no owner), counts."""

    __tablename__ = "rulebook_in_force"
    id: Mapped[Id]
    edition_id: Mapped[int | None] = mapped_column(
        Key, ForeignKey("rulebook_edition.id"), comment="none: back to what held without one"
    )
    owner_id: Mapped[int | None] = mapped_column(
        Key, ForeignKey("party.id"), comment="none: for all"
    )
    recorded_at: Mapped[datetime] = mapped_column(Moment)
    recorded_by: Mapped[Words]
    __table_args__ = (Index("ix_rulebook_in_force_owner", "owner_id", "id"),)

"""The record of change: one entry a transaction, each holding the hash of the one before it."""

from __future__ import annotations

from datetime import datetime

from sqlalchemy import ForeignKey, Index, String, Text
from sqlalchemy.orm import Mapped, mapped_column

from app.store.columns import Base, Id, Key, Moment, Words


class Change(Base):
    """Who changed what, when, from where and in which request; never changed, never deleted."""

    __tablename__ = "change"
    id: Mapped[Id]
    at: Mapped[datetime] = mapped_column(Moment)
    by: Mapped[Words]
    person_id: Mapped[int | None] = mapped_column(Key, ForeignKey("person.id"), index=True)
    origin: Mapped[str] = mapped_column(String(10), comment="page, api, command or job")
    address: Mapped[str] = mapped_column(String(60), default="", comment="of the network")
    request: Mapped[str] = mapped_column(String(64), default="")
    deed: Mapped[str] = mapped_column(String(60), comment="such as event.corrected")
    body: Mapped[str] = mapped_column(
        Text, comment="rows before and after, as JSON, word for word as it was hashed"
    )
    previous: Mapped[str] = mapped_column(String(64), comment="hash of the entry before")
    hash: Mapped[str] = mapped_column(String(64), unique=True)


class ChangeAbout(Base):
    """What an entry is about: a car, a person, a party, an import, a setting."""

    __tablename__ = "change_about"
    kind: Mapped[str] = mapped_column(String(20), primary_key=True)
    key: Mapped[str] = mapped_column(String(60), primary_key=True)
    change_id: Mapped[int] = mapped_column(Key, ForeignKey("change.id"), primary_key=True)
    __table_args__ = (Index("ix_change_about_change", "change_id"),)

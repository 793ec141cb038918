"""Directives: an order to check cars or components, by when, what it is about, and what was closed of it.

Every row is as it was made; it counts until it is stamped, by a withdrawal or by the row in its place.
"""

from __future__ import annotations

from datetime import date
from typing import Any, get_args

from sqlalchemy import (
    JSON,
    Boolean,
    CheckConstraint,
    Date,
    ForeignKey,
    Index,
    Integer,
    SmallInteger,
    String,
    Text,
    text,
)
from sqlalchemy.orm import Mapped, mapped_column

from app.core.directive import Found, Outcome
from app.store.columns import Base, CarFact, Key, Recorded, Words, by_car, one_of

ORDERERS = ("authority", "maker", "owner")
OUTCOMES: tuple[str, ...] = get_args(Outcome)
FOUND: tuple[str, ...] = get_args(Found)


def _one_counts(name: str, column: str) -> Index:
    """At most one row of this table that counts, of what the column names."""
    counts = text("superseded_at IS NULL")
    return Index(name, column, unique=True, sqlite_where=counts, postgresql_where=counts)


class Directive(Recorded, Base):
    """What was ordered, and the condition that says of which cars or components."""

    __tablename__ = "directive"
    party_id: Mapped[int] = mapped_column(
        Key, ForeignKey("party.id"), index=True, comment="whose cars, with those it keeps"
    )
    ordered_by: Mapped[str] = mapped_column(String(10), comment="what they are who ordered it")
    orderer: Mapped[str] = mapped_column(String(50), comment="their name")
    number: Mapped[str] = mapped_column(String(29))
    title: Mapped[Words]
    what: Mapped[str] = mapped_column(Text, comment="what is to be done")
    caution: Mapped[str] = mapped_column(Text, default="")
    ordered_on: Mapped[date] = mapped_column(Date)
    condition: Mapped[dict[str, Any]] = mapped_column(JSON, comment="core.directive.Condition")
    as_of: Mapped[date] = mapped_column(
        Date, comment="frozen are the cars that matched on this day"
    )
    frozen_on: Mapped[date] = mapped_column(Date, comment="the day on which that was asked")
    takes_later: Mapped[bool] = mapped_column(
        Boolean, comment="cars that come to match afterwards are added"
    )
    takes_by_hand: Mapped[bool] = mapped_column(
        Boolean, comment="so are those of which it cannot be told"
    )
    unrecorded: Mapped[int | None] = mapped_column(
        Integer,
        comment="cars with nothing on record of what it is about, on the day; none: not counted",
    )
    __table_args__ = (one_of("ordered_by", ORDERERS),)

    @property
    def name(self) -> str:
        """Who ordered it and its number: what it is cited by."""
        return f"{self.orderer} {self.number}"


class DirectiveTerm(Recorded, Base):
    """By when it is to be done, and whether that forbids loading; another term takes the place of this one."""

    __tablename__ = "directive_term"
    directive_id: Mapped[int] = mapped_column(Key, ForeignKey("directive.id"))
    due_on: Mapped[date | None]
    due_days: Mapped[int | None] = mapped_column(
        SmallInteger, comment="days after the car was found"
    )
    forbids_loading: Mapped[bool] = mapped_column(Boolean)
    reason: Mapped[str] = mapped_column(Text, default="")
    __table_args__ = (
        CheckConstraint("(due_on IS NULL) <> (due_days IS NULL)", name="due"),
        CheckConstraint("due_days >= 0", name="due_days"),
        _one_counts("uq_directive_term_counts", "directive_id"),
    )


class DirectiveMatch(CarFact, Base):
    """A car that an order is about, or a component on it; `from_on` is the day of the order or of the find."""

    __tablename__ = "directive_match"
    directive_id: Mapped[int] = mapped_column(Key, ForeignKey("directive.id"))
    component_id: Mapped[int | None] = mapped_column(
        Key, ForeignKey("component.id"), index=True, comment="what is to be checked; null: the car"
    )
    found: Mapped[str] = mapped_column(String(16))
    found_on: Mapped[date] = mapped_column(Date, comment="from which days are counted")
    by_hand: Mapped[bool] = mapped_column(
        Boolean, comment="whether it is one cannot be told from the record"
    )
    why: Mapped[list[Any]] = mapped_column(JSON, comment="the facts that matched, by name")
    about: Mapped[str] = mapped_column(Text, default="", comment="the component in words")
    thing: Mapped[str] = mapped_column(
        Text, default="", comment="what tells the component from others on the car"
    )
    __table_args__ = (
        one_of("found", FOUND),
        by_car("directive_match"),
        Index("ix_directive_match_directive", "directive_id", "car_id"),
    )


class DirectiveClosing(Recorded, Base):
    """That a match was seen to, on which day, and what was found; withdrawn, the match is open again."""

    __tablename__ = "directive_closing"
    match_id: Mapped[int] = mapped_column(Key, ForeignKey("directive_match.id"))
    done_on: Mapped[date] = mapped_column(Date)
    outcome: Mapped[str] = mapped_column(String(16))
    reference: Mapped[Words] = mapped_column(default="", comment="of the event or the report")
    finding: Mapped[str] = mapped_column(Text, default="")
    __table_args__ = (
        one_of("outcome", OUTCOMES),
        _one_counts("uq_directive_closing_match", "match_id"),
    )

"""What field work goes by beside the rules: owners' own steps, facilities, what people are qualified for.

Rows are added and superseded, as facts are.
"""

from __future__ import annotations

from datetime import date

from sqlalchemy import Boolean, Date, ForeignKey, Index, SmallInteger, String, Text, text
from sqlalchemy.orm import Mapped, mapped_column

from app.core.facts import EVENT_ITEMS
from app.store.columns import Base, Key, Recorded, Words, one_of

# What a step has somebody do; the form of an entry for it follows from this.
MEASURES = ("look", "reading", "bench", "lining", "leak", "number", "photograph")
COUNTS = text("superseded_at IS NULL")


class Instruction(Recorded, Base):
    """An owner's own steps for an item from a day on, beside the built-in ones or in their place."""

    __tablename__ = "instruction"
    owner_id: Mapped[int] = mapped_column(Key, ForeignKey("party.id"))
    item: Mapped[str] = mapped_column(String(30))
    from_on: Mapped[date] = mapped_column(Date)
    edition: Mapped[Words] = mapped_column(default="", comment="what the owner calls the document")
    in_place_of_built_in: Mapped[bool] = mapped_column(Boolean, default=False)
    __table_args__ = (
        one_of("item", EVENT_ITEMS),
        Index(
            "uq_instruction_day", "owner_id", "item", "from_on", unique=True,
            sqlite_where=COUNTS, postgresql_where=COUNTS,
        ),
    )  # fmt: skip


class InstructionStep(Base):
    """One step of an owner's instruction, in the owner's words; written with it and never changed."""

    __tablename__ = "instruction_step"
    instruction_id: Mapped[int] = mapped_column(Key, ForeignKey("instruction.id"), primary_key=True)
    place: Mapped[int] = mapped_column(
        SmallInteger, primary_key=True, comment="its place in the instruction"
    )
    look_at: Mapped[Words]
    spot: Mapped[Words] = mapped_column(default="", comment="where on the car")
    measure: Mapped[str] = mapped_column(String(12), default="look")
    unit: Mapped[str] = mapped_column(String(20), default="")
    acceptance: Mapped[str] = mapped_column(Text, default="")
    caution: Mapped[str] = mapped_column(Text, default="")
    source: Mapped[Words] = mapped_column(default="", comment="what it rests on, as the owner says")
    __table_args__ = (one_of("measure", MEASURES),)


class Facility(Recorded, Base):
    """A place at which a party works on cars, as a report names it (180.517(b))."""

    __tablename__ = "facility"
    party_id: Mapped[int] = mapped_column(Key, ForeignKey("party.id"))
    name: Mapped[Words]
    address: Mapped[Words] = mapped_column(default="")
    station_code: Mapped[str] = mapped_column(String(20), default="")
    __table_args__ = (
        Index(
            "uq_facility_name", "party_id", "name", unique=True,
            sqlite_where=COUNTS, postgresql_where=COUNTS,
        ),
    )  # fmt: skip


class Qualification(Recorded, Base):
    """A method that a person is qualified for, and until when, as the employer's records say."""

    __tablename__ = "qualification"
    person_id: Mapped[int] = mapped_column(Key, ForeignKey("person.id"))
    method: Mapped[str] = mapped_column(String(12))
    level: Mapped[str] = mapped_column(String(12))
    valid_until: Mapped[date] = mapped_column(Date, comment="the last day on which it holds")
    __table_args__ = (
        Index(
            "uq_qualification_method", "person_id", "method", unique=True,
            sqlite_where=COUNTS, postgresql_where=COUNTS,
        ),
    )  # fmt: skip

"""What people watch: saved lists, lines marked as seen, calendars and mails; and what items were before they moved."""

from __future__ import annotations

from datetime import date, datetime

from sqlalchemy import JSON, Boolean, Date, ForeignKey, Index, SmallInteger, String, Text
from sqlalchemy.orm import Mapped, mapped_column

from app.store.columns import Base, Id, Key, Moment, Words, one_of
from app.store.derived import STATES

NOTICES = ("daily", "weekly")
SENDING = ("sending", "sent", "failed", "nothing")
# In `due_before`: that the car had no items at all, since it came into the register on that day.
NO_ITEM = -1


class DueBefore(Base):
    """A due item as it stood before it was first worked out anew on a day; derived, kept for some weeks.

    Written with `due`, for all items of the cars that are written: what really moved is asked by comparing.
    """

    __tablename__ = "due_before"
    car_id: Mapped[int] = mapped_column(Key, ForeignKey("car.id"), primary_key=True)
    day: Mapped[date] = mapped_column(Date, primary_key=True)
    item_no: Mapped[int] = mapped_column(
        SmallInteger, primary_key=True, comment="place in core.facts.ITEMS; -1: the car had none"
    )
    state: Mapped[str | None] = mapped_column(String(12))
    due_on: Mapped[date | None] = mapped_column(Date)
    listed: Mapped[bool | None] = mapped_column(Boolean)
    __table_args__ = (Index("ix_due_before_day", "day", "car_id"),)


class SavedList(Base):
    """Filters of the due list under a name; of one person, or of all in the party; and who answers for it."""

    __tablename__ = "saved_list"
    id: Mapped[Id]
    party_id: Mapped[int] = mapped_column(Key, ForeignKey("party.id"), index=True)
    person_id: Mapped[int] = mapped_column(
        Key, ForeignKey("person.id"), index=True, comment="who saved it"
    )
    name: Mapped[Words]
    asked: Mapped[dict[str, str]] = mapped_column(JSON, comment="filters by their names")
    shared: Mapped[bool] = mapped_column(Boolean, comment="everybody in the party sees it")
    answers_id: Mapped[int | None] = mapped_column(
        Key, ForeignKey("person.id"), index=True, comment="who answers for what is on it"
    )
    made_at: Mapped[datetime] = mapped_column(Moment)
    ended_at: Mapped[datetime | None] = mapped_column(Moment)


class DueSeen(Base):
    """Somebody looked at a due item and sets it aside until a day; a later row about it counts instead.

    It stands aside only while the item is as it stood then.
    """

    __tablename__ = "due_seen"
    id: Mapped[Id]
    party_id: Mapped[int] = mapped_column(Key, ForeignKey("party.id"))
    car_id: Mapped[int] = mapped_column(Key, ForeignKey("car.id"))
    item: Mapped[str] = mapped_column(String(30))
    state: Mapped[str] = mapped_column(String(12))
    due_on: Mapped[date | None] = mapped_column(Date)
    past: Mapped[bool] = mapped_column(Boolean, comment="its day had passed")
    until_on: Mapped[date | None] = mapped_column(
        Date, comment="comes back on this day; none: taken back"
    )
    reason: Mapped[str] = mapped_column(Text)
    person_id: Mapped[int] = mapped_column(Key, ForeignKey("person.id"))
    recorded_at: Mapped[datetime] = mapped_column(Moment)
    recorded_by: Mapped[Words]
    __table_args__ = (
        one_of("state", STATES),
        Index("ix_due_seen_car", "car_id", "item", "party_id", "id"),
    )


class NoticeWish(Base):
    """Which mails a person wants about what falls due."""

    __tablename__ = "notice_wish"
    person_id: Mapped[int] = mapped_column(Key, ForeignKey("person.id"), primary_key=True)
    daily: Mapped[bool] = mapped_column(Boolean, comment="on days on which something changed")
    weekday: Mapped[int | None] = mapped_column(
        SmallInteger, comment="of a summary: 0 is Monday; none: no summary"
    )
    list_id: Mapped[int | None] = mapped_column(
        Key, ForeignKey("saved_list.id"), index=True, comment="none: all that the person reaches"
    )
    since: Mapped[date] = mapped_column(Date, comment="the first day for which a mail is due")


class NoticeSent(Base):
    """A mail of a day: begun before it is handed over, so that none goes twice."""

    __tablename__ = "notice_sent"
    person_id: Mapped[int] = mapped_column(Key, ForeignKey("person.id"), primary_key=True)
    kind: Mapped[str] = mapped_column(String(10), primary_key=True)
    day: Mapped[date] = mapped_column(Date, primary_key=True)
    state: Mapped[str] = mapped_column(String(10))
    tries: Mapped[int] = mapped_column(SmallInteger)
    at: Mapped[datetime] = mapped_column(Moment, comment="when it came to this state")
    __table_args__ = (one_of("kind", NOTICES), one_of("state", SENDING))


class Feed(Base):
    """A calendar that others subscribe to by its address; the secret in it is shown once and not kept."""

    __tablename__ = "feed"
    id: Mapped[Id]
    person_id: Mapped[int] = mapped_column(Key, ForeignKey("person.id"), index=True)
    name: Mapped[Words]
    list_id: Mapped[int | None] = mapped_column(
        Key, ForeignKey("saved_list.id"), index=True, comment="none: all that the person reaches"
    )
    within_days: Mapped[int | None] = mapped_column(
        SmallInteger,
        comment="holds what falls due within so many days, with what is past; none: every date",
    )
    key_sha256: Mapped[str] = mapped_column(String(64), unique=True)
    made_at: Mapped[datetime] = mapped_column(Moment)
    ended_at: Mapped[datetime | None] = mapped_column(Moment)

"""What was asked about loading a car, and what was answered: kept as it was, and questions about it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from sqlalchemy import JSON, Date, ForeignKey, Index, Row, Select, String, and_, insert, or_, select
from sqlalchemy.orm import Mapped, Session, mapped_column

from app.errors import NotFound
from app.store import reach
from app.store.columns import Base, Key, Made, Words, one_of, table_of
from app.store.names import EVERY_NAME, NamePrefix, matches
from app.store.paging import Page, Value, page_of
from app.store.people import Membership
from app.store.tables import Car

VERDICTS = ("may_load", "check", "may_not_load")
# What a list is restricted to where no answer could be given.
UNANSWERED = "none"
PAGE = 50
AT_ONCE = 500


class LoadingQuestion(Made, Base):
    """One car asked about, with the answer word for word; without a verdict where there was none.

    It stands outside the record of change, which would tell of little else; triggers keep it.
    """

    __tablename__ = "loading_question"
    person_id: Mapped[int | None] = mapped_column(Key, ForeignKey("person.id"))
    list_key: Mapped[str] = mapped_column(String(32), comment="of the questions asked in one go")
    asked: Mapped[Words] = mapped_column(comment="the car as it was written")
    lading: Mapped[str] = mapped_column(
        String(200), comment="about to be loaded, as it was written; empty: the recorded one"
    )
    on_day: Mapped[date] = mapped_column(Date)
    within_days: Mapped[int]
    car_id: Mapped[int | None] = mapped_column(Key, ForeignKey("car.id"))
    verdict: Mapped[str | None] = mapped_column(String(20))
    through: Mapped[date | None] = mapped_column(
        Date, comment="the last day on which no date is past"
    )
    told: Mapped[dict[str, Any]] = mapped_column(JSON, comment="the answer: actions.may_load")
    __table_args__ = (
        one_of("verdict", VERDICTS),
        Index("ix_loading_question_car", "car_id", "id"),
        Index("ix_loading_question_person", "person_id", "id"),
        Index("ix_loading_question_list", "list_key"),
        Index("ix_loading_question_day", "on_day", "id"),
    )


def keep(db: Session, rows: Sequence[Mapping[str, Any]]) -> None:
    """Write questions with their answers, a row each by the names of its columns; past the session, for speed."""
    if rows:
        db.connection().execute(insert(table_of(LoadingQuestion)), rows)


@dataclass(frozen=True, slots=True)
class Wanted:
    """Which questions are listed; None does not restrict. `day` is the one asked about."""

    car: NamePrefix = EVERY_NAME
    verdict: str | None = None
    day: date | None = None


def page(db: Session, wanted: Wanted, after: str | None) -> Page[LoadingQuestion]:
    """Questions, the latest first."""
    keys, query = (LoadingQuestion.id.expression,), _wanted(db, wanted)
    return page_of(db, query, keys, (int,), after, PAGE, _keyed, latest_first=True)


def each(db: Session, wanted: Wanted) -> Iterator[LoadingQuestion]:
    """All of them, the latest first."""
    query = _wanted(db, wanted).order_by(LoadingQuestion.id.desc())
    yield from db.scalars(query.execution_options(yield_per=AT_ONCE))


def of_list(db: Session, key: str) -> Sequence[LoadingQuestion]:
    """The questions of a list in the order of its lines; NotFound for a list the session does not reach."""
    found = db.scalars(
        _reached(db).where(LoadingQuestion.list_key == key).order_by(LoadingQuestion.id)
    ).all()
    if not found:
        raise NotFound("There is no such list of cars asked about.")
    return found


def _wanted(db: Session, wanted: Wanted) -> Select[*tuple[LoadingQuestion]]:
    query = _reached(db)
    if wanted.car != EVERY_NAME:
        query = query.join(Car, Car.id == LoadingQuestion.car_id).where(
            matches(wanted.car, Car.mark.expression, Car.number.expression)
        )
    if wanted.verdict:
        verdict = None if wanted.verdict == UNANSWERED else wanted.verdict
        query = query.where(LoadingQuestion.verdict.is_not_distinct_from(verdict))
    if wanted.day:
        query = query.where(LoadingQuestion.on_day == wanted.day)
    return query


def _keyed(row: Row[*tuple[Any, ...]]) -> tuple[tuple[Value, ...], LoadingQuestion]:
    return (row[0].id,), row[0]


def _reached(db: Session) -> Select[*tuple[LoadingQuestion]]:
    """One's own questions, and those of people of one's parties about cars that one reaches."""
    parties = reach.of(db).named
    fellows = select(Membership.person_id).where(Membership.party_id.in_(sorted(parties)))
    cars = select(Car.id).where(reach.whole(db, Car.owner_id, Car.id))
    about_mine = or_(LoadingQuestion.car_id.is_(None), LoadingQuestion.car_id.in_(cars))
    return select(LoadingQuestion).where(
        or_(
            reach.asked(db, LoadingQuestion.person_id),
            and_(LoadingQuestion.person_id.in_(fellows), about_mine),
        )
    )

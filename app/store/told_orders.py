"""Directives that a car was under in the register it came from, as its hand-over told them; and what was answered.

Told, and no due item here: only what this register issues itself is one. Until somebody decides, the loading answer
speaks of what was open (`open_orders`).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Literal, get_args

from sqlalchemy import Boolean, ColumnElement, Date, ForeignKey, String, Text, and_, select
from sqlalchemy.orm import Mapped, Session, mapped_column

from app.errors import NotFound
from app.store import reach
from app.store.asked import counted
from app.store.columns import Base, Key, Made, Words, one_of
from app.store.directives import Directive, DirectiveClosing, DirectiveMatch, DirectiveTerm
from app.store.handing_over import HandOver
from app.store.prepared import by_key
from app.store.tables import OUT_OF_RECORD, Car, Party

Answer = Literal["issued", "seen_to", "not_needed", "undecided"]
ANSWERS: tuple[Answer, ...] = get_args(Answer)
OfMatch = tuple[Directive, str, DirectiveMatch, DirectiveTerm, DirectiveClosing | None]


class ToldOrder(Made, Base):
    """A directive as the file of a hand-over told it, open there or closed."""

    __tablename__ = "told_order"
    import_id: Mapped[int] = mapped_column(Key, ForeignKey("import_run.id"), index=True)
    car_id: Mapped[int] = mapped_column(Key, ForeignKey("car.id"), index=True)
    company: Mapped[Words] = mapped_column(comment="which had issued it to its cars")
    ordered_by: Mapped[str] = mapped_column(String(10), comment="what they are who ordered it")
    orderer: Mapped[Words] = mapped_column(comment="their name")
    number: Mapped[Words]
    title: Mapped[Words]
    what: Mapped[str] = mapped_column(Text, comment="what is to be done")
    caution: Mapped[str] = mapped_column(Text)
    ordered_on: Mapped[date] = mapped_column(Date)
    due_on: Mapped[date] = mapped_column(Date)
    forbids_loading: Mapped[bool] = mapped_column(Boolean, comment="once it is overdue")
    about: Mapped[str] = mapped_column(Text, comment="the component in words; empty: the car")
    by_hand: Mapped[bool] = mapped_column(
        Boolean, comment="whether the car is one could not be told there"
    )
    closed_on: Mapped[date | None] = mapped_column(Date, comment="null: it was open")
    outcome: Mapped[str] = mapped_column(String(16))
    reference: Mapped[Words] = mapped_column(comment="of the event or the report that shows it")
    finding: Mapped[str] = mapped_column(Text)
    said: Mapped[str] = mapped_column(Text, comment="what was answered where it was told before")

    @property
    def name(self) -> str:
        """Who ordered it and its number: what it is cited by."""
        return f"{self.orderer} {self.number}"


class ToldOrderAnswer(Made, Base):
    """What was decided about a directive that came with a car; the latest counts."""

    __tablename__ = "told_order_answer"
    told_order_id: Mapped[int] = mapped_column(Key, ForeignKey("told_order.id"), index=True)
    answer: Mapped[str] = mapped_column(String(16))
    reason: Mapped[str] = mapped_column(Text)
    __table_args__ = (one_of("answer", ANSWERS),)


@dataclass(frozen=True, slots=True)
class Told:
    """A directive that came with a car, the car as it is called now, and the answers, the latest last."""

    row: ToldOrder
    car: str
    answers: Sequence[ToldOrderAnswer]

    @property
    def answer(self) -> ToldOrderAnswer | None:
        return self.answers[-1] if self.answers else None

    @property
    def waits(self) -> bool:
        """Whether it was open there, and nobody has decided about it here."""
        undecided = self.answer is None or self.answer.answer == "undecided"
        return self.row.closed_on is None and undecided


def of_car(db: Session, car_id: int) -> list[Told]:
    """What came with a car of which everything may be found, in the order of the file."""
    return _told(db, ToldOrder.car_id == car_id, reach.whole(db, Car.owner_id, Car.id))


def waiting(db: Session) -> list[Told]:
    """What nobody has decided about yet, of the session's own cars in record, the soonest due first."""
    found = _told(
        db, ToldOrder.closed_on.is_(None), reach.owned(db, Car.owner_id), Car.standing.not_in(OUT_OF_RECORD)
    )  # fmt: skip
    return sorted((each for each in found if each.waits), key=lambda each: each.row.due_on)


def one_or_raise(db: Session, told_order_id: int) -> Told:
    """One that came with a car of the session's own."""
    found = _told(db, ToldOrder.id == told_order_id, reach.owned(db, Car.owner_id))
    if not found:
        raise NotFound(f"No directive with the number {told_order_id} came with a car of yours.")
    return found[0]


def _told(db: Session, *conditions: ColumnElement[bool]) -> list[Told]:
    query = select(ToldOrder, Car.mark, Car.number).join(Car, Car.id == ToldOrder.car_id)
    rows = db.execute(by_key(query.where(*conditions).order_by(ToldOrder.id))).all()
    asked = select(ToldOrderAnswer).where(
        ToldOrderAnswer.told_order_id.in_([row[0].id for row in rows])
    )
    answers = db.scalars(asked.order_by(ToldOrderAnswer.id)).all() if rows else ()
    return [
        Told(row, f"{mark} {number}", [each for each in answers if each.told_order_id == row.id])
        for row, mark, number in rows
    ]


# What goes along --------------------------------------------------------------------------------------------------


def of_hand_over(db: Session, made: HandOver) -> Iterator[OfMatch]:
    """The directives that a car was under when it was handed over, whose, of what, by when, and what closed each."""
    at = made.recorded_at
    query = (
        select(Directive, Party.name, DirectiveMatch, DirectiveTerm, DirectiveClosing)
        .join(DirectiveMatch, DirectiveMatch.directive_id == Directive.id)
        .join(Party, Party.id == Directive.party_id)
        .join(
            DirectiveTerm,
            and_(DirectiveTerm.directive_id == Directive.id, counted(DirectiveTerm, at)),
        )
        .outerjoin(
            DirectiveClosing,
            and_(DirectiveClosing.match_id == DirectiveMatch.id, counted(DirectiveClosing, at)),
        )
        .where(
            DirectiveMatch.car_id == made.car_id,
            counted(DirectiveMatch, at),
            counted(Directive, at),
        )
        .order_by(Directive.id, DirectiveMatch.id)
    )
    for row in db.execute(query):
        yield row[0], row[1], row[2], row[3], row[4]


def told_before(db: Session, made: HandOver) -> list[tuple[ToldOrder, ToldOrderAnswer | None]]:
    """What came with the car itself, with the answer as it was when the car was handed over."""
    query = select(ToldOrder).where(
        ToldOrder.car_id == made.car_id, ToldOrder.recorded_at <= made.recorded_at
    )
    answers = select(ToldOrderAnswer).where(ToldOrderAnswer.recorded_at <= made.recorded_at)
    latest = {each.told_order_id: each for each in db.scalars(answers.order_by(ToldOrderAnswer.id))}
    return [(each, latest.get(each.id)) for each in db.scalars(query.order_by(ToldOrder.id))]

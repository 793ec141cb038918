"""Which directives are open on cars: on a day, as known at a moment. What the calculator is told of them."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, datetime
from functools import cache
from typing import Any, cast

from sqlalchemy import (
    ColumnElement,
    CompoundSelect,
    Integer,
    Select,
    String,
    and_,
    exists,
    literal,
    null,
    select,
    true,
    type_coerce,
    union_all,
)
from sqlalchemy.orm import aliased

from app.core.orders import due_day
from app.store.asked import AS_OF, CAR_IDS, KNOWN_AT, Asked, counted
from app.store.columns import Made
from app.store.directives import Directive, DirectiveClosing, DirectiveMatch, DirectiveTerm
from app.store.told_orders import ToldOrder, ToldOrderAnswer

OpenOrder = tuple[int, date, str, str, bool, str, str]


def open_orders(asked: Asked) -> Iterator[OpenOrder]:
    """Of each open match the car, the day it is due, the order's name and title, whether it forbids, of what, and "".

    After them what came with the car and nobody has decided about, with the company that told it instead of "".
    """
    return as_orders(asked.ask(_of_cars(asked.now)))


@cache
def _of_cars(now: bool) -> CompoundSelect[*tuple[Any, ...]]:
    as_of, known_at = cast(date, AS_OF), cast(datetime | None, None if now else KNOWN_AT)
    own = open_query(as_of, known_at).where(DirectiveMatch.car_id.in_(CAR_IDS)).order_by(None)
    told = _told_query(as_of, known_at).where(ToldOrder.car_id.in_(CAR_IDS))
    return union_all(own, told).order_by("car_id", "told_by", "first", "second")


def as_orders(rows: Any) -> Iterator[OpenOrder]:
    """The rows of `open_query` with their day."""
    for car_id, found_on, about, orderer, number, title, due_on, days, forbids, told_by, *_ in rows:
        day, name = due_day(due_on, days, found_on), f"{orderer} {number}"
        yield car_id, day, name, title, forbids, about, told_by


def open_query(as_of: date, known_at: datetime | None) -> Select[*tuple[Any, ...]]:
    """The matches that are not closed, with what their orders say, by car in the order in which they were given."""
    return (
        select(
            DirectiveMatch.car_id, DirectiveMatch.found_on, DirectiveMatch.about, Directive.orderer,
            Directive.number, Directive.title, DirectiveTerm.due_on, DirectiveTerm.due_days,
            DirectiveTerm.forbids_loading, literal("").label("told_by"), Directive.id.label("first"),
            DirectiveMatch.id.label("second"),
        )
        .join(Directive, Directive.id == DirectiveMatch.directive_id)
        .join(DirectiveTerm, DirectiveTerm.directive_id == Directive.id)
        .where(
            counted(DirectiveMatch, known_at),
            counted(Directive, known_at),
            counted(DirectiveTerm, known_at),
            DirectiveMatch.from_on <= as_of,
            ~closed(as_of, known_at),
        )
        .order_by(DirectiveMatch.car_id, Directive.id, DirectiveMatch.id)
    )  # fmt: skip


def _told_query(as_of: date, known_at: datetime | None) -> Select[*tuple[Any, ...]]:
    """What came with a car, was open there and has no decision here, in the columns of `open_query`."""
    answer, later = aliased(ToldOrderAnswer), aliased(ToldOrderAnswer)
    followed = exists().where(
        later.told_order_id == answer.told_order_id, later.id > answer.id, _made(later, known_at)
    )
    decided = exists().where(
        answer.told_order_id == ToldOrder.id, answer.answer != "undecided",
        _made(answer, known_at), ~followed,
    )  # fmt: skip
    return select(
        ToldOrder.car_id, ToldOrder.ordered_on, ToldOrder.about, ToldOrder.orderer,
        ToldOrder.number, ToldOrder.title, ToldOrder.due_on, type_coerce(null(), Integer),
        ToldOrder.forbids_loading, type_coerce(ToldOrder.company, String),
        ToldOrder.id, ToldOrder.id,
    ).where(
        ToldOrder.closed_on.is_(None), ToldOrder.ordered_on <= as_of,
        _made(ToldOrder, known_at), ~decided,
    )  # fmt: skip


def _made(table: type[Made], known_at: datetime | None) -> ColumnElement[bool]:
    """Whether a row that is never changed was there at a moment (None: now)."""
    return true() if known_at is None else table.recorded_at <= known_at


def closed(as_of: date, known_at: datetime | None) -> ColumnElement[bool]:
    """Whether a match was seen to by the day."""
    return exists().where(
        and_(
            DirectiveClosing.match_id == DirectiveMatch.id,
            DirectiveClosing.done_on <= as_of,
            counted(DirectiveClosing, known_at),
        )
    )

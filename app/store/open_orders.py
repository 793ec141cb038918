"""Which directives are open on cars: on a day, as known at a moment. What the calculator is told of them."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, datetime
from functools import cache
from typing import Any, cast

from sqlalchemy import ColumnElement, Select, and_, exists, select

from app.core.orders import due_day
from app.store.asked import AS_OF, CAR_IDS, KNOWN_AT, Asked, counted
from app.store.directives import Directive, DirectiveClosing, DirectiveMatch, DirectiveTerm

OpenOrder = tuple[int, date, str, str, bool, str]


def open_orders(asked: Asked) -> Iterator[OpenOrder]:
    """Of each open match the car, the day it is due, the order's name and title, whether it forbids, and of what."""
    return as_orders(asked.ask(_of_cars(asked.now)))


@cache
def _of_cars(now: bool) -> Select[*tuple[Any, ...]]:
    query = open_query(cast(date, AS_OF), cast(datetime | None, None if now else KNOWN_AT))
    return query.where(DirectiveMatch.car_id.in_(CAR_IDS))


def as_orders(rows: Any) -> Iterator[OpenOrder]:
    """The rows of `open_query` with their day."""
    for car_id, found_on, about, orderer, number, title, due_on, days, forbids in rows:
        yield car_id, due_day(due_on, days, found_on), f"{orderer} {number}", title, forbids, about


def open_query(as_of: date, known_at: datetime | None) -> Select[*tuple[Any, ...]]:
    """The matches that are not closed, with what their orders say, by car in the order in which they were given."""
    return (
        select(
            DirectiveMatch.car_id, DirectiveMatch.found_on, DirectiveMatch.about, Directive.orderer,
            Directive.number, Directive.title, DirectiveTerm.due_on, DirectiveTerm.due_days,
            DirectiveTerm.forbids_loading,
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


def closed(as_of: date, known_at: datetime | None) -> ColumnElement[bool]:
    """Whether a match was seen to by the day."""
    return exists().where(
        and_(
            DirectiveClosing.match_id == DirectiveMatch.id,
            DirectiveClosing.done_on <= as_of,
            counted(DirectiveClosing, known_at),
        )
    )

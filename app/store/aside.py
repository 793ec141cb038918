"""Which due items somebody looked at and set aside until a day; each party its own."""

from __future__ import annotations

from datetime import date
from functools import lru_cache

from sqlalchemy import ColumnElement, and_, case, exists, or_, select
from sqlalchemy.orm import Session, aliased

from app.core.orders import ITEM as ORDERED
from app.store import reach
from app.store.derived import DueRow
from app.store.directives import DirectiveMatch, DirectiveTerm
from app.store.watch import DueSeen


def is_aside(db: Session, today: date) -> ColumnElement[bool]:
    """Whether a row of `due` is set aside on this day: the day named has not come, and it stands as it stood then."""
    return _is_aside(_mine(db), today)


# Asked of every line of every list, and longer in the making than in the answering.
@lru_cache(maxsize=64)
def _is_aside(mine: tuple[int, ...], today: date) -> ColumnElement[bool]:
    return exists().where(_counts(mine), *_as_it_stands(today))


def _mine(db: Session) -> tuple[int, ...]:
    """The session's own parties."""
    return tuple(sorted(reach.of(db).members))


def any_aside(db: Session, today: date) -> ColumnElement[bool]:
    """Whether anything of a row's car is; few cars, from which a question begins that is about these alone."""
    seen = select(DueSeen.car_id).where(DueSeen.party_id.in_(_mine(db)), DueSeen.until_on > today)
    return DueRow.car_id.in_(seen)


def any_at_all(db: Session, today: date) -> ColumnElement[bool]:
    """Whether anything is; where nothing is, no line need be asked."""
    return exists().where(DueSeen.party_id.in_(_mine(db)), DueSeen.until_on > today)


def latest(db: Session, car_ids: list[int], today: date) -> dict[tuple[int, str], DueSeen]:
    """By car and item what set it aside, for those that are set aside on this day."""
    rows = db.scalars(
        select(DueSeen)
        .join(DueRow, and_(DueRow.car_id == DueSeen.car_id, DueRow.item == DueSeen.item))
        .where(DueSeen.car_id.in_(car_ids), _counts(_mine(db)), *_as_it_stands(today))
    )
    return {(each.car_id, each.item): each for each in rows}


def _as_it_stands(today: date) -> tuple[ColumnElement[bool], ...]:
    past = case((DueRow.due_on < today, True), else_=False)
    return (
        DueSeen.car_id == DueRow.car_id,
        DueSeen.item == DueRow.item,
        DueSeen.until_on > today,
        DueSeen.state == DueRow.state,
        DueSeen.due_on.is_not_distinct_from(DueRow.due_on),
        DueSeen.past == past,
        or_(DueRow.item != ORDERED, ~_ordered_since()),
    )


def _ordered_since() -> ColumnElement[bool]:
    """Whether another directive was given for the car, or a term changed, since somebody looked."""
    orders = and_(
        DirectiveMatch.car_id == DueSeen.car_id,
        DirectiveMatch.superseded_at.is_(None),
        DirectiveTerm.directive_id == DirectiveMatch.directive_id,
        DirectiveTerm.superseded_at.is_(None),
    )
    later = or_(
        DirectiveMatch.recorded_at > DueSeen.recorded_at,
        DirectiveTerm.recorded_at > DueSeen.recorded_at,
    )
    return exists().where(orders, later)


def _counts(mine: tuple[int, ...]) -> ColumnElement[bool]:
    """The latest row of these parties about the item."""
    later = aliased(DueSeen)
    return and_(
        DueSeen.party_id.in_(mine),
        ~exists().where(
            later.car_id == DueSeen.car_id,
            later.item == DueSeen.item,
            later.party_id.in_(mine),
            later.id > DueSeen.id,
        ),
    )

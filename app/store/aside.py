"""Which due items somebody looked at and set aside until a day; each party its own."""

from __future__ import annotations

from datetime import date

from sqlalchemy import ColumnElement, and_, case, exists, or_, select
from sqlalchemy.orm import Session, aliased

from app.core.orders import ITEM as ORDERED
from app.store import reach
from app.store.derived import DueRow
from app.store.directives import DirectiveMatch, DirectiveTerm
from app.store.watch import DueSeen


def is_aside(db: Session, today: date) -> ColumnElement[bool]:
    """Whether a row of `due` is set aside on this day: the day named has not come, and it stands as it stood then."""
    return exists().where(_counts(db), *_as_it_stands(today))


def any_aside(db: Session, today: date) -> ColumnElement[bool]:
    """Whether anything of a row's car is; few cars, from which a question begins that is about these alone."""
    mine = sorted(reach.of(db).members)
    seen = select(DueSeen.car_id).where(DueSeen.party_id.in_(mine), DueSeen.until_on > today)
    return DueRow.car_id.in_(seen)


def latest(db: Session, car_ids: list[int], today: date) -> dict[tuple[int, str], DueSeen]:
    """By car and item what set it aside, for those that are set aside on this day."""
    rows = db.scalars(
        select(DueSeen)
        .join(DueRow, and_(DueRow.car_id == DueSeen.car_id, DueRow.item == DueSeen.item))
        .where(DueSeen.car_id.in_(car_ids), _counts(db), *_as_it_stands(today))
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


def _counts(db: Session) -> ColumnElement[bool]:
    """The latest row of the session's own parties about the item."""
    later, mine = aliased(DueSeen), sorted(reach.of(db).members)
    return and_(
        DueSeen.party_id.in_(mine),
        ~exists().where(
            later.car_id == DueSeen.car_id,
            later.item == DueSeen.item,
            later.party_id.in_(mine),
            later.id > DueSeen.id,
        ),
    )

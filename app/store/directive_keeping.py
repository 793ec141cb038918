"""Questions by which directives are kept up to date with the fleet, past the reach of whoever changes a car."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Sequence
from typing import Any

from sqlalchemy import Select, select
from sqlalchemy.orm import Session, aliased

from app.core.directive import ComponentLooks
from app.store import directive_matching
from app.store.directive_matching import AT_ONCE
from app.store.directives import Directive, DirectiveClosing, DirectiveMatch
from app.store.tables import Component

# A car, and what tells a component from others on it ("" for the car itself).
MatchKey = tuple[int, str]
OpenComponent = tuple[DirectiveMatch, ComponentLooks]
LOOKS = ("kind", "maker", "model", "lot", "serial")


def in_force(db: Session) -> Sequence[Directive]:
    """Every directive that is not withdrawn, whoever's."""
    query = select(Directive).where(Directive.superseded_at.is_(None)).order_by(Directive.id)
    return db.scalars(query).all()


def family(db: Session, party_id: int) -> set[int]:
    """The keys of a party and of those that it keeps."""
    return set(db.scalars(directive_matching.family(party_id)))


def keys_of(db: Session, directive_id: int, car_ids: Sequence[int]) -> set[MatchKey]:
    """The matches among these cars that count, closed or not."""
    query = select(DirectiveMatch.car_id, DirectiveMatch.thing).where(
        DirectiveMatch.directive_id == directive_id,
        DirectiveMatch.car_id.in_(car_ids),
        DirectiveMatch.superseded_at.is_(None),
    )
    return {(car_id, thing) for car_id, thing in db.execute(query)}


def closed_as_gone(
    db: Session, directive_id: int, car_ids: Sequence[int]
) -> list[tuple[DirectiveMatch, DirectiveClosing]]:
    """The matches of components that were closed as on these cars no more, with that closing."""
    query = (
        select(DirectiveMatch, DirectiveClosing)
        .join(DirectiveClosing, DirectiveClosing.match_id == DirectiveMatch.id)
        .where(
            DirectiveMatch.directive_id == directive_id,
            DirectiveMatch.car_id.in_(car_ids),
            DirectiveMatch.superseded_at.is_(None),
            DirectiveClosing.superseded_at.is_(None),
            DirectiveClosing.outcome == "gone",
        )
    )
    return [(match, closing) for match, closing in db.execute(query)]


def open_components(
    db: Session, directive_id: int, things: Collection[str]
) -> dict[str, list[OpenComponent]]:
    """Of these things, by what tells each from others, the components that nobody has seen to, with their first match.

    That it is gone from a car is not seeing to it.
    """
    found: dict[str, list[OpenComponent]] = defaultdict(list)
    ordered = sorted(things)
    for first in range(0, len(ordered), AT_ONCE):
        for match, *looks in db.execute(_open(directive_id, ordered[first : first + AT_ONCE])):
            found[match.thing].append((match, ComponentLooks(*looks)))
    return found


def _open(directive_id: int, things: Sequence[str]) -> Select[*tuple[Any, ...]]:
    other = aliased(DirectiveMatch)
    # Not asked of each match in turn, which would look at all others of the directive each time.
    seen_to = (
        select(other.thing)
        .join(DirectiveClosing, DirectiveClosing.match_id == other.id)
        .where(
            other.directive_id == directive_id,
            DirectiveClosing.superseded_at.is_(None),
            DirectiveClosing.outcome != "gone",
        )
    )
    return (
        select(DirectiveMatch, *(getattr(Component, name) for name in LOOKS))
        .join(Component, Component.id == DirectiveMatch.component_id)
        .where(
            DirectiveMatch.directive_id == directive_id,
            DirectiveMatch.superseded_at.is_(None),
            DirectiveMatch.thing.in_(things),
            DirectiveMatch.thing.not_in(seen_to),
        )
        .order_by(DirectiveMatch.id)
    )


def cars_of(db: Session, directive_id: int) -> Sequence[int]:
    """The keys of all cars that it is about, in ascending order."""
    query = select(DirectiveMatch.car_id).where(DirectiveMatch.directive_id == directive_id)
    return db.scalars(query.distinct().order_by(DirectiveMatch.car_id)).all()

"""Keeping directives up to date with the fleet: cars and components that come under one after it was frozen."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from datetime import date

from sqlalchemy.orm import Session

from app.actions import rows
from app.actions.stamp import Stamp
from app.core.directive import Condition, Found, condition_of, may_be_the_same, same
from app.core.facts import Reason
from app.store import directive_keeping, directive_matching, fleet_rows
from app.store.asked import Standpoint
from app.store.directive_matching import Matched, Placed
from app.store.directives import Directive, DirectiveMatch
from app.store.facts import CarRecord
from app.store.tables import Lading


def ask_again(db: Session, car_ids: Sequence[int], stamp: Stamp) -> None:
    """Add to every directive in force what these cars, which just changed, have come to have of it.

    Belongs into the transaction of the change. Without a directive it is one question.
    """
    asked = directive_keeping.in_force(db)
    if not asked or not car_ids:
        return
    ordered = sorted(set(car_ids))
    for first in range(0, len(ordered), directive_matching.AT_ONCE):
        some = ordered[first : first + directive_matching.AT_ONCE]
        owners = {key: row[2] for key, row in fleet_rows.in_record(db, some, stamp.today).items()}
        for directive in asked:
            _ask_again(db, directive, some, owners, stamp)


def _ask_again(
    db: Session, directive: Directive, car_ids: Sequence[int], owners: dict[int, int], stamp: Stamp
) -> None:
    family = directive_keeping.family(db, directive.party_id)
    mine = [key for key in car_ids if owners.get(key) in family]
    condition = condition_of(directive.condition)
    known = directive_keeping.keys_of(db, directive.id, car_ids)
    then = directive_matching.found(db, condition, mine, Standpoint(directive.as_of))
    add(db, directive, then, "recorded_later", stamp, known)
    _open_again(db, directive, car_ids, stamp)
    add_followed(db, directive, car_ids, stamp, known)
    if directive.takes_later:
        add_later(db, directive, condition, mine, stamp, known)


def _open_again(db: Session, directive: Directive, car_ids: Sequence[int], stamp: Stamp) -> None:
    """That a component is gone from a car counts while it is gone: put back, it is open there again."""
    gone = directive_keeping.closed_as_gone(db, directive.id, car_ids)
    if not gone:
        return
    there = {
        (each.car_id, each.thing)
        for each in directive_matching.placed(db, car_ids, Standpoint(stamp.today))
    }
    for match, closing in gone:
        if (match.car_id, match.thing) in there:
            rows.withdraw(db, closing, "The component is on the car again.", stamp)


def add_later(
    db: Session,
    directive: Directive,
    condition: Condition,
    car_ids: Sequence[int],
    stamp: Stamp,
    known: set[directive_keeping.MatchKey],
) -> None:
    """Add what matches today among these cars; `known` is what was found before, and grows."""
    now = directive_matching.found(db, condition, car_ids, Standpoint(stamp.today))
    add(db, directive, now, "later", stamp, known)


def add_followed(
    db: Session,
    directive: Directive,
    car_ids: Sequence[int],
    stamp: Stamp,
    known: set[directive_keeping.MatchKey],
) -> None:
    """Add components under the order, not yet closed, that are on one of these cars now and were not when found."""
    if "kind" not in directive.condition:
        return
    there = directive_matching.placed(db, car_ids, Standpoint(stamp.today))
    things = {each.thing for each in there}
    origin = directive_keeping.open_components(db, directive.id, things)
    for each in there:
        before = _first_of(origin.get(each.thing, ()), each)
        if before is None or (each.car_id, each.thing) in known:
            continue
        known.add((each.car_id, each.thing))
        db.add(
            DirectiveMatch(
                car_id=each.car_id, component_id=each.component_id, thing=each.thing,
                found="followed", from_on=max(each.since, directive.ordered_on),
                found_on=before.found_on, by_hand=before.by_hand, why=before.why,
                about=each.about, directive_id=directive.id, **made(stamp),
            )
        )  # fmt: skip
    db.flush()


def by_lading(db: Session) -> list[Directive]:
    """The directives in force that a car comes under by what it carries."""
    asked = directive_keeping.in_force(db)
    return [each for each in asked if each.takes_later and {"un", "lading"} & each.condition.keys()]


def would_be_about(
    db: Session, record: CarRecord, lading: Lading, asked: Sequence[Directive], on: date
) -> tuple[Reason, ...]:
    """Which of these the car would come under with this lading on a day, and is not under yet: somebody is to look."""
    return tuple(
        Reason(
            f"With {lading.name} the car would come under the directive {each.title}, which is not looked at on it yet",
            each.name,
        )
        for each in asked if _would_be_about(db, record, lading, each, on)
    )  # fmt: skip


def _would_be_about(
    db: Session, record: CarRecord, lading: Lading, directive: Directive, on: date
) -> bool:
    condition = condition_of(directive.condition)
    carried = ((condition.un, lading.un), (condition.lading, lading.name))
    if any(wanted is not None and same(wanted, found) is False for wanted, found in carried):
        return False
    if record.owner_id not in directive_keeping.family(db, directive.party_id):
        return False
    if directive_keeping.keys_of(db, directive.id, [record.car_id]):
        return False  # on record already, open or closed
    otherwise = replace(condition, un=None, lading=None)
    return bool(directive_matching.found(db, otherwise, [record.car_id], Standpoint(on)))


def _first_of(
    found: Sequence[directive_keeping.OpenComponent], each: Placed
) -> DirectiveMatch | None:
    """The match of the same thing; two of one serial may be of two makers."""
    return next((match for match, looks in found if may_be_the_same(looks, each.looks)), None)


def add(
    db: Session,
    directive: Directive,
    found: Iterable[Matched],
    how: Found,
    stamp: Stamp,
    known: set[directive_keeping.MatchKey],
) -> None:
    """Write what was found and is not known yet; what cannot be told only where the directive takes it."""
    db.add_all(_rows(directive, found, how, stamp, known))
    db.flush()


def _rows(
    directive: Directive,
    found: Iterable[Matched],
    how: Found,
    stamp: Stamp,
    known: set[directive_keeping.MatchKey],
) -> Iterator[DirectiveMatch]:
    since, counted_from = _days(directive, how, stamp)
    for each in found:
        if each.key in known or (each.match.by_hand and not directive.takes_by_hand):
            continue
        known.add(each.key)
        yield DirectiveMatch(
            car_id=each.car_id, component_id=each.component_id, thing=each.thing,
            directive_id=directive.id, found=how, from_on=since, found_on=counted_from, by_hand=each.match.by_hand,
            why=[list(fact) for fact in each.match.why], about=each.about, **made(stamp),
        )  # fmt: skip


def _days(directive: Directive, how: Found, stamp: Stamp) -> tuple[date, date]:
    """From when a match holds, and from when the days to its due day are counted.

    What was so on the frozen day is as old as the order, whenever it was recorded: the safe side.
    """
    if how == "later":
        return stamp.today, stamp.today
    return directive.ordered_on, directive.frozen_on


def made(stamp: Stamp) -> dict[str, object]:
    """What a row says of its recording; a file that is taken back takes no match with it."""
    return {"recorded_at": stamp.at, "recorded_by": stamp.by}

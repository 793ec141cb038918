"""Which cars and components a condition is about, on a day and as known at a moment: the fleet as it was.

What is installed where that day, and what the car was then, is read here; whether that matches, `core.directive` says.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Any

from sqlalchemy import ColumnElement, Select, and_, or_, select
from sqlalchemy.orm import Session

from app.core.directive import (
    OF_COMPONENTS,
    CarLooks,
    ComponentLooks,
    Condition,
    Match,
    component_matches,
    kinds_asked,
    matches,
    thing_of,
)
from app.core.words import capitalized, label
from app.store import cars, fleet_rows, reach
from app.store.asked import Standpoint, counted
from app.store.columns import CarFact
from app.store.fleet_rows import AskedPlainly, InRegister
from app.store.tables import (
    IN_RECORD,
    Car,
    Component,
    Construction,
    EventRow,
    Installation,
    LiningFact,
    Party,
    Removal,
    ServiceFact,
)

AT_ONCE = 5_000
AnyRow = tuple[Any, ...]


@dataclass(frozen=True, slots=True)
class Matched:
    """A car, or a component on it, that matches or may match; `about` is the component in words."""

    car_id: int
    component_id: int | None
    match: Match
    about: str = ""
    thing: str = ""

    @property
    def key(self) -> tuple[int, str]:
        return self.car_id, self.thing


@dataclass(frozen=True, slots=True)
class Placed:
    """A component on a car since a day."""

    car_id: int
    component_id: int
    looks: ComponentLooks
    position: str
    since: date

    @property
    def thing(self) -> str:
        return thing_of(self.looks, self.position, self.since)

    @property
    def about(self) -> str:
        looks = self.looks
        told = [capitalized(label(looks.kind))]
        told += [looks.maker, looks.model]
        told += [f"lot {looks.lot}" if looks.lot else "", self.position]
        told += [f"serial {looks.serial}" if looks.serial else "no serial"]
        return ", ".join(each for each in told if each)


def of_party(db: Session, party_id: int) -> Select[int]:
    """The keys of the cars that a party of the session, or one that it keeps, owns now."""
    return select(Car.id).where(Car.owner_id.in_(family(party_id)), reach.owned(db, Car.owner_id))


def family(party_id: int) -> Select[int]:
    """A party and those that it keeps."""
    return select(Party.id).where(or_(Party.id == party_id, Party.kept_by == party_id))


def fleet(db: Session, party_id: int) -> Sequence[int]:
    """The keys of a party's cars in ascending order."""
    return db.scalars(of_party(db, party_id).order_by(Car.id)).all()


def found(
    db: Session, condition: Condition, car_ids: Sequence[int], at: Standpoint
) -> list[Matched]:
    """What matches or may match among these cars (in ascending order), those in record on the day."""
    told: list[Matched] = []
    for first in range(0, len(car_ids), AT_ONCE):
        told += _found(db, condition, car_ids[first : first + AT_ONCE], at)
    return told


def _found(
    db: Session, condition: Condition, car_ids: Sequence[int], at: Standpoint
) -> Iterator[Matched]:
    if condition.kind is None:
        for car_id, looks in _looks(db, condition, car_ids, at).items():
            match = matches(condition, looks)
            if match is not None:
                yield Matched(car_id, None, match)
        return
    on_them = [
        each
        for each in placed(db, car_ids, at, kinds_asked(condition.kind))
        if component_matches(condition, each.looks)
    ]
    known = _looks(db, condition, sorted({each.car_id for each in on_them}), at)
    for each in on_them:
        car = known.get(each.car_id)
        match = matches(condition, car, each.looks) if car else None
        if match is not None:
            yield Matched(each.car_id, each.component_id, match, each.about, each.thing)


def unrecorded(db: Session, condition: Condition, car_ids: Sequence[int], at: Standpoint) -> int:
    """How many of these cars have on record nothing of what is asked: no component of the kind, or no lining fact.

    Of those that are as is asked of cars otherwise. They are taken as not meant, so somebody is to know.
    """
    if condition.kind is None and condition.lining is None:
        return 0
    otherwise = replace(condition, kind=None, lining=None, **dict.fromkeys(OF_COMPONENTS))
    return sum(
        _unrecorded(db, condition, otherwise, car_ids[first : first + AT_ONCE], at)
        for first in range(0, len(car_ids), AT_ONCE)
    )


def _unrecorded(
    db: Session, condition: Condition, otherwise: Condition, car_ids: Sequence[int], at: Standpoint
) -> int:
    if condition.kind is not None:
        there = {each.car_id for each in placed(db, car_ids, at, kinds_asked(condition.kind))}
    else:
        asked = AskedPlainly(db, car_ids, at.as_of, at.known_at)
        there = {row[0] for row in asked.latest(LiningFact, ("lined",))}
    looks = _looks(db, otherwise, car_ids, at)
    return sum(
        car_id not in there and matches(otherwise, each) is not None
        for car_id, each in looks.items()
    )


def placed(
    db: Session, car_ids: Sequence[int], at: Standpoint, kinds: Collection[str] | None = None
) -> list[Placed]:
    """The components on these cars on the day, of some kinds (None: of any), each once a car."""
    asked = AskedPlainly(db, car_ids, at.as_of, at.known_at)
    gone = and_(
        Removal.installation_id == Installation.id,
        Removal.removed_on <= at.as_of,
        counted(Removal, at.known_at),
    )
    query = (
        select(
            Installation.car_id, Installation.component_id, Installation.position,
            Installation.from_on, Component.kind, Component.maker,
            Component.model, Component.lot, Component.serial,
        )
        .join(Component, Component.id == Installation.component_id)
        .outerjoin(Removal, gone)
        .where(Removal.id.is_(None))
    )  # fmt: skip
    if kinds is not None:
        query = query.where(Component.kind.in_(kinds))
    rows = {row[:2]: row for row in asked.in_force(Installation, query)}
    return [
        Placed(car_id, component_id, ComponentLooks(*looks), position, since)
        for car_id, component_id, position, from_on, *looks in rows.values()
        if (since := fleet_rows.day_of(from_on)) is not None
    ]


# Cars as they were ------------------------------------------------------------------------------------------------


def _looks(
    db: Session, condition: Condition, car_ids: Sequence[int], at: Standpoint
) -> dict[int, CarLooks]:
    """By car what the condition may ask of it; what it does not ask is not read."""
    if not car_ids:
        return {}
    known = fleet_rows.in_register(db, car_ids, at)
    owners = cars.party_names(db) if condition.owner is not None else {}
    built = ("builder", "design", "material")
    builds = _latest(db, condition, built, Construction, car_ids, at)
    ladings = _latest(db, condition, ("un",), ServiceFact, car_ids, at)
    linings = _linings(db, car_ids, at) if condition.lining is not None else {}
    return {
        car_id: _car(car, owners, builds.get(car_id), ladings.get(car_id), linings.get(car_id, ""))
        for car_id, car in known.items()
        if car.standing in IN_RECORD
    }


def _car(
    car: InRegister,
    owners: dict[int, str],
    built: AnyRow | None,
    lading: AnyRow | None,
    lining: str | None,
) -> CarLooks:
    builder, design, material = built or (None, None, None)
    (un,) = lading or (None,)
    return CarLooks(
        specification=car.specification, design=design, builder=builder, built_on=car.built_on,
        material=material, un=un, lading=car.commodity, owner=owners.get(car.owner_id),
        lining=lining,
    )  # fmt: skip


def _latest(
    db: Session,
    condition: Condition,
    names: tuple[str, ...],
    table: type[CarFact],
    car_ids: Sequence[int],
    at: Standpoint,
) -> dict[int, AnyRow]:
    """By car these columns of the row in force, where the condition asks for any of them."""
    if all(getattr(condition, name) is None for name in names):
        return {}
    asked = AskedPlainly(db, car_ids, at.as_of, at.known_at)
    return {row[0]: row[1:] for row in asked.latest(table, names)}


def _linings(db: Session, car_ids: Sequence[int], at: Standpoint) -> dict[int, str | None]:
    """By car the kind of its lining, "" for none, None where an event after the fact leaves the kind open."""
    asked = AskedPlainly(db, car_ids, at.as_of, at.known_at)
    stated = {row[0]: row[1:] for row in asked.latest(LiningFact, ("lined", "kind", "applied_on"))}
    query = (
        select(EventRow.car_id, EventRow.happened_on, EventRow.items)
        .where(
            asked.among(EventRow.car_id.expression),
            counted(EventRow, at.known_at),
            EventRow.happened_on <= at.as_of,
            _of_lining(),
        )
        .order_by(EventRow.car_id, EventRow.happened_on, EventRow.id)
    )
    events = {row[0]: row[1:] for row in asked.rows(query)}
    return {
        car_id: _lining(stated.get(car_id), events.get(car_id))
        for car_id in stated.keys() | events.keys()
    }


def _of_lining() -> ColumnElement[bool]:
    return or_(*(EventRow.items.contains(f"lining_{what}") for what in ("applied", "removed")))


def _lining(stated: AnyRow | None, event: AnyRow | None) -> str | None:
    """What the fact states, unless the lining was taken out or another put in since it was applied."""
    lined, kind, applied_on = stated or (False, None, None)
    applied = fleet_rows.day_of(applied_on)
    happened = fleet_rows.day_of(event[0]) if event else None
    if event is None or (applied and happened and happened <= applied):
        return (kind or None) if lined else ""
    return None if "lining_applied" in event[1].split(";") else ""

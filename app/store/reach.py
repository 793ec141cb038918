"""Which rows a session may find. Every question about cars asks here, so that finding is permission.

A session is opened for somebody (`app.access.Reach`) or for the machine itself; one that says neither
finds nothing and raises.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Sequence
from dataclasses import replace
from datetime import date
from typing import Any, cast

from sqlalchemy import (
    BindParameter,
    ColumnElement,
    Date,
    Row,
    Select,
    Update,
    and_,
    bindparam,
    case,
    delete,
    exists,
    func,
    insert,
    literal,
    or_,
    select,
    true,
    tuple_,
    update,
)
from sqlalchemy.orm import Session, aliased

from app.access import KINDS_OF, Capability, Reach, Viewer
from app.access.capability import FOREIGN, Kind
from app.access.reach import ITEMS_OF
from app.core.facts import ITEMS
from app.store.derived import DueRow
from app.store.prepared import by_key
from app.store.tables import IN_RECORD, Car, Ownership, Party
from app.store.visits import ENDS, CarReach, Visit, VisitStep, stepped

Condition = ColumnElement[bool]
# A car, a party, and by what it reaches it.
Sharing = tuple[int, int, str]
AT_ONCE = 5_000


def of(db: Session) -> Reach:
    """For whom this session was opened."""
    try:
        return cast(Reach, db.info["reach"])
    except KeyError:
        raise RuntimeError("A session was opened without saying for whom.") from None


def take_in(db: Session, party: Party) -> None:
    """Let the session reach what will be of a party that it added and that its own people keep."""
    mine = of(db)
    if mine.parties is not None and party.kept_by in mine.parties:
        added = frozenset((party.id,))
        db.info["reach"] = replace(mine, parties=mine.parties | added, named=mine.named | added)


def _shares(kind: Kind) -> ColumnElement[Any]:
    kept = select(Party.id).where(MINE)
    return exists().where(CarReach.party_id.in_(kept), CarReach.kind == kind)


# Asked at every request, so it is put together once.
MINE = or_(
    Party.id.in_(bindparam("members", expanding=True)),
    Party.kept_by.in_(bindparam("members", expanding=True)),
)
KINDS = sorted(FOREIGN)
OF_MEMBERS = by_key(
    select(
        Party.id,
        select(func.count()).select_from(aliased(Party)).scalar_subquery(),
        *map(_shares, KINDS),
    ).where(MINE)
)


def of_viewer(db: Session, viewer: Viewer, capability: Capability) -> Reach:
    """What a person reaches who wants to do this; one query."""
    members = viewer.parties(capability)
    found = db.execute(OF_MEMBERS, {"members": sorted(members)}).all()
    parties = frozenset(row[0] for row in found)
    shared = found[0][2:] if found else ()
    there = frozenset(kind for kind, any_ in zip(KINDS, shared, strict=False) if any_)
    # Whoever answers for every party there is asks without conditions, which indexes like best.
    every = bool(found) and len(parties) == found[0][1]
    return Reach(
        None if every else parties, there & KINDS_OF[capability], members, viewer.person_id, parties
    )


def owned(db: Session, owner: Any) -> Condition:
    """Rows of the parties of the session alone."""
    parties = of(db).parties
    return true() if parties is None else owner.in_(sorted(parties))


def whole(db: Session, owner: Any, car: Any) -> Condition:
    """Cars of which everything may be found: own ones, and those in the party's shop."""
    reach = of(db)
    if reach.parties is None or "shop" not in reach.foreign:
        return owned(db, owner)
    return or_(owned(db, owner), car.in_(_shared(reach, ("shop",))))


def some(db: Session, owner: Any, car: Any) -> Condition:
    """Cars of which anything may be found."""
    reach = of(db)
    if reach.parties is None or not reach.foreign:
        return owned(db, owner)
    return or_(owned(db, owner), car.in_(_shared(reach, sorted(reach.foreign))))


def since_sent(db: Session, car_id: int) -> date | None:
    """The day since which a car is reached by whoever has it in their shop alone; None where it is theirs."""
    reach = of(db)
    if reach.parties is None or db.scalar(
        select(Car.id).where(Car.id == car_id, owned(db, Car.owner_id))
    ):
        return None
    step = aliased(VisitStep)
    return db.scalar(
        select(func.min(step.happened_on))
        .join(Visit, Visit.id == step.visit_id)
        .where(
            Visit.car_id == car_id,
            Visit.shop_id.in_(sorted(reach.parties)),
            Visit.superseded_at.is_(None),
            step.superseded_at.is_(None),
            step.step.in_(("sent", "arrived")),
            ~stepped(Visit.id, ENDS),
        )
    )


def as_it_is(column: Any) -> ColumnElement[Any]:
    """A column as its index knows it."""
    found: ColumnElement[Any] = column
    return found


def due_items(db: Session, at: Callable[[Any], ColumnElement[Any]] = as_it_is) -> Condition:
    """Due items that may be found: of whole cars, and those that a lining's or equipment's owner answers for."""
    reach = of(db)
    condition = whole(db, at(DueRow.owner_id), at(DueRow.car_id))
    if reach.parties is None or not reach.partial:
        return condition
    parts = [
        and_(
            at(DueRow.car_id).in_(_shared(reach, (kind,))),
            at(DueRow.item_no).in_([ITEMS.index(item) for item in sorted(ITEMS_OF[kind])]),
        )
        for kind in sorted(reach.partial)
    ]
    return or_(condition, *parts)


def asked(db: Session, person: Any) -> Condition:
    """Work and files of the session's own person; the machine's session finds everybody's."""
    mine = of(db).person_id
    return true() if mine is None else person == mine


def asked_by(db: Session, person_id: int | None) -> bool:
    """Whether the person is the session's own, or the session the machine's."""
    mine = of(db).person_id
    return mine is None or mine == person_id


def items_of(db: Session, car_id: int) -> frozenset[str] | None:
    """The items of a car that may be found; None when all of it may be, empty when nothing."""
    reach = of(db)
    if reach.parties is None or db.scalar(
        select(Car.id).where(Car.id == car_id, whole(db, Car.owner_id, Car.id))
    ):
        return None
    return some_items_of(db, car_id)


def some_items_of(db: Session, car_id: int) -> frozenset[str]:
    """The items that may be found of a car that is not reached as a whole."""
    reach = of(db)
    kinds = db.scalars(
        select(CarReach.kind).where(
            CarReach.car_id == car_id,
            CarReach.party_id.in_(sorted(reach.parties or ())),
            CarReach.kind.in_(sorted(reach.partial)),
        )
    )
    return frozenset(item for kind in kinds for item in ITEMS_OF[cast(Kind, kind)])


def _shared(reach: Reach, kinds: Sequence[str]) -> Select[int]:
    return select(CarReach.car_id).where(
        CarReach.party_id.in_(sorted(reach.parties or ())), CarReach.kind.in_(kinds)
    )


def settle_keepers(db: Session, car_ids: Collection[int] | None = None) -> None:
    """Bring up to date who keeps the records of these cars (None: of all), after their owners or parties changed.

    A keeper who has a car of the same mark and number in record gets the other as its `twin`: whoever
    gives a car away must not learn of it. Of several that come at once the first one has the name.
    """
    db.flush()
    # Past the session: what is derived is no part of the record of change, and is not looked at row by row.
    db.connection().execute(_settling(car_ids))


def _settling(car_ids: Collection[int] | None) -> Update:
    """One statement for all of them, which reads how things stood before it."""
    keeper = func.coalesce(Party.kept_by, Party.id)
    coming = (
        select(
            Car.id,
            keeper.label("keeper_id"),
            case((_has_namesake(keeper, car_ids), Car.id), else_=0).label("twin"),
        )
        .join(Party, Party.id == Car.owner_id)
        .where(Car.keeper_id != keeper, *_among(Car.id, car_ids))
        .subquery("coming")
    )
    return (
        update(Car)
        .where(Car.id == coming.c.id)
        .values(keeper_id=coming.c.keeper_id, twin=coming.c.twin)
    )


def _among(car_id: Any, car_ids: Collection[int] | None) -> list[Condition]:
    return [] if car_ids is None else [car_id.in_(car_ids)]


def _has_namesake(
    keeper: ColumnElement[int], car_ids: Collection[int] | None
) -> ColumnElement[bool]:
    """The keeper has a car of this name in record, or gets one before this."""
    other, owner = aliased(Car), aliased(Party)
    before = and_(
        other.id < Car.id,
        func.coalesce(owner.kept_by, owner.id) == keeper,
        *_among(other.id, car_ids),
    )
    return exists().where(
        other.mark == Car.mark,
        other.number == Car.number,
        other.id != Car.id,
        other.standing.in_(IN_RECORD),
        owner.id == other.owner_id,
        or_(other.keeper_id == keeper, before),
    )


# Derived with the due items ---------------------------------------------------------------------------------------


def rebuild(db: Session, car_ids: Iterable[int], today: date) -> None:
    """Put anew with whom these cars are shared, as known now; writes only what differs."""
    ordered = sorted(set(car_ids))
    for start in range(0, len(ordered), AT_ONCE):
        part = ordered[start : start + AT_ONCE]
        settle_keepers(db, part)
        held, fresh = sharings(db, part, today)
        if held - fresh:
            key = tuple_(CarReach.car_id, CarReach.party_id, CarReach.kind)
            db.execute(delete(CarReach).where(key.in_(sorted(held - fresh))))
        if fresh - held:
            names = ("car_id", "party_id", "kind")
            db.execute(
                insert(CarReach),
                [dict(zip(names, row, strict=True)) for row in sorted(fresh - held)],
            )


def sharings(db: Session, car_ids: Sequence[int], today: date) -> tuple[set[Sharing], set[Sharing]]:
    """With whom these cars are shared: as it is stored, and as what is recorded has it."""
    stored = select(CarReach.car_id, CarReach.party_id, CarReach.kind)
    held = {_sharing(row) for row in db.execute(stored.where(CarReach.car_id.in_(car_ids)))}
    asked = {"car_ids": car_ids, "today": today}
    fresh = {_sharing(row) for query in SHARINGS for row in db.execute(query, asked)}
    return held, fresh


def _sharing(row: Row[*tuple[Any, ...]]) -> Sharing:
    return row[0], row[1], row[2]


def _sharings() -> Iterable[Select[*tuple[Any, ...]]]:
    car_ids: BindParameter[int] = bindparam("car_ids", expanding=True)
    today = bindparam("today", type_=Date)
    for kind, column in (
        ("lining", Ownership.lining_owner_id),
        ("equipment", Ownership.equipment_owner_id),
    ):
        later = aliased(Ownership)
        yield select(Ownership.car_id, column, literal(kind)).where(
            Ownership.car_id.in_(car_ids),
            column.is_not(None),
            column != Ownership.owner_id,
            Ownership.superseded_at.is_(None),
            Ownership.from_on <= today,
            ~exists().where(
                later.car_id == Ownership.car_id,
                later.superseded_at.is_(None),
                later.from_on <= today,
                tuple_(later.from_on, later.id) > tuple_(Ownership.from_on, Ownership.id),
            ),
        )
    yield (
        select(Visit.car_id, Visit.shop_id, literal("shop"))
        .where(
            Visit.car_id.in_(car_ids),
            Visit.superseded_at.is_(None),
            stepped(Visit.id, ("sent", "arrived")),
            ~stepped(Visit.id, ENDS),
        )
        .distinct()
    )


# Built once: asked after each change of a car, with other cars and days.
SHARINGS = tuple(_sharings())

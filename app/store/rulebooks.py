"""Questions about editions of the rules: which are loaded, which are in force for whom, and what each rule governs."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import cache

from sqlalchemy import Select, func, select, text
from sqlalchemy.orm import Session

from app.errors import NotFound
from app.store import due_counts, prepared, reach
from app.store.asked import KNOWN_AT
from app.store.derived import DueRolled, DueRow, RulebookEdition, RulebookInForce
from app.store.tables import IN_RECORD, Car, Party


@dataclass(frozen=True, slots=True)
class Put:
    """When which edition (None: none) was put in force for an owner (None: for all), and by whom."""

    edition_id: int | None
    code: str | None
    edition: str | None
    owner_id: int | None
    owner: str | None
    at: datetime
    by: str


def editions(db: Session) -> Sequence[RulebookEdition]:
    """All that was ever loaded, in that order."""
    return db.scalars(select(RulebookEdition).order_by(RulebookEdition.id)).all()


def edition_or_raise(db: Session, edition_id: int) -> RulebookEdition:
    found = db.get(RulebookEdition, edition_id)
    if found is None or not may_see(db, found.owner_id):
        raise NotFound("There is no such edition of the rules.")
    return found


def may_see(db: Session, owner_id: int | None) -> bool:
    """Whether the session may see rules of this owner (None: of all)."""
    parties = reach.of(db).parties
    return owner_id is None or parties is None or owner_id in parties


def shown(db: Session) -> list[RulebookEdition]:
    """The editions for all, and the programmes of the session's own parties."""
    return [each for each in editions(db) if may_see(db, each.owner_id)]


def by_code(db: Session, code: str) -> RulebookEdition | None:
    return db.scalars(select(RulebookEdition).where(RulebookEdition.code == code)).first()


def in_force(db: Session, known_at: datetime | None = None) -> dict[int | None, int]:
    """The edition in force by owner, at a moment (None: now); None stands for all. Whoever has none is left out."""
    db.flush()
    given = {"known_at": known_at} if known_at is not None else {}
    rows = db.connection().execute(_held(known_at is None), given)
    return {row.owner_id: row.edition_id for row in rows if row.edition_id is not None}


@cache
def _held(now: bool) -> Select[int | None, int | None]:
    """Put together once: it is part of every answer."""
    latest = select(func.max(RulebookInForce.id)).group_by(RulebookInForce.owner_id)
    if not now:
        latest = latest.where(RulebookInForce.recorded_at <= KNOWN_AT)
    held = select(RulebookInForce.owner_id, RulebookInForce.edition_id)
    return prepared.by_key(held.where(RulebookInForce.id.in_(latest)))


def history(db: Session) -> list[Put]:
    """What was put in force when, the latest first."""
    rows = db.execute(
        select(
            RulebookInForce.edition_id, RulebookEdition.code, RulebookEdition.edition,
            RulebookInForce.owner_id, Party.name, RulebookInForce.recorded_at,
            RulebookInForce.recorded_by,
        )
        .outerjoin(RulebookEdition, RulebookEdition.id == RulebookInForce.edition_id)
        .outerjoin(Party, Party.id == RulebookInForce.owner_id)
        .order_by(RulebookInForce.id.desc())
    )  # fmt: skip
    return [put for row in rows if may_see(db, (put := Put(*row)).owner_id)]


def governed(db: Session) -> dict[str, dict[str, int]]:
    """How many cars in service each rule governs now, by its id and the state of their items; one query.

    Items that were not worked out since this was first kept stand under the empty name.
    """
    query = (
        select(DueRow.rule, DueRow.state, func.count(DueRow.car_id.distinct()))
        .where(DueRow.listed.is_(True), reach.due_items(db))
        .group_by(DueRow.rule, DueRow.state)
    )
    if due_counts.cut_of(db, None, None):
        listed = DueRolled.listed.is_(True)
        query = (
            select(DueRolled.rule, DueRolled.state, func.sum(DueRolled.number))
            .where(*due_counts.rows_of(db, "rule"), listed, DueRolled.number > 0)
            .group_by(DueRolled.rule, DueRolled.state)
        )
    found: dict[str, dict[str, int]] = defaultdict(dict)
    for rule, state, cars in db.execute(query):
        found[rule][state] = cars
    return found


def cars_of(db: Session, owner_id: int | None, *, in_record: bool = False) -> Sequence[int]:
    """The keys of the cars of an owner (None: of all), by mark and number; with or without those out of the record."""
    query = (
        select(Car.id).where(reach.owned(db, Car.owner_id)).order_by(Car.mark, Car.number, Car.id)
    )
    if owner_id is not None:
        query = query.where(Car.owner_id == owner_id)
    if in_record:
        query = query.where(Car.standing.in_(IN_RECORD))
    return db.scalars(query).all()


def hold(db: Session) -> None:
    """Wait until no whole fleet is being worked out by rules that are put in force, and keep that off.

    So no date is stored by rules that hold no longer. SQLite has one writer anyhow.
    """
    _lock(db, "TABLE due IN ROW EXCLUSIVE MODE")


def hold_fleet(db: Session) -> None:
    """Wait for everybody who records something, and have all others wait; reading goes on."""
    # Cars first, as whoever records something takes them, so that none waits for the other.
    _lock(db, "TABLE car, due IN EXCLUSIVE MODE")


def _lock(db: Session, what: str) -> None:
    if db.get_bind().dialect.name == "postgresql":
        db.execute(text(f"LOCK {what}"))

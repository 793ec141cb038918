"""All that was recorded of one car, as it stood at a moment and reaching no further than a day."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from typing import Any, TypeVar

from sqlalchemy import and_, inspect, select
from sqlalchemy.orm import InstrumentedAttribute, Session

from app.store import cars, events
from app.store.asked import Standpoint, counted
from app.store.cars import Histories
from app.store.cars import Recorded as Shown
from app.store.columns import CarFact, Recorded
from app.store.components import Mounted
from app.store.directives import Directive, DirectiveClosing, DirectiveMatch, DirectiveTerm
from app.store.events import EventShown
from app.store.tables import ApprovalFact, Component, Installation, Removal, Withdrawal

R = TypeVar("R", bound=Recorded)
F = TypeVar("F", bound=CarFact)


def histories(db: Session, car_id: int, at: Standpoint) -> Histories:
    """Every fact recorded by then that holds from the day or before."""
    found = cars.histories(db, car_id)
    kinds: dict[str, Any] = {
        name: _then(db, getattr(found, name), at)
        for name in Histories.__dataclass_fields__
        if name != "parties"
    }
    return replace(found, **kinds)


def event_history(db: Session, car_id: int, at: Standpoint) -> list[EventShown]:
    """Every event recorded by then that had happened by the day."""
    found = [
        replace(each, row=_stood(db, each.row, at), withdrawal=_by(each.withdrawal, at))
        for each in events.history(db, car_id)
        if _recorded_by(each.row, at) and each.row.happened_on <= at.as_of
    ]
    corrected = {each.row.corrects: each.row.id for each in found}
    return [replace(each, corrected_by=corrected.get(each.row.id)) for each in found]


def mounted_history(db: Session, car_id: int, at: Standpoint) -> list[Mounted]:
    """Everything recorded by then as put on by the day, latest first; without a removal it was still on."""
    gone = and_(
        Removal.installation_id == Installation.id,
        Removal.removed_on <= at.as_of,
        counted(Removal, at.known_at),
    )
    query = (
        select(Installation, Component, Removal)
        .join(Component, Component.id == Installation.component_id)
        .outerjoin(Removal, gone)
        .where(Installation.car_id == car_id, Installation.from_on <= at.as_of)
        .order_by(Installation.from_on.desc(), Installation.id.desc())
    )
    return [
        Mounted(_stood(db, put_on, at), component, removal)
        for put_on, component, removal in db.execute(query).all()
        if _recorded_by(put_on, at)
    ]


def on_car(history: Sequence[Mounted]) -> list[Mounted]:
    """What of it was on the car, by kind and position."""
    there = [each for each in history if each.in_force and each.removal is None]
    return sorted(
        there, key=lambda each: (each.component.kind, each.installation.position, each.installation.id)
    )  # fmt: skip


@dataclass(frozen=True, slots=True)
class MatchKnown:
    """That a directive is about the car, or a component on it; every closing, those taken back among them."""

    row: DirectiveMatch
    closings: Sequence[tuple[DirectiveClosing, Withdrawal | None]]

    @property
    def closed(self) -> bool:
        return any(closing.superseded_at is None for closing, _ in self.closings)


@dataclass(frozen=True, slots=True)
class DirectiveKnown:
    """A directive that is about the car, withdrawn or not; its terms, the first first, of which one counts."""

    row: Directive
    withdrawal: Withdrawal | None
    terms: Sequence[DirectiveTerm]
    matches: Sequence[MatchKnown]

    @property
    def term(self) -> DirectiveTerm:
        return next(each for each in self.terms if each.superseded_at is None)


def directives(db: Session, car_id: int, at: Standpoint) -> list[DirectiveKnown]:
    """Every directive that was found by the day to be about the car, the first given first."""
    query = select(DirectiveMatch).where(
        DirectiveMatch.car_id == car_id,
        DirectiveMatch.from_on <= at.as_of,
        counted(DirectiveMatch, at.known_at),
    )
    found = db.scalars(query.order_by(DirectiveMatch.directive_id, DirectiveMatch.id)).all()
    closings = _closings(db, [each.id for each in found], at)
    matches: dict[int, list[MatchKnown]] = defaultdict(list)
    for each in found:
        matches[each.directive_id].append(MatchKnown(each, closings[each.id]))
    rows = _recorded_of(db, Directive, Directive.id, matches, at)
    withdrawn = cars.withdrawals(db, "directive", list(matches))
    terms = _recorded_of(db, DirectiveTerm, DirectiveTerm.directive_id, matches, at)
    return [
        DirectiveKnown(
            row,
            _by(withdrawn.get(row.id), at),
            [each for each in terms if each.directive_id == row.id],
            matches[row.id],
        )
        for row in rows
    ]


def _closings(
    db: Session, match_ids: Collection[int], at: Standpoint
) -> dict[int, list[tuple[DirectiveClosing, Withdrawal | None]]]:
    """By match every closing recorded by then of the day or before."""
    found: dict[int, list[tuple[DirectiveClosing, Withdrawal | None]]] = defaultdict(list)
    rows = _recorded_of(db, DirectiveClosing, DirectiveClosing.match_id, match_ids, at)
    withdrawn = cars.withdrawals(db, "directive_closing", [each.id for each in rows])
    for row in rows:
        if row.done_on <= at.as_of:
            found[row.match_id].append((row, _by(withdrawn.get(row.id), at)))
    return found


def _recorded_of(
    db: Session, table: type[R], key: InstrumentedAttribute[int], keys: Collection[int], at: Standpoint
) -> list[R]:  # fmt: skip
    """The rows about these that were recorded by then, as they stood, in the order of their recording."""
    rows = db.scalars(select(table).where(key.in_(keys)).order_by(inspect(table).c.id)).all()
    return [_stood(db, each, at) for each in rows if _recorded_by(each, at)]


def _then(db: Session, found: Sequence[Shown[F]], at: Standpoint) -> tuple[Shown[F], ...]:
    """Latest first, as they were; the first that counted of each kind was in force."""
    shown: list[Shown[F]] = []
    held: set[object] = set()
    for each in found:
        if not _recorded_by(each.row, at) or each.row.from_on > at.as_of:
            continue
        row = _stood(db, each.row, at)
        # Approvals stand side by side, one an item and reference; of every other fact one row holds.
        kind = (row.item, row.reference) if isinstance(row, ApprovalFact) else None
        in_force = row.superseded_at is None and kind not in held
        if in_force:
            held.add(kind)
        shown.append(Shown(row, in_force, _by(each.withdrawal, at)))
    return tuple(shown)


def _recorded_by(row: Recorded, at: Standpoint) -> bool:
    return at.known_at is None or row.recorded_at <= at.known_at


def _stood(db: Session, row: R, at: Standpoint) -> R:
    """The row without a stamp that it got later; let go of by the session, which would write that down."""
    db.expunge(row)
    stamped: Any = row.superseded_at
    if at.known_at is not None and stamped is not None and stamped > at.known_at:
        row.superseded_at = None
    return row


def _by(withdrawal: Withdrawal | None, at: Standpoint) -> Withdrawal | None:
    """The withdrawal, where it was made by then."""
    if withdrawal is None or at.known_at is None or withdrawal.recorded_at <= at.known_at:
        return withdrawal
    return None

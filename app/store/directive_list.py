"""Questions about directives: which are in force, how far they have come, what each is about and where that is now."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from sqlalchemy import ColumnElement, Select, and_, exists, func, or_, select
from sqlalchemy.orm import Session

from app.core.directive import ComponentLooks, Condition, condition_of, may_be_the_same, thing_of
from app.core.facts import Status
from app.core.orders import due_day
from app.core.status import state_on
from app.errors import NotFound
from app.store import directive_matching, reach
from app.store.directive_keeping import LOOKS, in_force
from app.store.directives import Directive, DirectiveClosing, DirectiveMatch, DirectiveTerm
from app.store.prepared import by_key
from app.store.tables import OUT_OF_RECORD, Car, Component, Installation, Party, Removal, Withdrawal

# For people ----------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Progress:
    """How many matches there are of a directive, how many are open, and how many of those overdue.

    Those that were not closed on cars that left the register (sold, scrapped) are `left`, and not open.
    """

    all: int = 0
    open: int = 0
    overdue: int = 0
    by_hand: int = 0
    left: int = 0

    @property
    def closed(self) -> int:
        return self.all - self.open - self.left


@dataclass(frozen=True, slots=True)
class DirectiveShown:
    """A directive with what holds of it; `own` is whether the session's people may change it."""

    row: Directive
    term: DirectiveTerm
    party: str
    own: bool
    progress: Progress
    withdrawal: Withdrawal | None = None

    @property
    def condition(self) -> Condition:
        return condition_of(self.row.condition)

    @property
    def state(self) -> str:
        """`withdrawn`, `overdue`, `open`, or `closed` when nothing of it is open."""
        if self.row.superseded_at is not None:
            return "withdrawn"
        if self.progress.overdue:
            return "overdue"
        return "open" if self.progress.open else "closed"


def all_shown(db: Session, today: date) -> list[DirectiveShown]:
    """Those that the session reaches, the latest first."""
    rows = db.execute(_shown_query(db).order_by(Directive.id.desc())).all()
    progress = _progress(db, [row[0].id for row in rows], today)
    return [_shown(db, row, progress) for row in rows]


def one(db: Session, directive_id: int, today: date) -> DirectiveShown:
    """The directive; NotFound where there is none that the session reaches."""
    row = db.execute(_shown_query(db).where(Directive.id == directive_id)).first()
    if row is None:
        raise NotFound(f"There is no directive with the number {directive_id}.")
    return _shown(db, row, _progress(db, [directive_id], today))


def own_or_raise(db: Session, directive_id: int) -> Directive:
    """The directive, when the session's people may change it."""
    query = select(Directive).where(
        Directive.id == directive_id, reach.owned(db, Directive.party_id)
    )
    found = db.scalars(query).first()
    if found is None:
        raise NotFound(f"There is no directive of yours with the number {directive_id}.")
    return found


def name_of(db: Session, directive_id: int) -> str:
    """What a directive is cited by, for whoever was found to reach it."""
    return db.get_one(Directive, directive_id).name


def on_record(db: Session, party_id: int, orderer: str, number: str) -> bool:
    """Whether a party has an order of this name that counts."""
    query = select(Directive.id).where(
        Directive.party_id == party_id,
        Directive.orderer == orderer,
        Directive.number == number,
        Directive.superseded_at.is_(None),
    )
    return db.scalar(query.limit(1)) is not None


def ordered_on(db: Session, directive_ids: Iterable[int]) -> date | None:
    """The day on which the latest of these was ordered."""
    query = select(func.max(Directive.ordered_on))
    return db.scalar(query.where(Directive.id.in_(sorted(directive_ids))))


def term_of(db: Session, directive_id: int) -> DirectiveTerm:
    query = select(DirectiveTerm).where(
        DirectiveTerm.directive_id == directive_id, DirectiveTerm.superseded_at.is_(None)
    )
    return db.scalars(query).one()


def terms_of(db: Session, directive_id: int) -> Sequence[DirectiveTerm]:
    """Every term it had, the first first."""
    query = select(DirectiveTerm).where(DirectiveTerm.directive_id == directive_id)
    return db.scalars(query.order_by(DirectiveTerm.id)).all()


def _shown_query(db: Session) -> Select[*tuple[Any, ...]]:
    theirs = exists().where(
        DirectiveMatch.directive_id == Directive.id,
        Car.id == DirectiveMatch.car_id,
        reach.whole(db, Car.owner_id, Car.id),
    )
    return (
        select(Directive, DirectiveTerm, Party.name, Withdrawal)
        .join(Party, Party.id == Directive.party_id)
        .join(
            DirectiveTerm,
            and_(DirectiveTerm.directive_id == Directive.id, DirectiveTerm.superseded_at.is_(None)),
        )
        .outerjoin(
            Withdrawal,
            and_(Withdrawal.table_name == "directive", Withdrawal.row_id == Directive.id),
        )
        .where(or_(reach.owned(db, Directive.party_id), theirs))
    )


def _shown(db: Session, row: Any, progress: Mapping[int, Progress]) -> DirectiveShown:
    directive, term, party, withdrawal = row
    parties = reach.of(db).parties
    own = parties is None or directive.party_id in parties
    counted = progress.get(directive.id, Progress())
    return DirectiveShown(directive, term, party, own, counted, withdrawal)


def _progress(db: Session, directive_ids: Sequence[int], today: date) -> dict[int, Progress]:
    """Counted by the day from which days count, since the due day follows from that alone."""
    open_, left = ~_is_closed(), Car.standing.in_(OUT_OF_RECORD)
    query = (
        select(
            DirectiveMatch.directive_id, DirectiveMatch.found_on, open_, left, DirectiveMatch.by_hand,
            DirectiveTerm.due_on, DirectiveTerm.due_days, func.count(),
        )
        .join(
            DirectiveTerm,
            and_(
                DirectiveTerm.directive_id == DirectiveMatch.directive_id,
                DirectiveTerm.superseded_at.is_(None),
            ),
        )
        .join(Car, Car.id == DirectiveMatch.car_id)
        .where(
            DirectiveMatch.directive_id.in_(directive_ids),
            DirectiveMatch.superseded_at.is_(None),
            reach.whole(db, Car.owner_id, Car.id),
        )
        .group_by(
            DirectiveMatch.directive_id, DirectiveMatch.found_on, open_, left, DirectiveMatch.by_hand,
            DirectiveTerm.due_on, DirectiveTerm.due_days,
        )
    )  # fmt: skip
    found: dict[int, Progress] = defaultdict(Progress)
    for directive_id, found_on, not_closed, gone, by_hand, due_on, days, many in db.execute(query):
        was, is_open = found[directive_id], not_closed and not gone
        late = is_open and due_day(due_on, days, found_on) < today
        found[directive_id] = Progress(
            was.all + many,
            was.open + (many if is_open else 0),
            was.overdue + (many if late else 0),
            was.by_hand + (many if by_hand and is_open else 0),
            was.left + (many if not_closed and gone else 0),
        )
    return found


def _is_closed() -> ColumnElement[bool]:
    return exists().where(
        DirectiveClosing.match_id == DirectiveMatch.id, DirectiveClosing.superseded_at.is_(None)
    )


# What it is about ------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Where:
    """On which car a component is now; without a name it is another company's."""

    car_id: int
    name: str


@dataclass(frozen=True, slots=True)
class MatchShown:
    """A match with its car as it is called now, its due day and status, what closed it, and where its component is."""

    row: DirectiveMatch
    mark: str
    number: int
    standing: str
    owner: str
    due_on: date
    status: Status
    closing: DirectiveClosing | None
    now: Sequence[Where] = ()

    @property
    def name(self) -> str:
        return f"{self.mark} {self.number}"

    @property
    def left(self) -> bool:
        """Whether it was not closed and the car has left the register: nothing is due of it here."""
        return self.closing is None and self.standing in OUT_OF_RECORD

    @property
    def elsewhere(self) -> bool:
        """Whether it is a component that is on the car no more."""
        of_component = self.row.component_id is not None
        return of_component and all(each.car_id != self.row.car_id for each in self.now)


@dataclass(frozen=True, slots=True)
class MatchFilter:
    """Which matches are shown, and from which day."""

    today: date
    soon_days: int = 180
    state: str | None = None
    car_id: int | None = None

    def keeps(self, match: MatchShown) -> bool:
        open_ = match.closing is None and not match.left
        return {
            None: True,
            "open": open_,
            "overdue": open_ and match.status == "overdue",
            "by_hand": open_ and match.row.by_hand,
            "elsewhere": open_ and match.elsewhere,
            "closed": match.closing is not None,
            "left": match.left,
        }[self.state]


def matches_of(db: Session, directive_id: int, wanted: MatchFilter) -> list[MatchShown]:
    """The matches of a directive on cars that the session reaches, by mark and number."""
    query = _match_query(db, DirectiveMatch.directive_id == directive_id)
    return _kept(db, query, wanted)


def matches_by_key(db: Session, match_ids: Sequence[int], wanted: MatchFilter) -> list[MatchShown]:
    """These matches, as far as the session reaches them."""
    return _kept(db, _match_query(db, DirectiveMatch.id.in_(match_ids)), wanted)


def of_car(db: Session, car_id: int, wanted: MatchFilter) -> list[tuple[Directive, MatchShown]]:
    """What directives in force are about a car, the first given first."""
    query = _match_query(
        db, and_(DirectiveMatch.car_id == car_id, Directive.superseded_at.is_(None))
    )
    matches = _kept(db, by_key(query), wanted)
    directives = {row.id: row for row in in_force(db)} if matches else {}
    found = [(directives[each.row.directive_id], each) for each in matches]
    return sorted(found, key=lambda pair: (pair[0].id, pair[1].row.id))


def _match_query(db: Session, condition: ColumnElement[bool]) -> Select[*tuple[Any, ...]]:
    return (
        select(
            DirectiveMatch,
            Car.mark,
            Car.number,
            Car.standing,
            Party.name,
            DirectiveTerm,
            DirectiveClosing,
        )
        .join(Car, Car.id == DirectiveMatch.car_id)
        .join(Party, Party.id == Car.owner_id)
        .join(Directive, Directive.id == DirectiveMatch.directive_id)
        .join(
            DirectiveTerm,
            and_(
                DirectiveTerm.directive_id == DirectiveMatch.directive_id,
                DirectiveTerm.superseded_at.is_(None),
            ),
        )
        .outerjoin(
            DirectiveClosing,
            and_(
                DirectiveClosing.match_id == DirectiveMatch.id,
                DirectiveClosing.superseded_at.is_(None),
            ),
        )
        .where(
            condition,
            DirectiveMatch.superseded_at.is_(None),
            reach.whole(db, Car.owner_id, Car.id),
        )
        .order_by(Car.mark, Car.number, DirectiveMatch.id)
    )


def _kept(db: Session, query: Select[*tuple[Any, ...]], wanted: MatchFilter) -> list[MatchShown]:
    rows = db.execute(query).all()
    now = where_now(db, [row[0] for row in rows if row[0].component_id is not None])
    shown = (_match(row, now, wanted) for row in rows)
    return [each for each in shown if wanted.keeps(each)]


def _match(row: Any, now: Mapping[int, Sequence[Where]], wanted: MatchFilter) -> MatchShown:
    match, mark, number, standing, owner, term, closing = row
    due_on = due_day(term.due_on, term.due_days, match.found_on)
    status = state_on("dated", due_on, wanted.today, wanted.soon_days)
    there = now.get(match.id, ())
    return MatchShown(match, mark, number, standing, owner, due_on, status, closing, there)


def where_now(db: Session, matches: Sequence[DirectiveMatch]) -> dict[int, list[Where]]:
    """By match of a component the cars that it is on by what counts now: the same row of it, or the same serial."""
    known = _components(db, [each.component_id for each in matches if each.component_id])
    cars = {
        each.car_id for each in matches if each.component_id and not known[each.component_id].serial
    }
    there: dict[str, list[tuple[ComponentLooks, Where]]] = defaultdict(list)
    for looks, thing, where in _mounted(db, known, cars):
        there[thing].append((looks, where))
    return {
        each.id: [
            where for looks, where in there[each.thing]
            if may_be_the_same(looks, known[each.component_id])
        ]
        for each in matches if each.component_id
    }  # fmt: skip


def _components(db: Session, keys: Iterable[int]) -> dict[int, ComponentLooks]:
    columns = [getattr(Component, name) for name in LOOKS]
    found: dict[int, ComponentLooks] = {}
    for some in _in_parts(sorted(set(keys))):
        query = select(Component.id, *columns).where(Component.id.in_(some))
        found |= {key: ComponentLooks(*looks) for key, *looks in db.execute(query)}
    return found


def _mounted(
    db: Session, known: Mapping[int, ComponentLooks], cars: Collection[int]
) -> Iterator[tuple[ComponentLooks, str, Where]]:
    """What is on a car now and is one of these, has the serial of one, or is on one of the cars without a serial."""
    gone = exists().where(
        Removal.installation_id == Installation.id, Removal.superseded_at.is_(None)
    )
    columns = [getattr(Component, name) for name in LOOKS]
    for some in _in_parts(sorted(known)):
        serials = {known[key].serial for key in some} - {""}
        query = (
            select(
                Car.id, Car.mark, Car.number, reach.whole(db, Car.owner_id, Car.id),
                Installation.position, Installation.from_on, *columns,
            )
            .join(Installation, Installation.car_id == Car.id)
            .join(Component, Component.id == Installation.component_id)
            .where(
                or_(
                    Component.id.in_(some),
                    Component.serial.in_(sorted(serials)),
                    and_(Component.serial == "", Installation.car_id.in_(sorted(cars))),
                ),
                Installation.superseded_at.is_(None),
                ~gone,
            )
            .order_by(Installation.from_on, Installation.id)
        )  # fmt: skip
        for car_id, mark, number, whole, position, since, *looks in db.execute(query):
            component = ComponentLooks(*looks)
            where = Where(car_id, f"{mark} {number}" if whole else "")
            yield component, thing_of(component, position, since), where


def _in_parts(keys: Sequence[int]) -> Iterator[Sequence[int]]:
    at_once = directive_matching.AT_ONCE
    return (keys[first : first + at_once] for first in range(0, len(keys), at_once))


def closing_or_raise(db: Session, closing_id: int) -> int:
    """The key of the directive of a closing on a car that the session reaches."""
    query = (
        select(DirectiveMatch.directive_id)
        .join(DirectiveClosing, DirectiveClosing.match_id == DirectiveMatch.id)
        .join(Car, Car.id == DirectiveMatch.car_id)
        .where(DirectiveClosing.id == closing_id, reach.whole(db, Car.owner_id, Car.id))
    )
    found = db.scalar(query)
    if found is None:
        raise NotFound(f"There is no closing with the number {closing_id} in the register.")
    return found


def closings_of(db: Session, match_id: int) -> list[tuple[DirectiveClosing, Withdrawal | None]]:
    """Every closing of a match, with why it was taken back where it was."""
    query = (
        select(DirectiveClosing, Withdrawal)
        .outerjoin(
            Withdrawal,
            and_(
                Withdrawal.table_name == "directive_closing",
                Withdrawal.row_id == DirectiveClosing.id,
            ),
        )
        .where(DirectiveClosing.match_id == match_id)
        .order_by(DirectiveClosing.id)
    )
    return [(closing, withdrawal) for closing, withdrawal in db.execute(query)]

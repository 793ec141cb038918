"""Shop plans: keeping standards, putting a problem together, keeping versions, changing by hand, accepting."""

from __future__ import annotations

import zlib
from collections import deque
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass, field
from datetime import datetime
from functools import reduce

from pydantic import TypeAdapter
from sqlalchemy.orm import Session

from app.actions import rulebooks
from app.actions.checks import LONGEST_WORDS, tidy
from app.actions.stamp import Stamp
from app.core.plan.accounts import Accounts, accounts, anew
from app.core.plan.basis import FIRST, Basis
from app.core.plan.demand import MOST_MONTHS, Remark, Selection, demand
from app.core.plan.problem import Problem, Solved, first_day, ordinal
from app.core.plan.revise import CannotChange, Change, Draft, apply, counting, since
from app.core.plan.since import Now, cannot_be, differences
from app.core.plan.soonest import Soonest
from app.core.plan.standing import PlannedVisit
from app.errors import Conflict, Fault, NotFound, Refused
from app.store import facilities, planning
from app.store.gathering import note
from app.store.plans import Plan, PlanChange, PlanningBasis, PlanVersion


@dataclass(frozen=True, slots=True)
class Content:
    """A version as it was made: what it was planned by, the problem, keys of its cars, and what solved it."""

    basis: Basis
    problem: Problem
    cars: Mapping[str, int]
    remarks: tuple[Remark, ...]
    solved: Solved
    soonest: Soonest
    # Visits that were locked when it was solved, by car and month; it was solved around them.
    locked: frozenset[tuple[str, int]] = frozenset()
    notes: Mapping[str, str] = field(default_factory=dict)
    # Visits of its cars that stood when the problem was put together.
    stands: Mapping[str, tuple[PlannedVisit, ...]] = field(default_factory=dict)

    def draft(self) -> Draft:
        """As it was made."""
        return Draft(self.problem, self.solved.visits, self.locked, self.notes)


@dataclass(frozen=True, slots=True)
class Opened:
    """A version with what was changed in it by hand since."""

    row: PlanVersion
    plan: Plan
    content: Content
    draft: Draft
    changes: tuple[Change, ...]
    accounts: Accounts


BASIS = TypeAdapter(Basis)
SELECTION = TypeAdapter(Selection)
CHANGE = TypeAdapter(Change)
CONTENT = TypeAdapter(Content)


def basis_of(db: Session) -> Basis:
    """The standards of the session's own people, or those to begin with."""
    row = planning.basis_row(db)
    return BASIS.validate_python(row.content) if row else FIRST


class KeptMeanwhile(Conflict):
    """Somebody kept other standards since those were read on which new ones rest: `before`, and `now`."""

    def __init__(self, row: PlanningBasis, before: Basis, now: Basis) -> None:
        super().__init__("Somebody kept other standards just now. Open them anew.")
        self.row, self.before, self.now = row, before, now


def keep_basis(
    db: Session, party_id: int, basis: Basis, stamp: Stamp, known: Collection[int] = ()
) -> PlanningBasis:
    """Keep standards for new plans; earlier plans keep theirs. The same once more are not kept again.

    `known` are the numbers of kept standards that whoever made these had read (0: none was kept). Raises Refused with
    every fault and its place, KeptMeanwhile where others were kept after those.
    """
    unknown = planning.unknown_cars(db, [each.car for each in basis.cars])
    found = [*basis.faults(), *(("cars", f"there is no car {name} of yours") for name in unknown)]
    if found:
        raise Refused.because(Fault(where, told) for where, told in found)
    _must_be_own(db, party_id)
    planning.hold_standards(db)
    latest = planning.basis_row(db)
    if latest and latest.party_id == party_id and basis_of(db) == basis:
        return latest
    if latest and known and latest.id > max(known):
        raise KeptMeanwhile(latest, _basis_then(db, max(known)), basis_of(db))
    note(db, "plan.standards_kept", ("party", party_id))
    row = PlanningBasis(
        party_id=party_id, content=BASIS.dump_python(basis, mode="json"), **_made(stamp)
    )
    db.add(row)
    return row


def _basis_then(db: Session, basis_id: int) -> Basis:
    row = planning.basis_of_id(db, basis_id)
    return BASIS.validate_python(row.content) if row else FIRST


def make(db: Session, party_id: int, name: str, selection: Selection, stamp: Stamp) -> Plan:
    """Begin a plan. Raises Refused where its name or months cannot be."""
    name = tidy(name)
    found = []
    if not 1 <= len(name) <= LONGEST_WORDS:
        found.append(Fault("name", _want_a_name(name)))
    if not 1 <= selection.months <= MOST_MONTHS:
        found.append(Fault("months", f"{selection.months} months; want 1 to {MOST_MONTHS}"))
    if found:
        raise Refused.because(found)
    _must_be_own(db, party_id)
    note(db, "plan.made", ("party", party_id))
    row = Plan(
        party_id=party_id,
        name=name,
        selection=SELECTION.dump_python(selection, mode="json"),
        **_made(stamp),
    )
    db.add(row)
    db.flush()  # its versions are to name it
    return row


def _want_a_name(name: str) -> str:
    wanted = f"want a name for the plan, of at most {LONGEST_WORDS} characters"
    return f"a name of {len(name)} characters; {wanted}" if name else wanted


def _must_be_own(db: Session, party_id: int) -> None:
    if not any(party.id == party_id for party in facilities.own_parties(db)):
        raise NotFound("There is no such company.")


def _made(stamp: Stamp) -> dict[str, object]:
    return {"recorded_at": stamp.at, "recorded_by": stamp.by}


# The problem -------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Asked:
    """A problem as the fleet is now: keys of its cars, what is to be known of it, visits of its cars that stand."""

    basis: Basis
    problem: Problem
    cars: Mapping[str, int]
    remarks: tuple[Remark, ...]
    stands: Mapping[str, tuple[PlannedVisit, ...]]

    @property
    def now(self) -> Now:
        return Now(self.problem, self.basis)


def problem_now(
    db: Session, selection: Selection, basis: Basis, plan_id: int | None = None
) -> Asked:
    """The problem that a selection is today; what the plan `plan_id` planned itself and has not begun is open again."""
    standing = planning.standing(db, plan_id)
    found = planning.fleet(db, selection, standing, rulebooks.again(db))
    own = set(found.keys.values())
    others = [
        visit
        for car_id, visits_ in standing.items() if car_id not in own
        for visit in planning.that_stay(visits_)
    ]  # fmt: skip
    others += planning.spent(db, first_day(ordinal(selection.first_month)))
    problem, remarks = demand(selection, basis, found.cars, others)
    if found.twins:
        remarks.append(
            Remark("twins", "two cars bear this mark and number; plan them by owner", found.twins)
        )
    keys = {car.name: found.keys[car.name] for car in problem.cars}
    stands = {car.name: tuple(car.visits) for car in found.cars if car.name in keys and car.visits}
    return Asked(basis, problem, keys, tuple(remarks), stands)


def selection_of(plan: Plan) -> Selection:
    return SELECTION.validate_python(plan.selection)


# Versions ----------------------------------------------------------------------------------------------------------


def add_version(
    db: Session, plan_id: int, name: str, parent_id: int | None, content: Content, stamp: Stamp
) -> PlanVersion:
    """Keep what a search found as a version of its plan."""
    plan = planning.plan_or_raise(db, plan_id)
    note(db, "plan.solved", ("party", plan.party_id))
    row = PlanVersion(
        plan_id=plan_id,
        name=name,
        parent_id=parent_id,
        content=zlib.compress(CONTENT.dump_json(content)),
        **_made(stamp),
    )
    db.add(row)
    db.flush()  # whoever asked is told its number
    return row


def opened(db: Session, version_id: int) -> Opened:
    """A version as it stands after what was changed by hand."""
    row = planning.version_or_raise(db, version_id)
    plan = planning.plan_or_raise(db, row.plan_id)
    kept = _kept(db, row)
    made = tuple(
        CHANGE.validate_python({**each.detail, "kind": each.kind})
        for each in planning.changes(db, version_id)
    )
    now = kept.after(tuple(counting(made)))
    return Opened(row, plan, kept.content, now.draft, made, now.accounts)


# Versions read lately: they never change, and reading one of thousands of cars takes longer than a change by hand may,
# as does making a hundred changes anew. An undo finds what was before it.
MOST_KEPT, MOST_CHANGED = 4, 6


@dataclass(frozen=True)
class _Place:
    """Where a version lies, with how to read it; two of the same place and moment are the same."""

    url: str
    version_id: int
    at: datetime


@dataclass(frozen=True, slots=True)
class _Changed:
    """A version after these changes by hand, and the accounts of its cars then."""

    changes: tuple[Change, ...]
    draft: Draft
    accounts: Accounts

    def then(self, more: Sequence[Change]) -> _Changed:
        draft = reduce(apply, more, self.draft)
        changed = anew(self.accounts, draft, (each.car for each in more))
        return _Changed((*self.changes, *more), draft, changed)


@dataclass(frozen=True)
class _Kept:
    """A version as it was made, and as it stood lately: a change by hand is put on what was before it."""

    content: Content
    made: _Changed
    lately: deque[_Changed] = field(default_factory=lambda: deque(maxlen=MOST_CHANGED))

    def after(self, changes: tuple[Change, ...]) -> _Changed:
        """As it stands after all these, which count."""
        known = (
            each
            for each in (self.made, *self.lately)
            if changes[: len(each.changes)] == each.changes
        )
        nearest = max(known, key=lambda each: len(each.changes))
        if nearest.changes == changes:
            return nearest
        now = nearest.then(changes[len(nearest.changes) :])
        self.lately.append(now)
        return now


def _kept(db: Session, row: PlanVersion) -> _Kept:
    place = _Place(str(db.get_bind().engine.url), row.id, row.recorded_at)
    if place not in _KEPT:
        while len(_KEPT) >= MOST_KEPT:
            _KEPT.pop(next(iter(_KEPT)))
        content = CONTENT.validate_json(zlib.decompress(planning.content(db, row.id)))
        found = accounts(content.problem, content.solved.visits)
        _KEPT[place] = _Kept(content, _Changed((), content.draft(), found))
    return _KEPT[place]


_KEPT: dict[_Place, _Kept] = {}


def change(db: Session, version_id: int, wanted: Change, stamp: Stamp) -> Draft:
    """Change a version by hand; the draft as it then stands. Raises Conflict in words where it cannot be."""
    at = opened(db, version_id)
    if wanted.kind == "undo" and not counting(at.changes):
        raise Conflict("Nothing was changed by hand, so there is nothing to undo.")
    try:
        if wanted.kind == "undo":
            left = tuple(counting((*at.changes, wanted)))
            draft = _kept(db, at.row).after(left).draft
        else:
            draft = apply(at.draft, wanted)
    except CannotChange as cannot:
        raise Conflict(str(cannot)) from cannot
    note(db, "plan.changed", ("party", at.plan.party_id))
    detail = {name: held for name, held in asdict(wanted).items() if name != "kind"}
    db.add(PlanChange(version_id=version_id, kind=wanted.kind, detail=detail, **_made(stamp)))
    return draft


def changed_since(db: Session, at: Opened, moment: datetime) -> int:
    """How many changes by hand to the visits of a version came after a moment, what was undone since among them."""
    before = sum(row.recorded_at <= moment for row in planning.changes(db, at.row.id))
    return since(counting(at.changes[:before]), counting(at.changes))


def fleet_now(db: Session, at: Opened) -> Asked:
    """The problem of a version's plan as the fleet and the standards are now."""
    return problem_now(db, selection_of(at.plan), basis_of(db), at.plan.id)


def unfit(db: Session, at: Opened) -> list[tuple[str, str]]:
    """What of the fleet is no longer as a version has it, and which visits cannot be any more."""
    now = fleet_now(db, at)
    return [*fleet_since(at, now), *_no_longer(at, now)]


def no_longer(db: Session, at: Opened) -> list[tuple[str, str]]:
    """Where the visits of a version cannot be any more: a car or a shop, and a sentence."""
    return _no_longer(at, fleet_now(db, at))


def fleet_since(at: Opened, now: Asked) -> list[tuple[str, str]]:
    """What of the fleet is `now` no longer as a version has it: a car, and a sentence."""
    away = _away(now.remarks) - _away(at.content.remarks)
    return list(differences(at.content.problem, at.draft.visits, now.now, away))


def _no_longer(at: Opened, now: Asked) -> list[tuple[str, str]]:
    return list(cannot_be(at.content.problem, at.draft.visits, now.now))


def _away(remarks: Iterable[Remark]) -> set[str]:
    return {car for each in remarks if each.kind == "away" for car in each.cars}

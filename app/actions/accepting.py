"""Accepting a version of a plan: its visits become those of the cars, beside what stands already."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from sqlalchemy.orm import Session

from app.actions import visits
from app.actions.plans import Asked, Opened, fleet_now, opened
from app.actions.stamp import Stamp
from app.core.plan.check import faults
from app.core.plan.demand import in_words, items_of
from app.core.plan.problem import first_day, ordinal
from app.core.plan.since import no_place, no_room
from app.core.plan.standing import Settled, Wanted, settle
from app.errors import Conflict
from app.store import planning
from app.store.gathering import note
from app.store.plans import PlanAccepted

SUPERSEDED = "Another version of the plan was accepted"


@dataclass(frozen=True, slots=True)
class Accepted:
    """How many visits accepting planned, joined, kept as they were and cancelled."""

    planned: int = 0
    joined: int = 0
    kept: int = 0
    cancelled: int = 0


class InTheWay(Conflict):
    """A version cannot be accepted; `reasons` says why, a sentence with a way on each."""

    def __init__(self, reasons: Sequence[str]) -> None:
        super().__init__(f"This version cannot be accepted: {_some(reasons)}")
        self.reasons = reasons


def accept(db: Session, version_id: int, instructions: str, stamp: Stamp) -> Accepted:
    """Make the visits of the cars those of a version.

    What has begun, or was planned otherwise than by this plan, stays; its visits not begun are kept where they are
    wanted just so, else cancelled. Work that was done since, or no longer falls due, is ordered no more. Raises
    InTheWay while the version breaks a rule of the problem, begins before the month it is now, or clashes with a
    visit that stays.
    """
    at = opened(db, version_id)
    now = fleet_now(db, at)
    wrong = in_the_way(db, at, stamp, now)
    if wrong:
        raise InTheWay(wrong)
    note(db, "plan.accepted", ("party", at.plan.party_id), leading=True)
    done = _carry_out(db, at, settled(db, at, instructions, now), stamp)
    db.add(
        PlanAccepted(
            plan_id=at.plan.id,
            version_id=version_id,
            recorded_at=stamp.at,
            recorded_by=stamp.by,
        )
    )
    return done


def in_the_way(db: Session, at: Opened, stamp: Stamp, now: Asked) -> list[str]:
    """Why a version cannot be accepted by the fleet as it is `now`, a sentence with a way on each, if any."""
    broken = faults(at.draft.problem, at.draft.visits, in_words)
    found = [f"{told}. Mend it, or solve again." for told in broken]
    first = at.draft.problem.first_month
    if first < f"{stamp.today:%Y-%m}":
        found.append(f"It begins in {first}, which is past. Make a new plan.")
    going = sorted({at.content.cars[visit.car] for visit in at.draft.visits})
    found += [
        f"{told}. Take its visits out, or solve anew." for told in planning.out_of_record(db, going)
    ]
    clashes = settled(db, at, "", now).clashes
    found += [f"{told}." for told in clashes]
    return found + list(_by_now(at, now, clashes))


def _by_now(at: Opened, asked: Asked, clashes: Sequence[str]) -> Iterator[str]:
    """What the fleet and the standards of today do not let be any more, but of cars of which clashes are told."""
    planned, visits_, now = at.content.problem, at.draft.visits, asked.now
    for shop, told in no_room(planned, visits_, now):
        yield (
            f"{shop} {told}: by the standards and the visits planned since. "
            f"Move some in this version, or solve anew."
        )
    for car, told in no_place(planned, visits_, now):
        if not any(each.startswith(f"{car} ") for each in clashes):
            yield f"{car} {told}. Move it or take it out in this version, or solve anew."


@dataclass(frozen=True, slots=True)
class AllSettled:
    """What accepting a version does to the visits of each car, by key; own visits of cars it leaves out are `gone`."""

    cars: Mapping[int, Settled]
    gone: tuple[int, ...]
    clashes: tuple[str, ...]

    def counted(self) -> Accepted:
        cars = self.cars.values()
        return Accepted(
            sum(len(each.plan) for each in cars), sum(len(each.join) for each in cars),
            sum(len(each.keep) for each in cars),
            len(self.gone) + sum(len(each.cancel) for each in cars),
        )  # fmt: skip


def settled(db: Session, at: Opened, instructions: str, now: Asked) -> AllSettled:
    standing = planning.standing(db, at.plan.id)
    keys = at.content.cars
    of_car = {
        name: settle(wanted, standing.get(keys[name], ()))
        for name, wanted in _wanted(at, instructions, now).items()
    }
    in_plan = {keys[name] for name in of_car}
    gone = (
        each.key
        for car_id, visits_ in standing.items() if car_id not in in_plan
        for each in visits_ if each.own
    )  # fmt: skip
    clashes = (f"{name} {told}" for name, each in of_car.items() for told in each.clashes)
    return AllSettled(
        {keys[name]: each for name, each in of_car.items()}, tuple(gone), tuple(clashes)
    )


def instructions_before(db: Session, at: Opened) -> str:
    """What was written for every visit when the plan was accepted last, read off its visits that are still to begin."""
    names = {key: name for name, key in at.content.cars.items()}
    written = Counter(
        each.instructions.removesuffix(at.draft.notes.get(names.get(car_id, ""), "")).rstrip("\n")
        for car_id, visits_ in planning.standing(db, at.plan.id).items()
        for each in visits_ if each.own
    )  # fmt: skip
    return written.most_common(1)[0][0] if written else ""


MOST_TOLD = 10


def _some(told: Sequence[str]) -> str:
    more = f" And {len(told) - MOST_TOLD} more." if len(told) > MOST_TOLD else ""
    return " ".join(told[:MOST_TOLD]) + more


def _wanted(at: Opened, instructions: str, now: Asked) -> dict[str, list[Wanted]]:
    """By car, what the version wants of it and still falls due; nothing for a car of the plan without a visit."""
    due = {car.name: items_of(job.name for job in car.jobs) for car in now.problem.cars}
    found: dict[str, list[Wanted]] = {car.name: [] for car in at.draft.problem.cars}
    for visit in at.draft.visits:
        own = at.draft.notes.get(visit.car, "")
        told = "\n".join(part for part in (instructions.strip(), own) if part)
        month = at.draft.problem.month(visit.month)
        items = tuple(item for item in items_of(visit.jobs) if item in due.get(visit.car, ()))
        found[visit.car].append(Wanted(visit.shop, month, items, told))
    return found


def _carry_out(db: Session, at: Opened, settled: AllSettled, stamp: Stamp) -> Accepted:
    """All that is cancelled first, so that its months are free."""
    for key in (*settled.gone, *(key for each in settled.cars.values() for key in each.cancel)):
        visits.cancel(db, key, SUPERSEDED, stamp)
    for car_id, each in settled.cars.items():
        for wanted in each.plan:
            visits.plan(db, car_id, _planning(at, wanted), stamp)
        for key, items in each.join:
            visits.add_work(db, key, items, round(_days(at, items)), at.row.id, stamp)
    return settled.counted()


def _planning(at: Opened, wanted: Wanted) -> visits.Planning:
    away = round(at.content.basis.days_away + _days(at, wanted.items))
    month = first_day(ordinal(wanted.month))
    return visits.Planning(wanted.shop, month, wanted.items, away, wanted.instructions, at.row.id)


def _days(at: Opened, items: Sequence[str]) -> float:
    return sum(at.content.basis.standards[item].days for item in items)

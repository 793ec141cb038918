"""Questions about visits of cars to shops."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from sqlalchemy import exists, select
from sqlalchemy.orm import Session, aliased

from app.errors import NotFound
from app.store import cars, reach
from app.store.plans import VisitPlan
from app.store.tables import Car, Party, Withdrawal
from app.store.visits import Visit, VisitStep

END = "released"
ENDS = (END, "cancelled")


@dataclass(frozen=True, slots=True)
class VisitShown:
    """A visit with the day of each step, as who sent the car and the shop see it."""

    id: int
    car_id: int
    mark: str
    number: int
    owner: str
    shop: str
    instructions: str
    days: Mapping[str, date]
    # Whether the session is of whoever owns the car now; only they undo its sending.
    own: bool

    @property
    def open(self) -> bool:
        """Whether the car is on its way to the shop or in it."""
        return "sent" in self.days and not any(each in self.days for each in ENDS)


def visit_or_raise(db: Session, visit_id: int) -> Visit:
    """The visit of a car that the session reaches; NotFound as well when there is none."""
    found = (
        select(Visit)
        .join(Car, Car.id == Visit.car_id)
        .where(
            Visit.id == visit_id,
            Visit.superseded_at.is_(None),
            reach.whole(db, Car.owner_id, Car.id),
        )
    )
    visit = db.scalars(found).first()
    if visit is None:
        raise NotFound(f"There is no visit with the number {visit_id}.")
    return visit


def steps(db: Session, visit_id: int) -> dict[str, VisitStep]:
    """What the visit came to so far, by step."""
    rows = db.scalars(
        select(VisitStep).where(VisitStep.visit_id == visit_id, VisitStep.superseded_at.is_(None))
    )
    return {row.step: row for row in rows}


@dataclass(frozen=True, slots=True)
class StepShown:
    """What was noted of a visit, and who let it count no longer where somebody did."""

    row: VisitStep
    withdrawal: Withdrawal | None


@dataclass(frozen=True, slots=True)
class VisitNoted:
    """A visit with everything ever noted of it, in the order in which it was."""

    visit: VisitShown
    steps: Sequence[StepShown]


def of_car(db: Session, car_id: int) -> list[VisitShown]:
    """Every visit of a car that counts, the latest first."""
    return [each for each in _shown(db, Visit.car_id == car_id) if each.days]


def history(db: Session, car_id: int) -> list[VisitNoted]:
    """Every visit of a car, the latest first, with what was noted by mistake."""
    visits = _shown(db, Visit.car_id == car_id)
    if not visits:
        return []
    keys = [each.id for each in visits]
    rows = db.scalars(
        select(VisitStep).where(VisitStep.visit_id.in_(keys)).order_by(VisitStep.id)
    ).all()
    gone = cars.withdrawals(db, "visit_step", [row.id for row in rows if row.superseded_at])
    return [
        VisitNoted(
            each, [StepShown(row, gone.get(row.id)) for row in rows if row.visit_id == each.id]
        )
        for each in visits
    ]


def last_end(db: Session, car_id: int) -> date | None:
    """The day on which the car was last released from a shop."""
    ends = [each.days[END] for each in of_car(db, car_id) if END in each.days]
    return max(ends, default=None)


def going_on(db: Session) -> list[VisitShown]:
    """Cars sent and not yet released, by shop, mark and number."""
    found = [visit for visit in _shown(db, ~_ended()) if visit.open]
    return sorted(found, key=lambda each: (each.shop, each.mark, each.number))


def shops(db: Session) -> list[str]:
    """The names of the shops to which cars that the session reaches were ever sent."""
    query = (
        select(Party.name)
        .join(Visit, Visit.shop_id == Party.id)
        .join(Car, Car.id == Visit.car_id)
        .where(reach.owned(db, Car.owner_id))
        .distinct()
    )
    return sorted(db.scalars(query))


def went_since(db: Session, visit: Visit) -> bool:
    """Whether the car was sent to a shop after this visit."""
    return any(each.id > visit.id for each in of_car(db, visit.car_id))


def one(db: Session, visit_id: int) -> VisitShown:
    """A visit as it stands; NotFound where the session reaches no such visit."""
    visit = visit_or_raise(db, visit_id)
    return next(each for each in _shown(db, Visit.id == visit.id))


def planned_in(db: Session, car_id: int, month: date) -> bool:
    """Whether a visit of the car is planned for a month (its first day), and neither ended nor cancelled."""
    query = (
        select(VisitPlan.id)
        .join(Visit, Visit.id == VisitPlan.visit_id)
        .where(VisitPlan.car_id == car_id, VisitPlan.month == month, ~_ended())
    )
    return db.scalars(query).first() is not None


def _ended() -> reach.Condition:
    return exists().where(
        VisitStep.visit_id == Visit.id,
        VisitStep.superseded_at.is_(None),
        VisitStep.step.in_(ENDS),
    )


def open_of(db: Session, car_id: int) -> VisitShown | None:
    """The visit that a car is on, if it is on one."""
    return next((each for each in of_car(db, car_id) if each.open), None)


def _shown(db: Session, condition: reach.Condition) -> list[VisitShown]:
    shop, owner = aliased(Party), aliased(Party)
    rows = db.execute(
        select(
            Visit.id, Visit.car_id, Car.mark, Car.number, owner.name, shop.name,
            Visit.instructions, reach.owned(db, Car.owner_id),
        )
        .join(Car, Car.id == Visit.car_id)
        .join(owner, owner.id == Car.owner_id)
        .join(shop, shop.id == Visit.shop_id)
        .where(condition, Visit.superseded_at.is_(None), reach.whole(db, Car.owner_id, Car.id))
        .order_by(Visit.id.desc())
    ).all()  # fmt: skip
    days = _days(db, [row[0] for row in rows]) if rows else {}
    return [VisitShown(*row[:-1], days.get(row[0], {}), bool(row[-1])) for row in rows]


def _days(db: Session, visit_ids: Sequence[int]) -> dict[int, dict[str, date]]:
    found: dict[int, dict[str, date]] = {}
    rows = db.execute(
        select(VisitStep.visit_id, VisitStep.step, VisitStep.happened_on).where(
            VisitStep.visit_id.in_(visit_ids), VisitStep.superseded_at.is_(None)
        )
    )
    for visit_id, step, day in rows:
        found.setdefault(visit_id, {})[step] = day
    return found

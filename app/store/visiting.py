"""Questions about visits of cars to shops."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from sqlalchemy import Row, Select, select
from sqlalchemy.orm import Session, aliased

from app.core.months import month_end
from app.errors import NotFound
from app.store import cars, reach
from app.store.derived import DueRow
from app.store.plans import VisitPlan, days_planned
from app.store.prepared import by_key
from app.store.tables import OUT_OF_RECORD, Car, Party, Withdrawal
from app.store.visit_work import WorkShown, days_of, in_parts, work_of
from app.store.visits import END, ENDS, Visit, VisitStep, stepped


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
    # For which month it was planned, its first day, and with how many days from sent to released.
    month: date | None = None
    days_out: int | None = None
    # What the car is now, one of `tables.STANDINGS`.
    standing: str = "in_service"

    @property
    def gone(self) -> bool:
        """Whether it is planned for a car that can be sent nowhere any more."""
        return self.planned and self.standing in OUT_OF_RECORD

    @property
    def open(self) -> bool:
        """Whether the car is on its way to the shop or in it."""
        return self.state in ("sent", "in_shop")

    @property
    def planned(self) -> bool:
        """Whether it is planned and the car was not sent yet."""
        return self.state == "planned"

    @property
    def state(self) -> str:
        """What it came to last: planned, sent, in_shop, released, cancelled; undone when nothing counts."""
        order = (
            ("cancelled", "cancelled"), ("released", END), ("in_shop", "arrived"), ("sent", "sent"),
            ("planned", "planned"),
        )  # fmt: skip
        return next((state for state, step in order if step in self.days), "undone")

    @property
    def real_days_out(self) -> int | None:
        """Days from sent to released; None where it did not come to both."""
        if "sent" not in self.days or END not in self.days:
            return None
        return (self.days[END] - self.days["sent"]).days

    def late(self, today: date) -> bool:
        """Its month is past and the car not sent; or the car is away for longer than was planned."""
        if self.planned:
            return self.month is not None and month_end(self.month) < today
        if self.open and self.days_out is not None:
            return (today - self.days["sent"]).days > self.days_out
        return False


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
    """A visit with everything ever noted of it, in the order in which it was, and the work it is planned for."""

    visit: VisitShown
    steps: Sequence[StepShown]
    work: Sequence[WorkShown]


def of_car(db: Session, car_id: int) -> list[VisitShown]:
    """Every visit of a car that counts, the latest first."""
    return [each for each in _all_of(db, car_id) if each.days]


def history(db: Session, car_id: int) -> list[VisitNoted]:
    """Every visit of a car, the latest first, with what was noted by mistake."""
    visits = _all_of(db, car_id)
    if not visits:
        return []
    keys = [each.id for each in visits]
    rows = db.scalars(
        select(VisitStep).where(VisitStep.visit_id.in_(keys)).order_by(VisitStep.id)
    ).all()
    gone = cars.withdrawals(db, "visit_step", [row.id for row in rows if row.superseded_at])
    work = work_of(db, keys)
    return [
        VisitNoted(
            each,
            [StepShown(row, gone.get(row.id)) for row in rows if row.visit_id == each.id],
            work.get(each.id, ()),
        )
        for each in visits
    ]


def due_days(db: Session, car_id: int) -> dict[str, date | None]:
    """When each item of a car falls due, as stored."""
    rows = db.execute(select(DueRow.item, DueRow.due_on).where(DueRow.car_id == car_id))
    return {row[0]: row[1] for row in rows}


def planned_of(db: Session, car_id: int) -> list[VisitShown]:
    """Visits of a car that are planned and to which it was not sent yet, the soonest first."""
    found = [each for each in of_car(db, car_id) if each.planned]
    return sorted(found, key=lambda each: (each.month or date.max, each.id))


def planned_for(db: Session, car_id: int, month: date) -> VisitShown | None:
    """The visit of a car in a month that is not over, if there is one."""
    going = [each for each in of_car(db, car_id) if each.planned or each.open]
    return next((each for each in going if each.month == month), None)


def of_cars(db: Session, car_ids: Sequence[int]) -> list[VisitShown]:
    """Every visit of some cars that counts, the latest first."""
    found = [each for part in in_parts(car_ids) for each in _shown(db, Visit.car_id.in_(part))]
    return [each for each in found if each.days]


def cars_told_of_by(db: Session, import_id: int) -> set[int]:
    """Every car of which an import brought a visit or a step of one that still counts."""
    query = (
        select(Visit.car_id)
        .join(VisitStep, VisitStep.visit_id == Visit.id)
        .where(VisitStep.import_id == import_id, VisitStep.superseded_at.is_(None))
    )
    return set(db.scalars(query.distinct()))


def noted_since(db: Session, import_id: int) -> list[int]:
    """Cars of which an import brought a step of a visit, and something else noted another one since."""
    later = aliased(VisitStep)
    its_visit = aliased(Visit)
    query = (
        select(Visit.car_id)
        .join(VisitStep, VisitStep.visit_id == Visit.id)
        .join(its_visit, its_visit.car_id == Visit.car_id)
        .join(later, later.visit_id == its_visit.id)
        .where(
            VisitStep.import_id == import_id,
            VisitStep.superseded_at.is_(None),
            later.superseded_at.is_(None),
            later.step.not_in(("planned", "cancelled")),
            later.id > VisitStep.id,
            later.import_id.is_distinct_from(import_id),
        )
    )
    return sorted(db.scalars(query.distinct()))


def last_end(db: Session, car_id: int) -> date | None:
    """The day on which the car was last released from a shop."""
    ends = [each.days[END] for each in of_car(db, car_id) if END in each.days]
    return max(ends, default=None)


def going_on(db: Session) -> list[VisitShown]:
    """Cars sent and not yet released, by shop, mark and number."""
    found = [visit for visit in _shown(db, ~stepped(Visit.id, ENDS)) if visit.open]
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
    """Whether the car was sent to a shop after it was sent on this visit."""
    sent = select(VisitStep.id).where(
        VisitStep.step == "sent", VisitStep.superseded_at.is_(None)
    )  # fmt: skip
    this = db.scalar(sent.where(VisitStep.visit_id == visit.id))
    others = sent.join(Visit, Visit.id == VisitStep.visit_id).where(
        Visit.car_id == visit.car_id, Visit.superseded_at.is_(None)
    )
    return db.scalar(others.where(VisitStep.id > (this or 0)).limit(1)) is not None


def one(db: Session, visit_id: int) -> VisitShown:
    """A visit as it stands; NotFound where the session reaches no such visit."""
    visit = visit_or_raise(db, visit_id)
    return next(each for each in _shown(db, Visit.id == visit.id))


def working_on(db: Session, car_ids: Sequence[int]) -> dict[tuple[int, str], VisitShown]:
    """By car and item the visit, planned or going on, in which the item is to be done and is not yet."""
    query = reached(db).where(Visit.car_id.in_(car_ids)).order_by(Visit.id)
    there = [each for each in made(db, query) if each.open or (each.planned and not each.gone)]
    work = work_of(db, [each.id for each in there])
    return {
        (visit.car_id, each.item): visit
        for visit in there
        for each in work.get(visit.id, ())
        if each.done_on is None
    }


def open_of(db: Session, car_id: int) -> VisitShown | None:
    """The visit that a car is on, if it is on one."""
    return next((each for each in of_car(db, car_id) if each.open), None)


def _all_of(db: Session, car_id: int) -> list[VisitShown]:
    query = reached(db).where(Visit.car_id == car_id).order_by(Visit.id.desc())
    return made(db, by_key(query))


def _shown(db: Session, condition: reach.Condition) -> list[VisitShown]:
    return made(db, reached(db).where(condition).order_by(Visit.id.desc()))


Found = Select[*tuple[Any, ...]]


def reached(db: Session) -> Found:
    """The visits of cars that the session reaches all of, to be narrowed and put in order; see `made`."""
    shop, owner = aliased(Party, name="shop"), aliased(Party, name="owner")
    return (
        select(
            Visit.id, Visit.car_id, Car.mark, Car.number, owner.name, shop.name,
            Visit.instructions, reach.owned(db, Car.owner_id), VisitPlan.month, days_planned(),
            Car.standing,
        )
        .join(Car, Car.id == Visit.car_id)
        .join(owner, owner.id == Car.owner_id)
        .join(shop, shop.id == Visit.shop_id)
        .outerjoin(VisitPlan, VisitPlan.visit_id == Visit.id)
        .where(Visit.superseded_at.is_(None), reach.whole(db, Car.owner_id, Car.id))
    )  # fmt: skip


def made(db: Session, query: Found) -> list[VisitShown]:
    """The visits that a query of `reached` finds, in its order, each with its days."""
    rows = db.execute(query).all()
    days = days_of(db, [row[0] for row in rows])
    return [_one_shown(row, days.get(row[0], {})) for row in rows]


def _one_shown(row: Row[*tuple[Any, ...]], days: Mapping[str, date]) -> VisitShown:
    key, car_id, mark, number, owner, shop, told, own, month, days_out, standing = row
    return VisitShown(
        key, car_id, mark, number, owner, shop, told, days, bool(own), month, days_out, standing
    )

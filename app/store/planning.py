"""Questions about shop plans, and what of the fleet goes into one."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from sqlalchemy import Select, and_, exists, false, func, or_, select
from sqlalchemy.orm import Session, aliased, undefer

from app.core.facts import ITEMS
from app.core.plan.demand import NO_WORK, DueItem, FleetCar, Selection
from app.core.plan.problem import first_day, ordinal
from app.core.plan.standing import PlannedVisit, Standing
from app.errors import NotFound
from app.store import reach, visit_work
from app.store.derived import DueRow
from app.store.due import Again, next_interval
from app.store.plans import (
    Plan,
    PlanAccepted,
    PlanChange,
    PlanningBasis,
    PlanVersion,
    VisitPlan,
    VisitWork,
)
from app.store.tables import OUT_OF_RECORD, Car, Party
from app.store.visits import BEGUN, END, ENDS, Visit, VisitStep, stepped


def basis_row(db: Session) -> PlanningBasis | None:
    """The standards that count for new plans: the latest that the session's own people kept."""
    query = select(PlanningBasis).where(reach.owned(db, PlanningBasis.party_id))
    return db.scalars(query.order_by(PlanningBasis.id.desc()).limit(1)).first()


def basis_of_id(db: Session, basis_id: int) -> PlanningBasis | None:
    """Standards that the session's own people kept once."""
    query = select(PlanningBasis).where(PlanningBasis.id == basis_id)
    return db.scalars(query.where(reach.owned(db, PlanningBasis.party_id))).first()


def hold_standards(db: Session) -> None:
    """Let nobody else keep standards for the session's own parties until this transaction ends."""
    own = select(Party.id).where(reach.owned(db, Party.id)).order_by(Party.id)
    db.execute(own.with_for_update(key_share=True)).all()


def usual_party(db: Session) -> int:
    """For whom the session's person plans unless another is said: whose standards count, else the first of theirs."""
    row = basis_row(db)
    if row is not None:
        return row.party_id
    return db.scalar(select(func.min(Party.id)).where(reach.owned(db, Party.id))) or 0


@dataclass(frozen=True, slots=True)
class PlanShown:
    """A plan, whose it is, how many versions it has, and when one was last accepted."""

    row: Plan
    party: str
    versions: int
    accepted_at: datetime | None


def plans(db: Session) -> list[PlanShown]:
    """Every plan of the session's own parties, the latest first."""
    versions = (
        select(func.count()).where(PlanVersion.plan_id == Plan.id).correlate(Plan).scalar_subquery()
    )
    accepted = (
        select(func.max(PlanAccepted.recorded_at))
        .where(PlanAccepted.plan_id == Plan.id)
        .correlate(Plan)
        .scalar_subquery()
    )
    query = (
        select(Plan, Party.name, versions, accepted)
        .join(Party, Party.id == Plan.party_id)
        .where(reach.owned(db, Plan.party_id))
        .order_by(Plan.id.desc())
    )
    return [PlanShown(*row) for row in db.execute(query)]


def plan_or_raise(db: Session, plan_id: int) -> Plan:
    query = select(Plan).where(Plan.id == plan_id, reach.owned(db, Plan.party_id))
    found = db.scalars(query).first()
    if found is None:
        raise NotFound(f"There is no plan with the number {plan_id}.")
    return found


def versions(db: Session, plan_id: int) -> Sequence[PlanVersion]:
    """The versions of a plan, the latest first, without their content."""
    query = select(PlanVersion).where(PlanVersion.plan_id == plan_id)
    return db.scalars(query.order_by(PlanVersion.id.desc())).all()


def version_or_raise(db: Session, version_id: int) -> PlanVersion:
    query = (
        select(PlanVersion)
        .join(Plan, Plan.id == PlanVersion.plan_id)
        .where(PlanVersion.id == version_id, reach.owned(db, Plan.party_id))
    )
    found = db.scalars(query).first()
    if found is None:
        raise NotFound(f"There is no version of a plan with the number {version_id}.")
    return found


def content(db: Session, version_id: int) -> bytes:
    query = select(PlanVersion).where(PlanVersion.id == version_id)
    return db.scalars(query.options(undefer(PlanVersion.content))).one().content


def changes(db: Session, version_id: int) -> Sequence[PlanChange]:
    """What was changed by hand, in order."""
    query = select(PlanChange).where(PlanChange.version_id == version_id)
    return db.scalars(query.order_by(PlanChange.id)).all()


def accepted(db: Session, plan_id: int) -> PlanAccepted | None:
    """The version of a plan that was accepted last."""
    query = select(PlanAccepted).where(PlanAccepted.plan_id == plan_id)
    return db.scalars(query.order_by(PlanAccepted.id.desc()).limit(1)).first()


@dataclass(frozen=True, slots=True)
class Found:
    """Cars with what is due on them, and their keys by name; `twins` are names that two of them bear."""

    cars: tuple[FleetCar, ...]
    keys: Mapping[str, int]
    twins: tuple[str, ...]


def fleet(
    db: Session, selection: Selection, standing: Mapping[int, Sequence[Standing]], again: Again
) -> Found:
    """The session's own cars in service with what is due on them, by mark and number.

    Of the visits `standing`, those of the plan's own that may be replaced are left out. `again`: `due.next_interval`.
    """
    due: dict[int, list[DueItem]] = defaultdict(list)
    names: dict[int, tuple[str, str]] = {}
    for car_id, mark, number, region, item, state, due_on, interval in db.execute(
        _due(db, selection, again)
    ):
        names[car_id] = (f"{mark} {number}", region)
        due[car_id].append(DueItem(item, state, due_on, interval))
    keys: dict[str, int] = {}
    twins, cars = [], []
    for car_id, (name, region) in names.items():
        if name in keys:
            twins.append(name)
            continue
        keys[name] = car_id
        cars.append(FleetCar(name, region, due[car_id], that_stay(standing.get(car_id, ()))))
    return Found(tuple(cars), keys, tuple(twins))


def _due(db: Session, selection: Selection, again: Again) -> Select[*tuple[Any, ...]]:
    # What falls due within the month after the last is to be done in the last, unless in date to that month's end.
    after = first_day(ordinal(selection.first_month) + selection.months + 1)
    wanted = [
        reach.owned(db, DueRow.owner_id),
        DueRow.listed.is_(True),
        or_(DueRow.due_on < after, DueRow.state.in_(("unknown", "owed"))),
    ]
    if selection.owner_id is not None:
        wanted.append(DueRow.owner_id == selection.owner_id)
    if selection.region is not None:
        wanted.append(DueRow.region == selection.region)
    if selection.items:
        # A car's last service day bears on all its work, whichever is planned.
        items = {*selection.items, *NO_WORK}
        wanted.append(DueRow.item_no.in_([ITEMS.index(item) for item in items]))
    return (
        select(
            DueRow.car_id, DueRow.mark, DueRow.number, DueRow.region,
            DueRow.item, DueRow.state, DueRow.due_on,
            next_interval(DueRow.item_no.expression, DueRow.interval_months.expression, again),
        )
        .where(*wanted)
        .order_by(DueRow.mark, DueRow.number, DueRow.item_no)
    )  # fmt: skip


def that_stay(standing: Iterable[Standing]) -> tuple[PlannedVisit, ...]:
    return tuple(each.visit for each in standing if not each.own)


def standing(db: Session, plan_id: int | None = None) -> dict[int, list[Standing]]:
    """Visits planned, or begun and not ended, of the session's own cars, by car.

    Those that a version of the plan `plan_id` made are its own while they have not begun and nobody added work.
    """
    shop = aliased(Party)
    made_by = PlanVersion.plan_id == plan_id if plan_id is not None else false()
    added = exists().where(VisitWork.visit_id == Visit.id, VisitWork.version_id.is_not(None))
    query = (
        select(
            Visit.id, Visit.car_id, shop.name, VisitPlan.month, Visit.instructions,
            stepped(Visit.id, BEGUN), and_(made_by, ~added),
        )
        .join(Car, Car.id == Visit.car_id)
        .join(shop, shop.id == Visit.shop_id)
        .outerjoin(VisitPlan, VisitPlan.visit_id == Visit.id)
        .outerjoin(PlanVersion, PlanVersion.id == VisitPlan.version_id)
        .where(
            Visit.superseded_at.is_(None),
            ~stepped(Visit.id, ENDS),
            stepped(Visit.id, ("planned", *BEGUN)),
            reach.owned(db, Car.owner_id),
        )
        .order_by(Visit.id)
    )  # fmt: skip
    rows = db.execute(query).all()
    work = visit_work.open_and_done(db, [row[0] for row in rows])
    found: dict[int, list[Standing]] = defaultdict(list)
    for visit_id, car_id, code, month, instructions, begun, own in rows:
        left, done = work.get(visit_id, ((), ()))
        visit = PlannedVisit(code, _month(month), left, bool(begun), done)
        found[car_id].append(Standing(visit_id, visit, bool(own) and not begun, instructions))
    return found


def _month(day: date | None) -> str:
    """`YYYY-MM`; a car that was sent without a plan has none."""
    return f"{day:%Y-%m}" if day else ""


def spent(db: Session, since: date) -> list[PlannedVisit]:
    """Visits released that were planned for a month not before `since`, whose days of that month are used up.

    One that was over before its month used up days of the month in which it was.
    """
    shop, ended = aliased(Party), aliased(VisitStep)
    query = (
        select(Visit.id, shop.name, VisitPlan.month, ended.happened_on)
        .join(Car, Car.id == Visit.car_id)
        .join(shop, shop.id == Visit.shop_id)
        .join(VisitPlan, VisitPlan.visit_id == Visit.id)
        .join(ended, (ended.visit_id == Visit.id) & (ended.step == END))
        .where(
            Visit.superseded_at.is_(None), ended.superseded_at.is_(None),
            VisitPlan.month >= since, reach.owned(db, Car.owner_id),
        )
    )  # fmt: skip
    rows = db.execute(query).all()
    work = visit_work.open_and_done(db, [row[0] for row in rows])
    return [
        PlannedVisit(
            code, _month(min(month, day)), (), begun=True, done=work.get(visit_id, ((), ()))[1]
        )
        for visit_id, code, month, day in rows
    ]


def unknown_cars(db: Session, names: Sequence[str]) -> list[str]:
    """Those that the session's own cars do not bear, written as mark and number."""
    if not names:
        return []
    own = db.execute(select(Car.mark, Car.number).where(reach.owned(db, Car.owner_id)))
    known = {f"{mark} {number}" for mark, number in own}
    return [name for name in names if name not in known]


def without_cars(db: Session, regions: Iterable[str]) -> list[str]:
    """Those regions in which none of the session's own cars is."""
    own = select(Car.region).where(
        reach.owned(db, Car.owner_id), Car.standing.not_in(OUT_OF_RECORD)
    )
    known = set(db.scalars(own.distinct()))
    return [region for region in dict.fromkeys(regions) if region not in known]


def out_of_record(db: Session, car_ids: Sequence[int]) -> list[str]:
    """Which of these cars can be sent to no shop any more: mark and number, with what they are."""
    found: list[str] = []
    for start in range(0, len(car_ids), 1000):
        part = car_ids[start : start + 1000]
        query = select(Car.mark, Car.number, Car.standing).where(
            Car.id.in_(part), Car.standing.in_(OUT_OF_RECORD)
        )
        found += [f"{mark} {number} is {now}" for mark, number, now in db.execute(query)]
    return found

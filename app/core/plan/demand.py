"""From the fleet to the problem: due items become jobs, shops and cars what the basis says of them."""

from __future__ import annotations

from calendar import monthrange
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta

from app.core.plan.basis import DAYS_OF_A_MONTH, Basis, CarFacts, PlanShop
from app.core.plan.problem import Car, Fixed, Job, Problem, Shop, first_day, month_text, ordinal
from app.core.words import capitalized, label

# What no work can put in date again.
NO_WORK = frozenset(("age_limit", "service_end"))
BETWEEN = "+"
MOST_MONTHS = 120
# The latest month of what is late already when the plan begins: what that cost so far, no plan changes.
LATE = -1
_NOT_WHOLE = "falls due before a whole month of the plan is over"


@dataclass(frozen=True, slots=True)
class Selection:
    """Which due items are planned, over which months; an owner, a region or items narrow them."""

    first_month: str
    months: int
    owner_id: int | None = None
    region: str | None = None
    items: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class DueItem:
    """A due item: `state` as the calculator has it, `due_on` the last day on which it is in date."""

    item: str
    state: str
    due_on: date | None
    interval_months: int | None


@dataclass(frozen=True, slots=True)
class PlannedVisit:
    """A visit that stands already: the car is sent or in the shop (`begun`), or is to go in `month`."""

    shop: str
    month: str
    items: tuple[str, ...]
    begun: bool


@dataclass(frozen=True, slots=True)
class FleetCar:
    name: str
    region: str
    due: Sequence[DueItem]
    visits: Sequence[PlannedVisit] = ()


@dataclass(frozen=True, slots=True)
class Remark:
    """Something that the plan leaves out or takes otherwise, in a sentence, with how many cars it is about."""

    kind: str
    text: str
    cars: tuple[str, ...]


@dataclass(slots=True)
class _Remarks:
    found: dict[tuple[str, str], list[str]] = field(default_factory=lambda: defaultdict(list))

    def add(self, kind: str, text: str, car: str) -> None:
        self.found[kind, text].append(car)

    def all(self) -> list[Remark]:
        return [Remark(kind, text, tuple(cars)) for (kind, text), cars in self.found.items()]


def demand(
    selection: Selection,
    basis: Basis,
    cars: Iterable[FleetCar],
    taken: Mapping[tuple[str, str], float],
) -> tuple[Problem, list[Remark]]:
    """The problem of a selection, and what is to be known of it.

    `taken` are shop days that visits of other cars take already, by shop and month.
    """
    remarks = _Remarks()
    first = ordinal(selection.first_month)
    facts = {each.car: each for each in basis.cars}
    planned = [
        _car(basis, car, first, selection, facts.get(car.name, CarFacts(car.name)), remarks)
        for car in cars
    ]
    problem = Problem(
        selection.first_month,
        selection.months,
        basis.unplaced_cost,
        tuple(_shop(shop, selection, taken) for shop in basis.shops),
        tuple(car for car in planned if car.jobs or car.fixed),
    )
    return problem, remarks.all()


def _shop(stated: PlanShop, selection: Selection, taken: Mapping[tuple[str, str], float]) -> Shop:
    days = (
        max(0.0, stated.capacity(month) - taken.get((stated.code, month), 0.0))
        for month in months_of(selection)
    )
    return Shop(stated.code, frozenset(stated.does), tuple(days))


def months_of(selection: Selection) -> Iterator[str]:
    at = ordinal(selection.first_month)
    for number in range(at, at + selection.months):
        yield month_text(number)


def _car(
    basis: Basis, car: FleetCar, first: int, selection: Selection, facts: CarFacts, remarks: _Remarks
) -> Car:  # fmt: skip
    earning = basis.earning_per_day if facts.earning_per_day is None else facts.earning_per_day
    away = [visit for visit in car.visits if visit.begun]
    busy = {item for visit in away for item in visit.items}
    if away:
        remarks.add(
            "away",
            f"in the shop or on the way to {away[0].shop} now: it can go again from the second month on",
            car.name,
        )
    wanted = [each for each in car.due if each.item not in busy]
    jobs = _jobs(basis, car.name, wanted, first, selection, earning, remarks)
    move = basis.move_cost(car.region)
    if jobs and not move:
        remarks.add(
            "reach",
            f"no shop takes cars of the region “{car.region or 'not stated'}”: give a cost of moving there",
            car.name,
        )
    earliest = _earliest(facts, first, bool(away))
    fixed = tuple(_fixed(basis, car, jobs, first, selection, remarks))
    for each in fixed:
        move.setdefault(each.shop, 0.0)
        earliest = None if earliest is not None and each.month < earliest else earliest
    return Car(car.name, basis.visit_cost(earning), move, tuple(jobs), earliest, fixed)


def _earliest(facts: CarFacts, first: int, away: bool) -> int | None:
    stated = ordinal(facts.earliest) - first if facts.earliest else 0
    found = max(stated, 1 if away else 0)
    return found or None


def _fixed(
    basis: Basis, car: FleetCar, jobs: Sequence[Job], first: int, selection: Selection,
    remarks: _Remarks,
) -> Iterator[Fixed]:  # fmt: skip
    """The visits that are planned already and lie within the months of the plan; what they do must be a whole job."""
    shops = {shop.code: set(shop.does) for shop in basis.shops}
    for visit in car.visits:
        if visit.begun:  # it may have no month
            continue
        month = ordinal(visit.month) - first
        if not 0 <= month < selection.months:
            continue
        if visit.shop not in shops:
            remarks.add(
                "fixed",
                f"its planned visit to {visit.shop} is to a shop that the standards do not know, so it is left out",
                car.name,
            )
            continue
        done = [
            job.name for job in jobs
            if set(job.name.split(BETWEEN)) <= set(visit.items) and job.skill in shops[visit.shop]
            and job.may(month)
        ]  # fmt: skip
        yield Fixed(visit.shop, month, tuple(done))


def _jobs(
    basis: Basis, car: str, due: Sequence[DueItem], first: int, selection: Selection,
    earning: float, remarks: _Remarks,
) -> list[Job]:  # fmt: skip
    """What is due within the months, by skill and month; work of one skill due in one month is one job."""
    groups: dict[tuple[str, int], list[DueItem]] = defaultdict(list)
    for each in due:
        latest = _latest(basis, car, each, first, selection, remarks)
        if latest is not None:
            groups[basis.standards[each.item].skill, latest].append(each)
    return [_job(basis, skill, latest, each, earning) for (skill, latest), each in groups.items()]


def _latest(
    basis: Basis, car: str, due: DueItem, first: int, selection: Selection, remarks: _Remarks
) -> int | None:
    """The month by which it is to be done, counted from the first; None where nothing is planned for it."""
    name = capitalized(label(due.item))
    if due.state == "unknown":
        remarks.add(
            "undated", f"{name} cannot be dated for lack of a fact, so it cannot be planned", car
        )
    if due.due_on is None:
        return None
    if due.item in NO_WORK:
        if ordinal(f"{due.due_on:%Y-%m}") < first + selection.months:
            remarks.add(
                "last_day",
                "reaches its last service day within these months; no work moves that",
                car,
            )
        return None
    if due.item not in basis.standards:
        remarks.add("standard", f"{name} has no standard, so it cannot be planned", car)
        return None
    latest = latest_month(due.due_on) - first
    if due.state == "owed":
        remarks.add("overdue", f"{name} is due now", car)
        return LATE
    if latest < 0:
        told = _NOT_WHOLE if due.due_on >= first_day(first - 1) else "is overdue"
        remarks.add("overdue", f"{name} {told}: it counts as late from the first month", car)
        return LATE
    return latest if latest < selection.months else None


def latest_month(due_on: date) -> int:
    """The last month that the work is in date to its last day, as months from year 0."""
    whole = due_on.day == monthrange(due_on.year, due_on.month)[1]
    return due_on.year * 12 + due_on.month - 1 - (not whole)


def _job(
    basis: Basis, skill: str, latest: int, due: Sequence[DueItem], earning: float
) -> Job:  # fmt: skip
    """One job: its days and costs are those of its items together, late only where each may be late.

    Each month early gives away a month of the life that was paid for. What is late already may be done at any
    time, and costs what the car does not earn meanwhile.
    """
    standards = [basis.standards[each.item] for each in due]
    early = sum(
        standard.cost / each.interval_months
        for standard, each in zip(standards, due, strict=True)
        if each.interval_months
    )
    late = [each.late_cost for each in standards]
    late_cost = None if None in late else sum(each or 0.0 for each in late)
    if latest < 0:
        late_cost = max(late_cost or 0.0, DAYS_OF_A_MONTH * earning)
    name = BETWEEN.join(each.item for each in due)
    return Job(
        name, skill, sum(each.days for each in standards), latest, round(early, 4), late_cost
    )


def items_of(jobs: Iterable[str]) -> tuple[str, ...]:
    """The due items that jobs are made of."""
    return tuple(item for job in jobs for item in job.split(BETWEEN))


def differences(planned: Problem, now: Problem) -> Iterator[tuple[str, str]]:
    """What of a plan's problem the fleet no longer is: car, and a sentence."""
    before = {car.name: car for car in planned.cars}
    after = {car.name: car for car in now.cars}
    shift = ordinal(now.first_month) - ordinal(planned.first_month)
    for name, car in before.items():
        if name not in after:
            yield name, "has nothing to be planned any more"
            continue
        was = {job.name: job.latest for job in car.jobs}
        new = {job.name: job.latest + shift for job in after[name].jobs}
        for job in was.keys() - new.keys():
            yield name, f"{in_words(job, ' and ')} no longer falls due as it was planned"
        for job in new.keys() - was.keys():
            yield name, f"{in_words(job, ' and ')} falls due and is not in the plan"
        for job in was.keys() & new.keys():
            if new[job] < was[job]:
                yield (
                    name,
                    f"{in_words(job, ' and ')} falls due earlier: by {planned.month(new[job])}",
                )
            elif new[job] > was[job]:
                yield (
                    name,
                    f"{in_words(job, ' and ')} falls due later: by {planned.month(new[job])}",
                )
    for name in after.keys() - before.keys():
        yield name, "is to be planned and is not in the plan"


def in_words(job: str, between: str = ", ") -> str:
    """The items of a job, in words."""
    return capitalized(between.join(label(item) for item in job.split(BETWEEN)))


def first_of_next(today: date) -> str:
    """The month after a day's."""
    return f"{today.replace(day=28) + timedelta(days=7):%Y-%m}"

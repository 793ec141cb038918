"""From the fleet to the problem: due items become jobs, shops and cars what the basis says of them."""

from __future__ import annotations

from calendar import monthrange
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from statistics import median_low

from app.core.plan.basis import DAYS_OF_A_MONTH, Basis, CarFacts, PlanShop
from app.core.plan.problem import (
    Car,
    Fixed,
    Forbidden,
    Job,
    Problem,
    Shop,
    first_day,
    month_text,
    ordinal,
)
from app.core.plan.standing import (
    PlannedVisit,
    Taken,
    again_within,
    covered,
    days_taken,
    shops_over,
    without_skill,
)
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
    """A due item: `state` as the calculator has it, `due_on` the last day on which it is in date.

    It falls due again `interval_months` after it is done.
    """

    item: str
    state: str
    due_on: date | None
    interval_months: int | None


@dataclass(frozen=True, slots=True)
class FleetCar:
    name: str
    region: str
    due: Sequence[DueItem]
    visits: Sequence[PlannedVisit] = ()


@dataclass(frozen=True, slots=True)
class Remark:
    """Something that the plan leaves out or takes otherwise, in a sentence, with the cars (or shops) it is about."""

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
    selection: Selection, basis: Basis, cars: Sequence[FleetCar], others: Iterable[PlannedVisit] = ()
) -> tuple[Problem, list[Remark]]:  # fmt: skip
    """The problem of a selection, and what is to be known of it.

    Visits that stand, of these cars and of `others`, keep their work, their month and their days.
    """
    remarks = _Remarks()
    stand = [*others, *(visit for car in cars for visit in car.visits)]
    taken = days_taken(basis, stand)
    for shop, told in shops_over(taken, basis, months_of(selection)):
        remarks.add("overfull", told, shop)
    for shop, told in without_skill(stand, basis, months_of(selection)):
        remarks.add("unskilled", told, shop)
    facts = {each.car: each for each in basis.cars}
    shops = tuple(_shop(shop, selection, taken) for shop in basis.shops)
    planned = [
        _Demand(
            basis, selection, car, facts.get(car.name, CarFacts(car.name)), shops, remarks
        ).car()
        for car in cars
    ]
    problem = Problem(
        selection.first_month,
        selection.months,
        basis.unplaced_cost,
        shops,
        tuple(car for car in planned if car.jobs),
    )
    return problem, remarks.all()


def _shop(stated: PlanShop, selection: Selection, taken: Taken) -> Shop:
    left = [
        stated.capacity(month) - taken.get((stated.code, month), 0.0)
        for month in months_of(selection)
    ]
    return Shop(
        stated.code, frozenset(stated.does),
        tuple(max(0.0, days) for days in left), tuple(max(0.0, -days) for days in left),
    )  # fmt: skip


def months_of(selection: Selection) -> Iterator[str]:
    at = ordinal(selection.first_month)
    for number in range(at, at + selection.months):
        yield month_text(number)


@dataclass(frozen=True, slots=True)
class _Demand:
    """What one car asks of a plan."""

    basis: Basis
    selection: Selection
    of: FleetCar
    facts: CarFacts
    shops: tuple[Shop, ...]
    remarks: _Remarks

    @property
    def first(self) -> int:
        return ordinal(self.selection.first_month)

    @property
    def earning(self) -> float:
        stated = self.facts.earning_per_day
        return self.basis.earning_per_day if stated is None else stated

    def remark(self, kind: str, text: str) -> None:
        self.remarks.add(kind, text, self.of.name)

    def car(self) -> Car:
        jobs, move = self._jobs(), self.basis.move_cost(self.of.region)
        if jobs and not move:
            region = self.of.region or "not stated"
            self.remark(
                "reach", f"no shop takes cars of the region “{region}”: give a cost of moving there"
            )
        for visit in self.of.visits:
            self._tell(visit)
        earliest = self._earliest()
        fixed, forbid = self._stand(move, earliest or 0)
        visit_cost = self.basis.visit_cost(self.earning)
        return Car(self.of.name, visit_cost, move, tuple(jobs), earliest, fixed, forbid)

    # Visits that stand ------------------------------------------------------------------------------------------

    def _tell(self, visit: PlannedVisit) -> None:
        if visit.begun:
            told = (
                f"in the shop or on the way to {visit.shop} now: it can go again when that is over"
            )
            self.remark("away", told)
            return
        month = self._number(visit)
        if month < 0:
            told = f"goes to {visit.shop} in {visit.month}, before these months: its work there is not planned again"
            self.remark("before", told)
        for due in self.of.due:
            if due.item in visit.items:
                self._tell_of_covered(due, visit, month)

    def _tell_of_covered(self, due: DueItem, visit: PlannedVisit, month: int) -> None:
        name = capitalized(label(due.item))
        if due.state == "owed" or (due.due_on and latest_month(due.due_on) - self.first < month):
            day = f"falls due by {due.due_on}" if due.due_on else "is due now"
            self.remark(
                "late_visit",
                f"{name} {day}, and its visit to {visit.shop} is planned for {visit.month}",
            )
        self._tell_of_next(due, month)

    def _number(self, visit: PlannedVisit) -> int:
        return ordinal(visit.month) - self.first

    def _earliest(self) -> int | None:
        """The first month in which it can go: not before it is said to be free, nor while it is away."""
        stated = ordinal(self.facts.earliest) - self.first if self.facts.earliest else 0
        away = [
            1 + max(0, self._number(visit) if visit.month else 0)
            for visit in self.of.visits if visit.begun
        ]  # fmt: skip
        return max([stated, *away]) or None

    def _stand(
        self, move: Mapping[str, float], earliest: int
    ) -> tuple[tuple[Fixed, ...], tuple[Forbidden, ...]]:
        """Visits that stand in these months: to be joined where the car can go there, else none is made then."""
        fixed: dict[int, Fixed] = {}
        forbid: list[Forbidden] = []
        for visit in self.of.visits:
            if (
                visit.begun
                or not earliest <= (month := self._number(visit)) < self.selection.months
            ):
                continue
            if month in fixed:
                self.remark(
                    "twice", f"has more than one visit in {visit.month}: cancel all but one"
                )
            elif visit.shop in move:
                fixed[month] = Fixed(visit.shop, month)
            else:
                told = f"its planned visit to {visit.shop} stands, and nothing is added: it is out of reach"
                self.remark("fixed", told)
                forbid += [Forbidden(shop, month) for shop in move]
        return tuple(fixed.values()), tuple(forbid)

    # Work -------------------------------------------------------------------------------------------------------

    def _jobs(self) -> list[Job]:
        """What is due within the months, by skill and month; work of one skill due in one month is one job.

        Where the usual month in which it could be done has not the days for that, each item is a job of its own: few
        large months must not hold up what the others have room for.
        """
        groups: dict[tuple[str, int], list[DueItem]] = defaultdict(list)
        has_its_visit, last_day = covered(self.of.visits), self._last_day()
        for due in self.of.due:
            too_late = due.item not in NO_WORK and after_service(due.due_on, last_day)
            latest = None if too_late or due.item in has_its_visit else self._latest(due)
            if latest is not None:
                groups[self.basis.standards[due.item].skill, latest].append(due)
                self._tell_of_next(due, latest)
        return [
            self._job(skill, latest, part)
            for (skill, latest), due in groups.items()
            for part in self._parts(skill, latest, due)
        ]

    def _last_day(self) -> date | None:
        """The last day on which the car may be in service, by its age or by an end that is set for it."""
        return min(
            (each.due_on for each in self.of.due if each.item in NO_WORK and each.due_on),
            default=None,
        )

    def _parts(self, skill: str, latest: int, due: list[DueItem]) -> list[list[DueItem]]:
        move = self.basis.move_cost(self.of.region)
        able = [shop for shop in self.shops if skill in shop.does]
        if not able:
            self.remark(
                "skill", f"no shop does {skill} work, so it has no visit: give a shop that skill"
            )
        in_time = slice(latest + 1 if latest >= 0 else None)
        rooms = [
            days
            for shop in able if shop.code in move
            for days in shop.capacity_days[in_time] if days > 0
        ]  # fmt: skip
        days = sum(self.basis.standards[each.item].days for each in due)
        return [due] if rooms and days <= median_low(rooms) else [[each] for each in due]

    def _latest(self, due: DueItem) -> int | None:
        """The month by which it is to be done, counted from the first; None where nothing is planned for it."""
        name = capitalized(label(due.item))
        if due.state == "unknown":
            self.remark(
                "undated", f"{name} cannot be dated for lack of a fact, so it cannot be planned"
            )
        if due.due_on is None and due.state != "owed":
            return None
        if due.item in NO_WORK:
            if due.due_on and latest_month(due.due_on) < self.first + self.selection.months:
                self.remark(
                    "last_day",
                    "reaches its last service day within these months; what falls due after it is not planned",
                )
            return None
        if due.item not in self.basis.standards:
            self.remark(
                "standard",
                f"{name} has no standard, so it cannot be planned: give it one under “Standards”",
            )
            return None
        if due.due_on is None or due.state == "owed":
            self.remark("overdue", f"{name} is due now")
            return LATE
        latest = latest_month(due.due_on) - self.first
        if latest < 0:
            told = _NOT_WHOLE if due.due_on >= first_day(self.first - 1) else "is overdue"
            self.remark("overdue", f"{name} {told}: it counts as late from the first month")
            return LATE
        return latest if latest < self.selection.months else None

    def _tell_of_next(self, due: DueItem, done: int) -> None:
        """Work that comes round within the months is planned once: when it is next due, the day of doing it decides."""
        if again_within(self.selection.months, due.interval_months, max(0, done)):
            self.remark(
                "again",
                f"{capitalized(label(due.item))} falls due again within these months, {due.interval_months} months "
                f"after it is done: only the next time is planned here",
            )

    def _job(self, skill: str, latest: int, due: Sequence[DueItem]) -> Job:
        """One job: its days and costs are those of its items together, late only where each may be late.

        Each month early gives away a month of the life that was paid for. What is late already may be done at any
        time, and costs what the car does not earn meanwhile.
        """
        standards = [self.basis.standards[each.item] for each in due]
        early = sum(
            standard.cost / each.interval_months
            for standard, each in zip(standards, due, strict=True)
            if each.interval_months
        )
        late = [each.late_cost for each in standards]
        late_cost = None if None in late else sum(each or 0.0 for each in late)
        if latest < 0:
            late_cost = max(late_cost or 0.0, DAYS_OF_A_MONTH * self.earning)
        name = BETWEEN.join(each.item for each in due)
        return Job(
            name, skill, sum(each.days for each in standards), latest, round(early, 4), late_cost
        )


def after_service(due_on: date | None, last_day: date | None) -> bool:
    """Whether work need not be done for when it falls due: the last day on which the car may be in service is over.

    The forecast leaves out the same (`store.forecasting`).
    """
    return due_on is not None and last_day is not None and due_on >= last_day


def latest_month(due_on: date) -> int:
    """The last month that the work is in date to its last day, as months from year 0."""
    whole = due_on.day == monthrange(due_on.year, due_on.month)[1]
    return due_on.year * 12 + due_on.month - 1 - (not whole)


def items_of(jobs: Iterable[str]) -> tuple[str, ...]:
    """The due items that jobs are made of."""
    return tuple(item for job in jobs for item in job.split(BETWEEN))


def in_words(job: str, between: str = ", ") -> str:
    """The items of a job, in words."""
    return capitalized(between.join(label(item) for item in job.split(BETWEEN)))


def first_of_next(today: date) -> str:
    """The month after a day's."""
    return f"{today.replace(day=28) + timedelta(days=7):%Y-%m}"

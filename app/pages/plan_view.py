"""What the pages of a plan show: its figures, the calendar of shops by months, a car's visits with their reasons."""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import islice

from app.actions.plans import Opened
from app.answers import planning
from app.core.plan.accounts import days_of, faults_in, total_cost
from app.core.plan.basis import PlanShop
from app.core.plan.choices import Choice, Parts, Used, choices, least_change, parts
from app.core.plan.cost import for_other_work, left_out, visits_by_car
from app.core.plan.demand import Remark, in_words
from app.core.plan.problem import TOLERANCE, Car, Job, Problem, Shop, Visit, by_name
from app.core.plan.revise import counting, still_bounded
from app.core.plan.soonest import Soonest
from app.core.plan.standing import PlannedVisit
from app.core.plan.why import why_left

# So many other places are listed for a visit; the form beside them takes any.
MOST_CHOICES = 12
MOST_FAULTS = 20


@dataclass(frozen=True, slots=True)
class Figures:
    """A plan in numbers: costs, how far it can be from the cheapest, what it leaves and breaks."""

    cost: float
    # None once something was lifted that it was proven around.
    bound: float | None
    soonest: Soonest
    unplaced: float
    visits: int
    cars: int
    left: int
    left_items: int
    late: int
    early: int
    by_hand: int
    around: int
    faults: Sequence[str]
    before: int
    cost_before: float

    @property
    def gap(self) -> float | None:
        """Per cent by which it may cost more than the cheapest plan there could be.

        None without a bound, and where it breaks something: what may not be can cost less than any plan.
        """
        if self.bound is None or self.faults:
            return None
        return 100 * (self.cost - self.bound) / self.cost if self.cost > 0 else 0.0

    @property
    def saving(self) -> float | None:
        """Per cent less than soonest due first costs; None where that leaves more work, or less."""
        if self.soonest.left != self.left:
            return None
        return (
            100 * (self.soonest_done - self.done) / self.soonest_done if self.soonest_done else 0.0
        )

    @property
    def done(self) -> float:
        """The cost without that of work that is left."""
        return self.cost - self.left * self.unplaced

    @property
    def soonest_done(self) -> float:
        return self.soonest.cost - self.soonest.left * self.unplaced


def figures(at: Opened) -> Figures:
    problem, of_cars = at.draft.problem, at.accounts.values()
    return Figures(
        total_cost(at.accounts),
        at.content.solved.lower_bound if still_bounded(at.content.draft(), at.draft) else None,
        at.content.soonest,
        problem.unplaced_cost,
        sum(each.visits for each in of_cars),
        sum(1 for each in of_cars if each.visits),
        sum(each.left for each in of_cars),
        sum(each.left_items for each in of_cars),
        sum(each.late for each in of_cars),
        sum(each.early for each in of_cars),
        len(counting(at.changes)),
        len(at.content.locked),
        faults_in(problem, at.accounts)[:MOST_FAULTS],
        *for_other_work(problem, at.draft.visits),
    )


REMARKS = {
    "overdue": "overdue, due now, or due before a whole month of the plan is over",
    "undated": "something cannot be dated for lack of a fact, so it is not planned",
    "last_day": "their last service day comes within these months; what falls due after it is not planned",
    "late_visit": "a planned visit comes later than its work is in date",
    "overfull": "visits that stand take more days than there are",
    "unskilled": "visits that stand are for work which the shop does not do",
    "again": "work falls due again within these months, once it is done",
    "away": "in a shop or on the way there now",
    "before": "a visit before these months stands",
    "twice": "more than one visit stands in a month",
    "reach": "no shop takes them",
    "skill": "no shop has the skill for some of their work",
    "fixed": "a planned visit stands, to which nothing is added",
    "carried": "a locked visit of an earlier version cannot stand any more",
    "standard": "work without a standard is not planned",
    "twins": "another car bears the same mark and number",
}


OF_SHOPS = ("overfull", "unskilled")


@dataclass(frozen=True, slots=True)
class Kind:
    """What is to be known of one kind, with how many cars or shops (`of`) it is about."""

    title: str
    count: int
    remarks: Sequence[Remark]
    of: str = "car"


def by_kind(remarks: Sequence[Remark]) -> list[Kind]:
    """What is to be known, by kind, in a fixed order."""
    found = {kind: [each for each in remarks if each.kind == kind] for kind in REMARKS}
    return [
        Kind(
            REMARKS[kind],
            len({car for each in these for car in each.cars}),
            these,
            "shop" if kind in OF_SHOPS else "car",
        )
        for kind, these in found.items()
        if these
    ]


@dataclass(frozen=True, slots=True)
class Cell:
    """A shop in a month: the days that this plan takes, those left to it, and those that stand beside it.

    `short` are those by which what stands takes more than there are. `price` is what one day more would save,
    estimated.
    """

    shop: str
    month: str
    number: int
    days: float
    left: float
    short: float
    stands: float
    cars: int
    price: float

    @property
    def taken(self) -> float:
        return self.days + self.stands

    @property
    def capacity(self) -> float:
        """All days of the shop in that month, whoever takes them."""
        return self.left - self.short + self.stands

    @property
    def over(self) -> bool:
        return self.taken > self.capacity + TOLERANCE

    @property
    def full(self) -> bool:
        return self.taken > 0 and not self.over and self.left - self.days < 1

    @property
    def share(self) -> int:
        """Of a hundred, for the drawing."""
        if self.capacity <= 0:
            return 100 if self.taken else 0
        return min(100, round(100 * self.taken / self.capacity))


@dataclass(frozen=True, slots=True)
class Year:
    """The months of one year, and by shop its cells in them."""

    year: str
    months: Sequence[str]
    rows: Sequence[tuple[str, Sequence[Cell]]]


def calendar(at: Opened) -> list[Year]:
    """The shops by months, a year at a time."""
    problem, load = at.draft.problem, _load(at)
    by_year: dict[str, list[int]] = {}
    for number in range(problem.months):
        by_year.setdefault(problem.month(number)[:4], []).append(number)
    return [
        Year(
            year,
            [problem.month(number) for number in numbers],
            [
                (shop.code, [_cell(at, shop, number, load) for number in numbers])
                for shop in problem.shops
            ],
        )
        for year, numbers in by_year.items()
    ]


def cell(at: Opened, shop: str, number: int) -> Cell | None:
    """One shop in one month; None where the plan has no such."""
    problem = at.draft.problem
    found = next((each for each in problem.shops if each.code == shop), None)
    if found is None or not 0 <= number < problem.months:
        return None
    return _cell(at, found, number, _load(at))


@dataclass(frozen=True, slots=True)
class _Load:
    """Of a whole plan: days taken and how many visits by shop and month, what shops state, prices by shop."""

    used: Used
    cars: Mapping[tuple[str, int], int]
    stated: Mapping[str, PlanShop]
    prices: Prices


def _load(at: Opened) -> _Load:
    cars = Counter((visit.shop, visit.month) for visit in at.draft.visits)
    stated = {each.code: each for each in at.content.basis.shops}
    return _Load(days_of(at.accounts), cars, stated, prices(at))


def _cell(at: Opened, shop: Shop, number: int, load: _Load) -> Cell:
    place = (shop.code, number)
    month = at.draft.problem.month(number)
    left, short = shop.capacity_days[number], shop.short(number)
    stated = load.stated.get(shop.code)
    return Cell(
        shop.code, month, number, load.used.get(place, 0.0), left, short,
        stated.capacity(month) - left + short if stated else 0.0,
        load.cars.get(place, 0), price_at(load.prices, shop.code, number),
    )  # fmt: skip


Prices = Mapping[str, Sequence[float]]


def prices(at: Opened) -> Prices:
    """What one shop day more would save, by shop and month, by the relaxed problem: an estimate.

    None once the plan was changed by hand: the prices are those of the plan as it was solved, and what was
    moved since may have freed these days. Nothing where visits that stand take more days than there are.
    """
    if counting(at.changes):
        return {}
    shops = {shop.code: shop for shop in at.draft.problem.shops}
    return {
        code: [0.0 if shops[code].short(month) else price for month, price in enumerate(of_shop)]
        for code, of_shop in at.content.solved.prices.items()
    }


def price_at(prices: Prices, shop: str, number: int) -> float:
    of_shop = prices.get(shop, ())
    return of_shop[number] if number < len(of_shop) else 0.0


@dataclass(frozen=True, slots=True)
class WorkShown:
    """A job with the last month in which it is in date, and how far a visit is from that."""

    name: str
    words: str
    days: float
    latest: str
    months_late: int
    skill: str
    overdue: bool


@dataclass(frozen=True, slots=True)
class NextShown:
    """What the car would do without a visit: shop, month and work of each then, what that adds, what is left then."""

    visits: Sequence[tuple[str, str, str]]
    adds: float
    left: Sequence[tuple[str, str]]


@dataclass(frozen=True, slots=True)
class VisitShown:
    """A visit of a plan with what it costs, what else there was and what stood in the way."""

    car: str
    car_id: int
    shop: str
    month: str
    number: int
    work: Sequence[WorkShown]
    days: float
    locked: bool
    fixed: bool
    parts: Parts
    choices: Sequence[Choice] = ()
    next_best: NextShown | None = None
    cheaper: Sequence[Choice] = ()


def visit_shown(at: Opened, car: Car, visit: Visit) -> VisitShown:
    """A visit without its other places."""
    work = [_work(at.draft.problem, by_name(car.jobs)[name], visit.month) for name in visit.jobs]
    return VisitShown(
        car.name, at.content.cars[car.name], visit.shop, at.draft.problem.month(visit.month),
        visit.month, work, sum(each.days for each in work),
        (car.name, visit.month) in at.draft.locked,
        any(each.month == visit.month for each in car.fixed), parts(car, visit),
    )  # fmt: skip


def _work(problem: Problem, job: Job, month: int) -> WorkShown:
    return WorkShown(
        job.name, in_words(job.name), job.days, problem.month(job.latest), month - job.latest,
        job.skill, job.latest < 0,
    )  # fmt: skip


def visits_in(at: Opened, shop: str, number: int) -> list[VisitShown]:
    """The visits of a shop in a month, by car."""
    cars = {car.name: car for car in at.draft.problem.cars}
    found = [each for each in at.draft.visits if (each.shop, each.month) == (shop, number)]
    return [visit_shown(at, cars[each.car], each) for each in sorted(found, key=lambda it: it.car)]


@dataclass(frozen=True, slots=True)
class LeftShown:
    """Work that has no visit: why, the least that would change that, and where it could go."""

    car: str
    car_id: int
    work: WorkShown
    why: str
    change: str


@dataclass(frozen=True, slots=True)
class CarShown:
    """All of one car in a plan."""

    car: Car
    car_id: int
    visits: Sequence[VisitShown]
    left: Sequence[LeftShown]
    stands: Sequence[PlannedVisit]


def car_shown(at: Opened, name: str) -> CarShown:
    """A car with its visits, their reasons, and what is left. Raises CannotChange where the plan has no such car."""
    problem = at.draft.problem
    car = at.draft.car(name)
    used = days_of(at.accounts)
    own = sorted(at.draft.of_car(name), key=lambda each: each.month)
    visits = [_with_reasons(at, car, visit, used) for visit in own]
    before = _placed_before(at)
    left = [
        _left(at, car, job, own, used, before)
        for job in car.jobs
        if problem.must_place(job) and not any(job.name in visit.jobs for visit in own)
    ]
    return CarShown(car, at.content.cars[name], visits, left, at.content.stands.get(name, ()))


def _with_reasons(at: Opened, car: Car, visit: Visit, used: Used) -> VisitShown:
    found = choices(at.draft, car, visit, used)
    with_room = [each for each in found if each.has_room]
    shown = visit_shown(at, car, visit)
    return replace(
        shown,
        choices=with_room[:MOST_CHOICES],
        next_best=None if shown.fixed else _next_best(at, car, visit, used),
        cheaper=[each for each in found if each.adds < 0 and not each.has_room][:3],
    )


def _next_best(at: Opened, car: Car, visit: Visit, used: Used) -> NextShown:
    found = planning.next_best(at.draft, car, visit, used)
    visits = [
        (each.shop, at.draft.problem.month(each.month), _all_in_words(each.jobs))
        for each in found.visits
    ]
    return NextShown(visits, found.adds, [(in_words(name), why) for name, why in found.left])


def _all_in_words(jobs: Sequence[str]) -> str:
    return ", ".join(in_words(name) for name in jobs)


def left_shown(at: Opened, most: int) -> list[LeftShown]:
    """The first `most` of the work that no visit does though leaving it costs."""
    problem, visits = at.draft.problem, at.draft.visits
    used, of_car, before = days_of(at.accounts), visits_by_car(visits), _placed_before(at)
    return [
        _left(at, car, job, of_car.get(car.name, ()), used, before)
        for car, job in islice(left_out(problem, visits), most)
    ]


Placed = Collection[tuple[str, str]]


def _placed_before(at: Opened) -> Placed:
    """Work that had its visit when the version was made, by car and job: without one since, by hand."""
    return {(visit.car, job) for visit in at.content.solved.visits for job in visit.jobs}


def _left(
    at: Opened, car: Car, job: Job, visits: Sequence[Visit], used: Used, before: Placed
) -> LeftShown:
    problem, by_hand = at.draft.problem, (car.name, job.name) in before
    return LeftShown(
        car.name, at.content.cars[car.name], _work(problem, job, job.latest),
        why_left(problem, car, job, visits, used, by_hand),
        least_change(problem, car, job, visits, used),
    )  # fmt: skip

"""The shop-planning problem and a plan for it: plain frozen data.

A month is its number from the first of the horizon: 0 is `Problem.first_month`, and one before it is negative.
Days are shop days. Costs are of one currency, whichever it is.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date

# Sums of costs and days are of binary numbers; what differs by less than this is equal.
TOLERANCE = 1e-6


@dataclass(frozen=True, slots=True)
class Job:
    """Work on a car: on time up to the month `latest`; `late_cost` is None where it may not be late."""

    name: str
    skill: str
    days: float
    latest: int
    early_cost: float = 0.0
    late_cost: float | None = None

    def may(self, month: int) -> bool:
        return month <= self.latest or self.late_cost is not None

    def cost(self, month: int) -> float:
        """What doing it in `month` costs, early or late; the month must be one in which it may be done."""
        if month <= self.latest:
            return (self.latest - month) * self.early_cost
        return (month - self.latest) * (self.late_cost or 0.0)


@dataclass(frozen=True, slots=True)
class Shop:
    """A shop with the days that it has left by month.

    `short_days` are those by which visits that stand take more than it has, which no day given there makes room; none
    are short where it is empty.
    """

    code: str
    does: frozenset[str]
    capacity_days: tuple[float, ...]
    short_days: tuple[float, ...] = ()

    def short(self, month: int) -> float:
        return self.short_days[month] if self.short_days else 0.0


@dataclass(frozen=True, slots=True)
class Fixed:
    """A visit that must stand: of the jobs it does, none is done elsewhere; others may join it."""

    shop: str
    month: int
    jobs: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Forbidden:
    """A shop the car must not go to, in one month or in any."""

    shop: str
    month: int | None = None


@dataclass(frozen=True, slots=True)
class Car:
    name: str
    visit_cost: float
    move_cost: Mapping[str, float]
    jobs: tuple[Job, ...] = ()
    earliest: int | None = None
    fixed: tuple[Fixed, ...] = ()
    forbid: tuple[Forbidden, ...] = ()

    def may_go(self, shop: str, month: int) -> bool:
        """Whether a new visit may be made there. Looks at no other visit."""
        return self.kept_from(shop, month) is None

    def kept_from(self, shop: str, month: int) -> str | None:
        """Why no new visit may be made there, in words."""
        if shop not in self.move_cost:
            return "out of reach"
        if month < (self.earliest or 0):
            return "before the car can go"
        if any(each.shop == shop and each.month in (None, month) for each in self.forbid):
            return "forbidden"
        return None

    def fixed_jobs(self) -> frozenset[str]:
        return frozenset(job for visit in self.fixed for job in visit.jobs)


@dataclass(frozen=True, slots=True)
class Problem:
    first_month: str
    months: int
    unplaced_cost: float
    shops: tuple[Shop, ...]
    cars: tuple[Car, ...]

    def month(self, number: int) -> str:
        """`YYYY-MM` of a month by its number."""
        return month_text(ordinal(self.first_month) + number)

    def must_place(self, job: Job) -> bool:
        """Whether leaving it costs anything: work past the horizon need not be placed."""
        return job.latest < self.months


@dataclass(frozen=True, slots=True)
class Visit:
    car: str
    shop: str
    month: int
    jobs: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Unplaced:
    car: str
    job: str
    why: str = ""


@dataclass(frozen=True, slots=True)
class Load:
    """The days of a shop in a month that visits take, beside those it has."""

    shop: str
    month: int
    days: float
    capacity_days: float


@dataclass(frozen=True, slots=True)
class Solved:
    """The best visits found and a lower bound on the cost of any plan.

    `prices` gives, by shop code and month, what one more day there would save in the relaxed problem; with them the
    bound can be worked out anew (`bound.lower_bound`).
    """

    visits: tuple[Visit, ...]
    cost: float
    lower_bound: float
    seconds: float = 0.0
    prices: Mapping[str, tuple[float, ...]] = field(default_factory=dict)

    @property
    def gap(self) -> float:
        return (self.cost - self.lower_bound) / self.cost if self.cost > 0 else 0.0

    @property
    def status(self) -> str:
        return "optimal" if self.gap <= TOLERANCE else "within_gap"


def ordinal(month: str) -> int:
    """Months from year 0 of `YYYY-MM`."""
    return int(month[:4]) * 12 + int(month[5:7]) - 1


def month_text(number: int) -> str:
    """`YYYY-MM` of a month counted from year 0."""
    return f"{number // 12:04}-{number % 12 + 1:02}"


def first_day(number: int) -> date:
    """The first day of a month counted from year 0."""
    return date(number // 12, number % 12 + 1, 1)


def by_name(jobs: Iterable[Job]) -> dict[str, Job]:
    return {job.name: job for job in jobs}

"""By what a fleet is planned: standards of each item, shops with their days, what a move costs.

The figures to begin with are invented and round: common practice, no source. A planner puts their own in.
Costs are of one currency, days are shop days, months are written `YYYY-MM`.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from math import isfinite

MOST_DAYS = 366.0
MOST_SHOP_DAYS = 1e6
MOST_COST = 1e9
# Days of a month by which a car that may not load is taken to lose its earning.
DAYS_OF_A_MONTH = 30


@dataclass(frozen=True, slots=True)
class Standard:
    """Work on an item: `late_cost` a month past its due month; None where it may not be late."""

    skill: str
    days: float
    cost: float
    late_cost: float | None = None


@dataclass(frozen=True, slots=True)
class PlanShop:
    """A shop: what it can do, its days in a month, months with other days (0: closed), and what going there costs.

    `move_cost` is for cars of any region that `moves` does not name; None where only those named can go.
    """

    code: str
    does: tuple[str, ...]
    days: float
    months: Mapping[str, float] = field(default_factory=dict)
    move_cost: float | None = None

    def capacity(self, month: str) -> float:
        return self.months.get(month, self.days)


@dataclass(frozen=True, slots=True)
class Move:
    """What moving a car of a region to a shop costs, both ways."""

    region: str
    shop: str
    cost: float


@dataclass(frozen=True, slots=True)
class CarFacts:
    """What differs for one car: what it earns a day, and the month from which it can go."""

    car: str
    earning_per_day: float | None = None
    earliest: str | None = None


@dataclass(frozen=True, slots=True)
class Basis:
    """Everything a plan rests on beside the fleet. A visit costs `cleaning_cost` and the days without earning."""

    standards: Mapping[str, Standard]
    shops: tuple[PlanShop, ...] = ()
    moves: tuple[Move, ...] = ()
    cars: tuple[CarFacts, ...] = ()
    cleaning_cost: float = 1200.0
    days_away: int = 14
    earning_per_day: float = 40.0
    unplaced_cost: float = 100_000.0

    def visit_cost(self, earning: float) -> float:
        """Of any visit: cleaning, and the days on the way and waiting, on which the car earns nothing."""
        return self.cleaning_cost + self.days_away * earning

    def move_cost(self, region: str) -> dict[str, float]:
        """By shop in reach of a region."""
        named = {move.shop: move.cost for move in self.moves if move.region == region}
        found = {shop.code: named.get(shop.code, shop.move_cost) for shop in self.shops}
        return {code: cost for code, cost in found.items() if cost is not None}

    @property
    def leaving_is_cheap(self) -> bool:
        """Whether leaving work costs no more than the cheapest visit, so that plans leave what is due."""
        moves = [shop.move_cost for shop in self.shops] + [move.cost for move in self.moves]
        least = min((cost for cost in moves if cost is not None), default=0.0)
        return self.unplaced_cost <= self.visit_cost(self.earning_per_day) + least

    def faults(self) -> list[tuple[str, str]]:
        """What is wrong with it, each with the place; empty when it can be planned by."""
        return list(_faults(self))


FIRST = Basis(
    standards={
        "visual": Standard("tank", 2, 1800),
        "structural_integrity": Standard("tank", 4, 4500),
        "safety_systems": Standard("tank", 1, 600),
        "thickness": Standard("tank", 2, 2200),
        "lining": Standard("lining", 8, 14000),
        "service_equipment": Standard("valve", 3, 2600),
        "relief_device": Standard("valve", 1, 900),
        "rupture_disc": Standard("valve", 0.5, 400),
        "tank_retest": Standard("tank", 5, 6000),
        "leakage": Standard("tank", 1, 700),
        "air_brake": Standard("running gear", 1, 800),
        "reflective_sheeting": Standard("running gear", 1, 500),
        "directive": Standard("tank", 2, 1500),
    }
)  # fmt: skip


def _faults(basis: Basis) -> Iterator[tuple[str, str]]:
    for name, amount in (
        ("cleaning_cost", basis.cleaning_cost),
        ("earning_per_day", basis.earning_per_day),
        ("unplaced_cost", basis.unplaced_cost),
    ):
        yield from _cost(name, amount)
    if not 0 <= basis.days_away <= MOST_DAYS:
        yield "days_away", f"{basis.days_away} days; want 0 to {MOST_DAYS:g}"
    for item, standard in basis.standards.items():
        yield from _standard(item, standard)
    yield from _shops(basis)
    codes = {shop.code for shop in basis.shops}
    for move in basis.moves:
        if move.shop not in codes:
            yield "moves", f"no shop is named “{move.shop}”"
        yield from _cost("moves", move.cost)
    for car in basis.cars:
        yield from _cost("cars", car.earning_per_day)


def _standard(item: str, standard: Standard) -> Iterator[tuple[str, str]]:
    if not standard.skill:
        yield f"{item}.skill", "want the skill that the work takes"
    if not 0 < standard.days <= MOST_DAYS:
        yield f"{item}.days", f"{standard.days:g} days; want more than 0, at most {MOST_DAYS:g}"
    yield from _cost(f"{item}.cost", standard.cost)
    yield from _cost(f"{item}.late_cost", standard.late_cost)


def _shops(basis: Basis) -> Iterator[tuple[str, str]]:
    skills = {standard.skill for standard in basis.standards.values()}
    seen: set[str] = set()
    for at, shop in enumerate(basis.shops):
        place = f"shops.{at}"
        if shop.code.casefold() in seen:
            yield f"{place}.code", f"“{shop.code}” is there twice"
        seen.add(shop.code.casefold())
        for skill in shop.does:
            if skill not in skills:
                known = ", ".join(sorted(skills))
                yield f"{place}.does", f"no item takes the skill “{skill}”; there are {known}"
        for name, held in (("days", [shop.days]), ("months", list(shop.months.values()))):
            for days in held:
                if not 0 <= days <= MOST_SHOP_DAYS:
                    yield f"{place}.{name}", f"{days:g} days a month; want 0 or more"
        yield from _cost(f"{place}.move_cost", shop.move_cost)


def _cost(where: str, amount: float | None) -> Iterator[tuple[str, str]]:
    if amount is not None and not (isfinite(amount) and 0 <= amount <= MOST_COST):
        yield where, f"{amount:g}; want a cost from 0 to {MOST_COST:,.0f}"

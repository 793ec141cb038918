"""What one more shop day would save, from the best plans found without it and with it."""

from __future__ import annotations

from dataclasses import dataclass

from app.core.plan.problem import Solved


@dataclass(frozen=True, slots=True)
class PriceOfADay:
    """The cheapest costs found without the day and with it, and between what the saving must lie."""

    without: float
    with_it: float
    least: float
    most: float
    exact: bool


def price_of_a_day(without: Solved, more: Solved) -> PriceOfADay:
    """A plan without the day is one with it as well, so the saving is never below 0."""
    best = min(without.cost, more.cost)
    exact = "optimal" == without.status == more.status
    least = max(0.0, without.lower_bound - best)
    most = max(least, without.cost - more.lower_bound)
    return PriceOfADay(without.cost, best, least, most, exact)

"""What will fall due over years: each due item in its month, and again each interval, as if done when it is due.

A forecast, not a date: what is found at an inspection, a change of lading or of a rule moves what follows.
Months are counted from year 0 (`problem.ordinal`).
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace

from app.core.plan.basis import Basis


@dataclass(frozen=True, slots=True)
class Falling:
    """So many due items of one kind and group that fall due in one month, and again each `interval` months.

    From the month `ends` on they fall due no more, since their car is in service no longer; None: never.
    """

    item: str
    group: str
    month: int
    interval: int | None
    number: int
    ends: int | None = None

    def over_by(self, month: int) -> bool:
        return self.ends is not None and month >= self.ends


def months_of(falling: Falling, first: int, months: int) -> Iterator[int]:
    """The months in which it falls due within a span; what is due before it stands in its first month."""
    if falling.over_by(falling.month):
        return
    month = max(falling.month, first)
    while month < first + months:
        yield month
        if not falling.interval or falling.over_by(month + falling.interval):
            return
        month += falling.interval


def ended(falling: Iterable[Falling], ending: Sequence[Falling]) -> list[Falling]:
    """All that falls due, and of `ending`, which is among it, only what does so before its end."""
    less = (replace(each, ends=None, number=-each.number) for each in ending)
    return [*falling, *less, *ending]


def left_out(ending: Sequence[Falling], first: int, months: int) -> dict[int, int]:
    """How many of them would fall due by month after their end, where there are any."""
    found: dict[int, int] = defaultdict(int)
    for (_, month), number in by_month(ended((), ending), first, months).items():
        found[month] -= number
    return {month: number for month, number in found.items() if number}


def by_month(falling: Iterable[Falling], first: int, months: int) -> dict[tuple[str, int], int]:
    """How many fall due, by group and month, where there are any."""
    found: dict[tuple[str, int], int] = defaultdict(int)
    for each in falling:
        for month in months_of(each, first, months):
            found[each.group, month] += each.number
    return {at: number for at, number in found.items() if number}


@dataclass(frozen=True, slots=True)
class Need:
    """What a month asks for: how many items, shop days and cost of work."""

    number: int = 0
    days: float = 0.0
    cost: float = 0.0

    def __add__(self, other: Need) -> Need:
        return Need(self.number + other.number, self.days + other.days, self.cost + other.cost)


def needs(falling: Iterable[Falling], basis: Basis, first: int, months: int) -> dict[int, Need]:
    """By month, with the standards of a basis; an item without a standard takes neither days nor cost."""
    found: dict[int, Need] = defaultdict(Need)
    for each in falling:
        standard = basis.standards.get(each.item)
        days, cost = (standard.days, standard.cost) if standard else (0.0, 0.0)
        need = Need(each.number, each.number * days, each.number * cost)
        for month in months_of(each, first, months):
            found[month] += need
    return dict(found)

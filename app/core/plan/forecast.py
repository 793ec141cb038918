"""What will fall due over years: each due item in its month, and again each interval, as if done when it is due.

A forecast, not a date: what is found at an inspection, a change of lading or of a rule moves what follows.
Months are counted from year 0 (`problem.ordinal`).
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace

from app.core.plan.basis import Basis

YEARS = 10
MONTHS = 12 * YEARS


@dataclass(frozen=True, slots=True)
class Falling:
    """So many due items of one kind and group that fall due in one month, and again each `interval` months.

    Where kinds are not told apart `item` is empty.
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


def lost(falling: Falling, first: int) -> Falling | None:
    """What its end takes of all that would fall due from a month on: it begins with the first time that is over.

    None: nothing.
    """
    month, interval = max(falling.month, first), falling.interval or 0
    if falling.ends is None:
        return None
    if not falling.over_by(falling.month):
        if not interval:
            return None
        # What is late is due once, though its end may have passed.
        month += interval * max(1, -((month - falling.ends) // interval))
    return replace(falling, month=month, ends=None)


def ended(falling: Iterable[Falling], gone: Iterable[Falling]) -> list[Falling]:
    """All that falls due, without what is `lost` of it."""
    return [*falling, *(replace(each, number=-each.number) for each in gone)]


def left_out(gone: Iterable[Falling], first: int, months: int) -> dict[int, int]:
    """How many of what is `lost` would fall due by month, where there are any."""
    found: dict[int, int] = defaultdict(int)
    for (_, month), number in by_month(gone, first, months).items():
        found[month] += number
    return dict(found)


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

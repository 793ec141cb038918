"""Visits that stand before a plan is made or accepted: what they take from it, and what becomes of them."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from app.core.plan.basis import Basis

Taken = dict[tuple[str, str], float]


@dataclass(frozen=True, slots=True)
class PlannedVisit:
    """A visit that stands already: the car is sent or in the shop (`begun`), or is to go in `month`.

    `items` is the work that it is still to do, `done` what was done in it; a car that was sent without a plan has no
    month.
    """

    shop: str
    month: str
    items: tuple[str, ...]
    begun: bool
    done: tuple[str, ...] = ()


def covered(visits: Iterable[PlannedVisit]) -> frozenset[str]:
    """The due items that have their visit, so that no plan gives them another."""
    return frozenset(item for visit in visits for item in visit.items)


def days_taken(basis: Basis, visits: Iterable[PlannedVisit]) -> Taken:
    """The shop days that visits take, all their work counted, done or not, by shop and month."""
    days: Taken = defaultdict(float)
    for visit in visits:
        if visit.month:
            days[visit.shop, visit.month] += sum(
                basis.standards[item].days
                for item in (*visit.items, *visit.done) if item in basis.standards
            )  # fmt: skip
    return dict(days)


# Accepting ---------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Wanted:
    """A visit that a version wants of a car; without items it is there to be joined only."""

    shop: str
    month: str
    items: tuple[str, ...]
    instructions: str = ""


@dataclass(frozen=True, slots=True)
class Standing:
    """A visit of the car as it stands now, by its key; `own` came of the same plan and may be replaced."""

    key: int
    visit: PlannedVisit
    own: bool
    instructions: str = ""


@dataclass(frozen=True, slots=True)
class Settled:
    """What accepting does to the visits of one car; nothing of it where there are `clashes`, a sentence each."""

    plan: tuple[Wanted, ...] = ()
    join: tuple[tuple[int, tuple[str, ...]], ...] = ()
    keep: tuple[int, ...] = ()
    cancel: tuple[int, ...] = ()
    clashes: tuple[str, ...] = ()


def settle(wanted: Sequence[Wanted], standing: Sequence[Standing]) -> Settled:
    """Visits to plan, to join, to keep as they are and to cancel, so that the car goes as wanted.

    A visit that has begun, or is not the plan's own, stays; its work is done there and nowhere else. An own one that is
    wanted just so is kept, any other cancelled.
    """
    stay = [each for each in standing if not each.own]
    own = {_likeness(each.visit, each.instructions): each.key for each in standing if each.own}
    done = covered(each.visit for each in stay)
    plan, join, keep, clashes = [], [], [], []
    for each in wanted:
        items = tuple(item for item in each.items if item not in done)
        there = next((it for it in stay if it.visit.month == each.month), None)
        if not items:
            continue
        if there and (there.visit.begun or there.visit.shop != each.shop):
            clashes.append(_clash(each, there.visit))
        elif there:
            join.append((there.key, items))
        elif (key := own.get((each.shop, each.month, frozenset(items), each.instructions))) is None:
            plan.append(Wanted(each.shop, each.month, items, each.instructions))
        else:
            keep.append(key)
    cancel = tuple(each.key for each in standing if each.own and each.key not in keep)
    return Settled(tuple(plan), tuple(join), tuple(keep), cancel, tuple(clashes))


def _likeness(visit: PlannedVisit, instructions: str) -> tuple[str, str, frozenset[str], str]:
    return visit.shop, visit.month, frozenset(visit.items), instructions


def _clash(wanted: Wanted, there: PlannedVisit) -> str:
    if there.begun:
        return (
            f"is on its visit to {there.shop} in {there.month}, to which nothing can be added any more: "
            f"in this version move its work of that month to another, or solve anew"
        )
    return (
        f"has a visit to {there.shop} in {there.month}, and this version wants it at {wanted.shop} in that month: "
        f"move it in this version, or cancel that visit"
    )


def again_within(months: int, interval: int | None, done: int) -> bool:
    """Whether work done in month `done` of a plan falls due once more before its months are over."""
    return interval is not None and done + interval < months


def shops_over(taken: Taken, basis: Basis, months: Iterable[str]) -> Iterator[tuple[str, str]]:
    """Shops, each with a sentence, whose days of a month are fewer than the visits that stand take already."""
    for month in months:
        for shop in basis.shops:
            days, there_are = taken.get((shop.code, month), 0.0), shop.capacity(month)
            if days > there_are:
                told = f"visits that stand take {days:g} days in {month}, {there_are:g} there are"
                yield shop.code, f"{told}: cancel one of them, or give the shop more days"


def without_skill(
    visits: Iterable[PlannedVisit], basis: Basis, months: Iterable[str]
) -> Iterator[tuple[str, str]]:
    """Shops of the standards, each with a sentence, at which visits to come are for work that they do not do."""
    does = {shop.code: shop.does for shop in basis.shops}
    among, found = set(months), set[tuple[str, str, str]]()
    for visit in visits:
        if visit.shop in does and visit.month in among and not visit.begun:
            wanted = {
                basis.standards[item].skill for item in visit.items if item in basis.standards
            }
            found |= {(visit.month, visit.shop, it) for it in wanted.difference(does[visit.shop])}
    for month, shop, skill in sorted(found):
        told = f"visits that stand in {month} are for {skill} work, which it does not do by the standards"
        yield shop, f"{told}: cancel or move them, or give it that skill"

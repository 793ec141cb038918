"""A plan changed by hand: move a visit, place what was left, lock, forbid, write to the shop, undo."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import takewhile
from typing import Literal

from app.core.plan.cost import visits_by_car
from app.core.plan.problem import Car, Fixed, Forbidden, Problem, Visit, by_name

Kind = Literal["move", "place", "take_out", "lock", "unlock", "forbid", "allow", "note", "undo"]


@dataclass(frozen=True, slots=True)
class Change:
    """What is changed of a car: its visit of `month`; `to` is a shop and a month where it goes.

    `job` is what is placed, `text` what the shop is to read of this car beside what it reads of all. `to_month` of
    forbid and allow may be None: then it is any.
    """

    kind: Kind
    car: str = ""
    month: int | None = None
    shop: str | None = None
    to_month: int | None = None
    job: str | None = None
    text: str = ""


class CannotChange(ValueError):
    """A change that cannot be made, in a sentence."""


@dataclass(frozen=True, slots=True)
class Draft:
    """Visits as they stand, which are locked (car and month), the problem with what is forbidden, notes by car."""

    problem: Problem
    visits: tuple[Visit, ...]
    locked: frozenset[tuple[str, int]] = frozenset()
    notes: Mapping[str, str] = field(default_factory=dict)

    def car(self, name: str) -> Car:
        for car in self.problem.cars:
            if car.name == name:
                return car
        raise CannotChange(f"{name} is not in this plan.")

    def of_car(self, name: str) -> list[Visit]:
        return [visit for visit in self.visits if visit.car == name]

    def visit(self, name: str, month: int | None) -> Visit:
        for visit in self.of_car(name):
            if visit.month == month:
                return visit
        raise CannotChange(f"{name} has no visit in that month.")


def counting(changes: Iterable[Change]) -> list[Change]:
    """The changes that count: each undo takes back the last of those before it."""
    kept: list[Change] = []
    for change in changes:
        if change.kind != "undo":
            kept.append(change)
        elif kept:
            kept.pop()
    return kept


# What is otherwise in the visits of an accepted version after it; to lock and to forbid bear on searches alone.
OF_VISITS: frozenset[Kind] = frozenset(("move", "place", "take_out", "note"))


def since(then: Sequence[Change], now: Sequence[Change]) -> int:
    """How many changes to visits were made or undone from `then` to `now`, both as they count."""
    alike = sum(1 for _ in takewhile(lambda pair: pair[0] == pair[1], zip(then, now, strict=False)))
    return sum(change.kind in OF_VISITS for change in (*then[alike:], *now[alike:]))


def revised(draft: Draft, changes: Iterable[Change]) -> Draft:
    """The draft after all these changes; raises CannotChange at the first that does not fit."""
    for change in counting(changes):
        draft = apply(draft, change)
    return draft


def apply(draft: Draft, change: Change) -> Draft:
    """The draft after one change. Room and due months may be broken by it; what cannot be done at all is refused."""
    car = draft.car(change.car)
    match change.kind:
        case "move":
            return _move(draft, car, change)
        case "place":
            return _place(draft, car, change)
        case "take_out":
            return _take_out(draft, car, change)
        case "lock":
            visit = draft.visit(car.name, change.month)
            _must_be_free(draft, car, visit)
            return replace(draft, locked=draft.locked | {(car.name, visit.month)})
        case "unlock":
            visit = draft.visit(car.name, change.month)
            if (car.name, visit.month) not in draft.locked:
                raise CannotChange(f"The visit of {car.name} is not locked.")
            return replace(draft, locked=draft.locked - {(car.name, visit.month)})
        case "note":
            return replace(draft, notes={**draft.notes, car.name: change.text.strip()})
        case "forbid" | "allow":
            return _forbid(draft, car, change)
        case _:
            raise CannotChange("There is nothing to undo.")


def _move(draft: Draft, car: Car, change: Change) -> Draft:
    visit = draft.visit(car.name, change.month)
    _must_be_free(draft, car, visit)
    shop, month = _place_of(draft, car, change)
    if (shop, month) == (visit.shop, visit.month):
        raise CannotChange(f"{car.name} is there already.")
    others = tuple(each for each in draft.visits if each is not visit)
    return replace(draft, visits=_joined(draft, others, car, shop, month, visit.jobs))


def _place(draft: Draft, car: Car, change: Change) -> Draft:
    jobs = by_name(car.jobs)
    if change.job not in jobs:
        raise CannotChange(f"{car.name} has no such work.")
    if any(change.job in visit.jobs for visit in draft.of_car(car.name)):
        raise CannotChange("That work has its visit already. Move the visit.")
    shop, month = _place_of(draft, car, change)
    return replace(draft, visits=_joined(draft, draft.visits, car, shop, month, (change.job,)))


def _take_out(draft: Draft, car: Car, change: Change) -> Draft:
    visit = draft.visit(car.name, change.month)
    _must_be_free(draft, car, visit)
    return replace(draft, visits=tuple(each for each in draft.visits if each is not visit))


def _forbid(draft: Draft, car: Car, change: Change) -> Draft:
    if change.shop is None:
        raise CannotChange("Choose the shop.")
    if all(change.shop != shop.code for shop in draft.problem.shops):
        raise CannotChange(f"No shop of this plan is named {change.shop}.")
    forbidden = Forbidden(change.shop, change.to_month)
    if change.kind == "allow" and forbidden not in car.forbid:
        raise CannotChange(f"{change.shop} is not forbidden so for {car.name}.")
    if change.kind == "forbid":
        if forbidden in car.forbid:
            raise CannotChange(f"{change.shop} is forbidden so for {car.name} already.")
        _must_not_stand_there(draft, car, forbidden)
    if change.kind == "forbid":
        changed = replace(car, forbid=(*car.forbid, forbidden))
    else:
        changed = replace(car, forbid=tuple(each for each in car.forbid if each != forbidden))
    cars = tuple(changed if each is car else each for each in draft.problem.cars)
    return replace(draft, problem=replace(draft.problem, cars=cars))


def _must_not_stand_there(draft: Draft, car: Car, forbidden: Forbidden) -> None:
    """What is planned before or locked there would contradict it, and no plan could be found."""
    for visit in draft.of_car(car.name):
        if visit.shop == forbidden.shop and forbidden.month in (None, visit.month):
            _must_be_free(draft, car, visit)


def _place_of(draft: Draft, car: Car, change: Change) -> tuple[str, int]:
    shop, month = change.shop, change.to_month
    if shop is None or month is None:
        raise CannotChange("Choose the shop and the month.")
    if not 0 <= month < draft.problem.months:
        raise CannotChange(f"{draft.problem.month(month)} lies outside the months of this plan.")
    if shop not in car.move_cost:
        raise CannotChange(f"{shop} is out of reach for {car.name}: no cost of moving it there.")
    if not car.may_go(shop, month):
        raise CannotChange(
            f"{car.name} cannot go to {shop} in {draft.problem.month(month)}: too early, or forbidden."
        )
    return shop, month


def _joined(
    draft: Draft, others: Sequence[Visit], car: Car, shop: str, month: int, jobs: Sequence[str]
) -> tuple[Visit, ...]:  # fmt: skip
    """The visits with these jobs done there, in the visit the car makes in that month where it makes one."""
    does = next(each.does for each in draft.problem.shops if each.code == shop)
    named = by_name(car.jobs)
    for job in jobs:
        if named[job].skill not in does:
            raise CannotChange(f"{shop} does no {named[job].skill} work.")
    own = (each for each in others if each.car == car.name)
    standing = next((each for each in own if each.month == month), None)
    if standing is None:
        return (*others, Visit(car.name, shop, month, tuple(jobs)))
    if standing.shop != shop:
        raise CannotChange(
            f"{car.name} goes to {standing.shop} in {draft.problem.month(month)} already; "
            f"a car makes one visit in a month."
        )
    joined = replace(standing, jobs=(*standing.jobs, *jobs))
    return tuple(joined if each is standing else each for each in others)


def _must_be_free(draft: Draft, car: Car, visit: Visit) -> None:
    _must_not_be_fixed(draft, car, visit.month)
    if (car.name, visit.month) in draft.locked:
        raise CannotChange(f"The visit of {car.name} is locked. Unlock it first.")


def _must_not_be_fixed(draft: Draft, car: Car, month: int | None) -> None:
    if any(each.month == month for each in car.fixed):
        raise CannotChange(
            f"The visit of {car.name} was planned before this plan. Cancel it under “Visits”."
        )


def around_locked(draft: Draft) -> Problem:
    """The problem in which every locked visit must stand."""
    of_car = visits_by_car(draft.visits)

    def with_locked(car: Car) -> Car:
        stand = {
            visit.month: Fixed(visit.shop, visit.month, visit.jobs)
            for visit in of_car.get(car.name, ())
            if (car.name, visit.month) in draft.locked
        }
        kept = [each for each in car.fixed if each.month not in stand]
        return replace(car, fixed=(*kept, *stand.values())) if stand else car

    cars = tuple(with_locked(car) for car in draft.problem.cars)
    return replace(draft.problem, cars=cars)


def still_bounded(made: Draft, now: Draft) -> bool:
    """Whether a bound proven of `made` holds for `now`: nothing that it was proven around was lifted since."""
    cars = {car.name: car for car in now.problem.cars}
    stands = {
        (each.car, each.month): each for each in now.visits if (each.car, each.month) in now.locked
    }
    locked = (each for each in made.visits if (each.car, each.month) in made.locked)
    return all(_as_before(each, stands.get((each.car, each.month))) for each in locked) and all(
        cars[car.name] is car or set(cars[car.name].forbid).issuperset(car.forbid)
        for car in made.problem.cars
    )


def _as_before(visit: Visit, now: Visit | None) -> bool:
    """Whether it is where it was, and does at least what it did."""
    return now is not None and now.shop == visit.shop and set(visit.jobs) <= set(now.jobs)


@dataclass(frozen=True, slots=True)
class Comparison:
    """What is otherwise in one plan than in another, of the cars in both."""

    moved: tuple[tuple[str, tuple[Visit, ...], tuple[Visit, ...]], ...]
    only_before: tuple[str, ...]
    only_after: tuple[str, ...]


def compare(before: Draft, after: Draft) -> Comparison:
    was, now = visits_by_car(before.visits), visits_by_car(after.visits)
    first, second = before.problem, after.problem
    known = {car.name for car in second.cars}
    both = [car.name for car in first.cars if car.name in known]
    moved = []
    for name in both:
        old, new = tuple(was.get(name, ())), tuple(now.get(name, ()))
        if _places(first, old) != _places(second, new):
            moved.append((name, old, new))
    return Comparison(tuple(moved), _beside(first, both), _beside(second, both))


def _beside(problem: Problem, both: Iterable[str]) -> tuple[str, ...]:
    known = set(both)
    return tuple(car.name for car in problem.cars if car.name not in known)


def _places(problem: Problem, visits: Iterable[Visit]) -> set[tuple[str, str, frozenset[str]]]:
    return {(each.shop, problem.month(each.month), frozenset(each.jobs)) for each in visits}

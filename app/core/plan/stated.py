"""What standards state, place by place, and where two of them differ."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

from app.core.plan.basis import Basis, PlanShop

# Such as ("cleaning_cost",), ("visual", "days"), ("shops", code, "does"), ("moves", region, shop) and
# ("cars", car, "earliest").
Place = tuple[str, ...]
Value = str | float | tuple[str, ...] | Mapping[str, float]
# What a cost is measured by; the rest says only what can be.
MEASURES = (
    "cleaning_cost", "days_away", "earning_per_day", "unplaced_cost", "cost", "late_cost",
    "move_cost",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Differs:
    """What two standards state otherwise at one place; None where one of them states nothing there."""

    place: Place
    before: Value | None
    after: Value | None

    @property
    def of_costs(self) -> bool:
        """Whether costs by the two are of different measure."""
        return self.place[0] == "moves" or self.place[-1] in MEASURES


def differing(before: Basis, after: Basis) -> list[Differs]:
    """Where two standards differ, in the order of the first; a shop that is only in one of them is one place."""
    was, now = stated(before), stated(after)
    found = [
        Differs(place, was.get(place), now.get(place))
        for place in dict.fromkeys((*was, *now))
        if was.get(place) != now.get(place)
    ]
    whole = {each.place for each in found if _is_shop(each.place)}
    return [each for each in found if _is_shop(each.place) or each.place[:2] not in whole]


def _is_shop(place: Place) -> bool:
    return place[0] == "shops" and len(place) == 2


def stated(basis: Basis) -> dict[Place, Value]:
    """All that it states, by its place; a shop itself as being named."""
    found = dict(_stated(basis))
    return {place: value for place, value in found.items() if value is not None and value != {}}


def _stated(basis: Basis) -> Iterator[tuple[Place, Value | None]]:
    for name in MEASURES[:4]:
        yield (name,), getattr(basis, name)
    for item, standard in basis.standards.items():
        yield from _fields((item,), standard, ("skill", "days", "cost", "late_cost"))
    for shop in basis.shops:
        yield from _shop(shop)
    for move in basis.moves:
        yield ("moves", move.region, move.shop), move.cost
    for car in basis.cars:
        yield from _fields(("cars", car.car), car, ("earning_per_day", "earliest"))


def _shop(shop: PlanShop) -> Iterator[tuple[Place, Value | None]]:
    place = ("shops", shop.code)
    yield place, "named"
    yield from _fields(place, shop, ("does", "days", "months", "move_cost"))


def _fields(
    place: Place, held: object, names: Iterable[str]
) -> Iterator[tuple[Place, Value | None]]:
    for name in names:
        yield (*place, name), getattr(held, name)

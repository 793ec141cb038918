"""What the places of standards for planning are called, and where two differ, in words."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from app.core.plan.basis import FIRST
from app.core.plan.stated import Differs, Place
from app.core.words import capitalized, label

ITEMS = tuple(FIRST.standards)
ITEM_CHOICES = tuple((item, capitalized(label(item))) for item in ITEMS)
# Fields of an item and of a shop, each with its head in the form.
STANDARD_FIELDS = {
    "skill": "Skill", "days": "Shop days", "cost": "Cost", "late_cost": "Late, a month",
}  # fmt: skip
SHOP_FIELDS = {
    "code": "Shop", "does": "Skills", "days": "Days a month", "months": "Other days",
    "move_cost": "Moving a car there",
}  # fmt: skip
AREAS = {
    "moves": "Moving from a region", "cars": "What a car earns, and from when it can go",
}  # fmt: skip
FIGURES = (
    ("cleaning_cost", "Cleaning, each visit", "Cost"),
    ("days_away", "Days without earning, each visit", "On the way there and back, and waiting"),
    ("earning_per_day", "What a car earns a day", "Where no other is stated for it below"),
    ("unplaced_cost", "Cost of work that has no visit", "High, so that work is left only where nothing else can be"),
)  # fmt: skip
CAR_FIELDS = {"earning_per_day": "What it earns a day", "earliest": "First month"}
NOT_STATED = "not stated"


@dataclass(frozen=True, slots=True)
class Told:
    """Where two standards differ: what the place is called, and what each of them states there."""

    name: str
    before: str
    after: str

    @property
    def sentence(self) -> str:
        return f"{self.name}: {self.before}, now {self.after}"


def told(found: Iterable[Differs]) -> list[Told]:
    return [
        Told(name_of(each.place), text_of(each.before, NOT_STATED), text_of(each.after, NOT_STATED))
        for each in found
    ]


def name_of(place: Place) -> str:
    """What a place (`core.plan.stated`) is called."""
    match place:
        case ("shops", shop):
            return shop
        case ("shops", shop, name):
            return f"{shop}: {SHOP_FIELDS[name]}"
        case ("moves", region, shop):
            return f"Moving from {region} to {shop}"
        case ("cars", car, name):
            return f"{car}: {CAR_FIELDS[name]}"
        case (item, name):
            return f"{capitalized(label(item))}: {STANDARD_FIELDS[name]}"
    return next(called for name, called, _ in FIGURES if name == place[0])


def text_of(value: Any, unsaid: str = "") -> str:
    """A value as it is typed into its field."""
    match value:
        case None:
            return unsaid
        case float():
            return f"{value:.6f}".rstrip("0").rstrip(".")
        case tuple():
            return ", ".join(value)
        case Mapping():
            return ", ".join(f"{month} {text_of(days)}" for month, days in sorted(value.items()))
    return str(value)

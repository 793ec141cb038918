"""A shop-planning problem as it is sent: what may stand in it, and how it becomes the core's.

An absent field is null, and null is absent. Months are YYYY-MM. Unknown fields are refused by name.
"""

from __future__ import annotations

import re
from decimal import Decimal
from typing import Annotated, Any

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, WithJsonSchema, model_validator

from app.answers.faults import shown
from app.core.plan import problem as core
from app.core.plan.problem import ordinal

# Far beyond any plan; past them a number is a slip.
MOST_MONTHS, MOST_COST, MOST_DAYS = 600, 1_000_000_000, 1_000_000
MOST_JOBS = 12


def _month(value: object) -> str:
    if not isinstance(value, str) or not re.fullmatch(r"\d{4}-(0[1-9]|1[0-2])", value, re.ASCII):
        raise ValueError(f"must be a month YYYY-MM, got {shown(value)}")
    if not "1800" <= value[:4] <= "2200":
        raise ValueError(f"must lie between the years 1800 and 2200, got {shown(value)}")
    return value


def _binary(value: object) -> object:
    """Sums over a fleet are of binary numbers: what is written as a decimal is read as the nearest."""
    return float(value) if isinstance(value, Decimal) else value


Month = Annotated[
    str,
    BeforeValidator(_month),
    WithJsonSchema({"type": "string", "pattern": r"^\d{4}-(0[1-9]|1[0-2])$"}),
]
Cost = Annotated[float, BeforeValidator(_binary), Field(ge=0, le=MOST_COST, allow_inf_nan=False)]
Days = Annotated[float, BeforeValidator(_binary), Field(gt=0, le=MOST_DAYS, allow_inf_nan=False)]
Name = Annotated[str, Field(min_length=1, max_length=200)]


class _Part(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True, frozen=True)

    @model_validator(mode="before")
    @classmethod
    def null_is_absent(cls, data: Any) -> Any:
        if isinstance(data, dict) and None in data.values():
            return {key: value for key, value in data.items() if value is not None}
        return data


def _rooms(value: object) -> float | tuple[float, ...]:
    """Shop days a month: one number for every month, or a list of them."""
    if not isinstance(value, list):
        return _room(value, "")
    return tuple(_room(each, f" as number {at + 1}") for at, each in enumerate(value))


def _room(value: object, place: str) -> float:
    if isinstance(value, bool) or not isinstance(value, (int, float, Decimal)):
        raise ValueError(f"must be a number, or one a month, got {shown(value)}{place}")
    if not 0 <= value <= MOST_DAYS:
        raise ValueError(f"must be from 0 to {MOST_DAYS} days a month, got {shown(value)}{place}")
    return float(value)


Rooms = Annotated[
    float | tuple[float, ...],
    BeforeValidator(_rooms),
    WithJsonSchema(
        {
            "anyOf": [
                {"type": "number", "minimum": 0, "maximum": MOST_DAYS},
                {"type": "array", "items": {"type": "number", "minimum": 0, "maximum": MOST_DAYS}},
            ]
        }
    ),
]


class ShopPart(_Part):
    code: Name
    does: list[Name]
    capacity_days: Rooms

    def days_in(self, months: int) -> tuple[float, ...]:
        days = self.capacity_days
        return days if isinstance(days, tuple) else (days,) * months


class JobPart(_Part):
    job: Name
    skill: Name
    days: Days
    latest: Month
    early_cost: Cost = 0.0
    late_cost: Cost | None = None

    def as_core(self, first: int) -> core.Job:
        latest = ordinal(self.latest) - first
        return core.Job(self.job, self.skill, self.days, latest, self.early_cost, self.late_cost)


class FixedPart(_Part):
    shop: Name
    month: Month
    jobs: list[Name] = []

    def as_core(self, first: int) -> core.Fixed:
        return core.Fixed(self.shop, ordinal(self.month) - first, tuple(self.jobs))


class ForbidPart(_Part):
    shop: Name
    month: Month | None = None

    def as_core(self, first: int) -> core.Forbidden:
        return core.Forbidden(self.shop, ordinal(self.month) - first if self.month else None)


class CarPart(_Part):
    car: Name
    visit_cost: Cost
    move_cost: dict[Name, Cost]
    jobs: Annotated[list[JobPart], Field(max_length=MOST_JOBS)]
    earliest: Month | None = None
    fixed: list[FixedPart] = []
    forbid: list[ForbidPart] = []

    @model_validator(mode="before")
    @classmethod
    def unreachable_shops(cls, data: Any) -> Any:
        """A shop whose move cost is null is out of reach, as one that is not named."""
        moves = data.get("move_cost") if isinstance(data, dict) else None
        if isinstance(moves, dict):
            return data | {
                "move_cost": {to: each for to, each in moves.items() if each is not None}
            }
        return data

    def as_core(self, first: int) -> core.Car:
        return core.Car(
            self.car,
            self.visit_cost,
            self.move_cost,
            tuple(job.as_core(first) for job in self.jobs),
            ordinal(self.earliest) - first if self.earliest else None,
            tuple(visit.as_core(first) for visit in self.fixed),
            tuple(each.as_core(first) for each in self.forbid),
        )


class PlanRequest(_Part):
    """A fleet's work, the shops that can do it, and the months to plan."""

    first_month: Month
    months: Annotated[int, Field(ge=1, le=MOST_MONTHS)]
    unplaced_cost: Cost
    shops: list[ShopPart]
    cars: list[CarPart]

    def as_core(self) -> core.Problem:
        first = ordinal(self.first_month)
        return core.Problem(
            self.first_month,
            self.months,
            self.unplaced_cost,
            tuple(
                core.Shop(shop.code, frozenset(shop.does), shop.days_in(self.months))
                for shop in self.shops
            ),
            tuple(car.as_core(first) for car in self.cars),
        )

    def wrong_lengths(self) -> list[tuple[tuple[str | int, ...], str]]:
        """Shops whose days are listed for more or fewer months than are planned."""
        return [
            (
                ("shops", at, "capacity_days"),
                f"must be one number, or a list of {self.months}, one a month; got a list of {len(days)}",
            )
            for at, shop in enumerate(self.shops)
            if isinstance(days := shop.capacity_days, tuple) and len(days) != self.months
        ]

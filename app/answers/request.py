"""The request of a due-date question: what may stand in it, and how it becomes the core's facts.

An absent field is null, and null is absent. Numbers are the decimals as written; dates are YYYY-MM-DD, or YYYY-MM where
the first day of the month is the safe one. Unknown fields are refused by name.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from fractions import Fraction
from functools import lru_cache
from typing import Annotated, Any, Literal

from pydantic import (
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    WithJsonSchema,
    model_validator,
)

from app.answers.faults import shown
from app.core import facts
from app.core.months import month_end

# Whole years far around any tank car; beyond them a date is a slip, and sums would leave the calendar.
FIRST_YEAR, LAST_YEAR = 1800, 2200
# The largest number of any field, and the most digits it may be written with.
LARGEST, MOST_DIGITS = Decimal(10_000_000), 30


@dataclass(frozen=True, slots=True)
class When:
    """A day, or a month known only as such, which counts as its first day."""

    day: date
    month_only: bool = False


def when_read(value: object) -> When:
    """A day or a month as it is written; raises ValueError with a sentence."""
    if not isinstance(value, str):
        raise ValueError(f"must be a date YYYY-MM-DD or YYYY-MM, got {shown(value)}")
    return _written_day(value)


# Programs that ask for many cars repeat their days and numbers.
@lru_cache(maxsize=4096)
def _written_day(text: str) -> When:
    if not re.fullmatch(r"\d{4}-\d{2}(-\d{2})?", text, re.ASCII):
        raise ValueError(f"must be a date YYYY-MM-DD or YYYY-MM, got {shown(text)}")
    month_only = len(text) == 7
    return When(_calendar_day(f"{text}-01" if month_only else text), month_only)


def _calendar_day(text: str) -> date:
    try:
        day = date.fromisoformat(text)
    except ValueError as error:
        raise ValueError(f"is no day of the calendar, got {text!r}") from error
    if not FIRST_YEAR <= day.year <= LAST_YEAR:
        raise ValueError(f"must lie between the years {FIRST_YEAR} and {LAST_YEAR}, got {text!r}")
    return day


def _stenciled(value: object) -> str:
    """A date as painted: a day, a month, or a year."""
    if isinstance(value, str) and re.fullmatch(r"\d{4}", value, re.ASCII):
        _calendar_day(f"{value}-01-01")
        return value
    if not isinstance(value, str):
        raise ValueError(f"must be a date YYYY-MM-DD or a year YYYY as text, got {shown(value)}")
    when_read(value)
    return value


def _number(value: object) -> Fraction:
    if isinstance(value, Fraction):
        return value
    if isinstance(value, bool) or not isinstance(value, (int, float, Decimal)):
        raise ValueError(f"must be a number, got {shown(value)}")
    if isinstance(value, Decimal) and value.is_snan():  # cannot be looked up
        raise ValueError(f"must be a number, got {shown(value)}")
    return _exact(value)


@lru_cache(maxsize=4096)
def _exact(value: float | Decimal) -> Fraction:
    exact = Decimal(str(value))
    if not exact.is_finite():
        raise ValueError(f"must be a number, got {shown(value)}")
    if (
        abs(exact) > LARGEST
        or len(exact.as_tuple().digits) > MOST_DIGITS
        or exact.adjusted() < -MOST_DIGITS
    ):
        raise ValueError(
            f"must be a number of at most {LARGEST} and {MOST_DIGITS} digits, got {shown(value)}"
        )
    return Fraction(exact)


def _mark(value: object) -> str:
    text = value.upper() if isinstance(value, str) else ""
    if not re.fullmatch(r"[A-Z]{2,4}", text, re.ASCII):
        raise ValueError(f"must be 2 to 4 letters, got {shown(value)}")
    return text


def _un(value: object) -> str:
    text = value.upper() if isinstance(value, str) else ""
    if not re.fullmatch(r"(UN|NA)\d{4}", text, re.ASCII):
        raise ValueError(f"must be UN or NA and four digits, such as UN1789, got {shown(value)}")
    return text


def _above_zero(value: object) -> Fraction:
    number = _number(value)
    if number <= 0:
        raise ValueError(f"must be above 0, got {shown(value)}")
    return number


def _not_negative(value: object) -> Fraction:
    number = _number(value)
    if number < 0:
        raise ValueError(f"must be at least 0, got {shown(value)}")
    return number


def _efficiency(value: object) -> Fraction:
    number = _above_zero(value)
    if number > 1:
        raise ValueError(f"must be at most 1, got {shown(value)}")
    return number


Day = Annotated[
    When,
    BeforeValidator(when_read),
    WithJsonSchema({"type": "string", "pattern": r"^\d{4}-\d{2}(-\d{2})?$"}),
]
Painted = Annotated[
    str,
    BeforeValidator(_stenciled),
    WithJsonSchema({"type": "string", "pattern": r"^\d{4}(-\d{2}(-\d{2})?)?$"}),
]
AboveZero = Annotated[
    Fraction,
    BeforeValidator(_above_zero),
    WithJsonSchema({"type": "number", "exclusiveMinimum": 0}),
]
NotNegative = Annotated[
    Fraction, BeforeValidator(_not_negative), WithJsonSchema({"type": "number", "minimum": 0})
]
Efficiency = Annotated[
    Fraction,
    BeforeValidator(_efficiency),
    WithJsonSchema({"type": "number", "exclusiveMinimum": 0, "maximum": 1}),
]
Mark = Annotated[
    str, BeforeValidator(_mark), WithJsonSchema({"type": "string", "pattern": "^[A-Za-z]{2,4}$"})
]
UnNumber = Annotated[
    str, BeforeValidator(_un), WithJsonSchema({"type": "string", "pattern": "^(UN|NA)[0-9]{4}$"})
]
Months = Annotated[int, Field(ge=1, le=1200)]
Text = Annotated[str, Field(max_length=200)]
StenciledItem = Literal[*facts.STENCILED_ITEMS]  # type: ignore[valid-type]
EventItem = Literal[*facts.EVENT_ITEMS, *facts.CHANGES]  # type: ignore[valid-type]
OpenedItem = Literal[*facts.EVENT_ITEMS]  # type: ignore[valid-type]
Zone = Literal[*facts.ZONES]  # type: ignore[valid-type]
LinedZone = Literal[*facts.SHELL_AND_HEAD_ZONES]  # type: ignore[valid-type]


class _Part(BaseModel):
    model_config = ConfigDict(
        extra="forbid", strict=True, frozen=True, arbitrary_types_allowed=True
    )

    @model_validator(mode="before")
    @classmethod
    def null_is_absent(cls, data: Any) -> Any:
        if isinstance(data, dict) and None in data.values():
            return {key: value for key, value in data.items() if value is not None}
        return data


class SettingsPart(_Part):
    due_precision: Literal["day", "month_end", "year_end"] = "day"
    stencil_year: Literal["start", "end"] = "start"
    soon_days: Annotated[int, Field(ge=0, le=36_500)] = 180

    def as_core(self) -> facts.Settings:
        return facts.Settings(self.due_precision, self.stencil_year, self.soon_days)


class TankPart(_Part):
    material: str | None = None
    tensile_psi: AboveZero | None = None
    inside_diameter_in: AboveZero | None = None
    joint_efficiency: Efficiency | None = None
    head_shape: Literal["2:1", "3:1"] = "2:1"
    jacketed: bool | None = None
    insulated: bool | None = None
    thermal_protection: bool | None = None
    built_to: Literal["CPC-1232", "PIH-2009"] | None = None
    normalized_steel: bool | None = None
    required_thickness_in: dict[LinedZone, AboveZero] = {}

    @model_validator(mode="before")
    @classmethod
    def absent_zones(cls, data: Any) -> Any:
        """A zone whose minimum is null has none."""
        zones = data.get("required_thickness_in") if isinstance(data, dict) else None
        if isinstance(zones, dict):
            kept = {zone: value for zone, value in zones.items() if value is not None}
            return data | {"required_thickness_in": kept}
        return data

    def as_core(self) -> facts.Tank:
        fields = {name: getattr(self, name) for name in TankPart.model_fields}
        fields["required_thickness_in"] = tuple(sorted(self.required_thickness_in.items()))
        return facts.Tank(**fields)


class LiningPart(_Part):
    kind: Text | None = None
    applied_on: Day | None = None
    owner_interval_months: Months | None = None
    documented: bool = False

    def as_core(self) -> facts.Lining:
        return facts.Lining(
            self.kind, day_of(self.applied_on), self.owner_interval_months, self.documented
        )


class ServicePart(_Part):
    commodity: Text | None = None
    un: UnNumber | None = None
    hazardous: bool = True
    hazard_class: Annotated[str, Field(max_length=20)] | None = None
    packing_group: Literal["I", "II", "III"] | None = None
    poison_by_inhalation: bool | None = None
    corrosive_or_reactive: bool | None = None
    corrosion_rate_mil_per_year: NotNegative | None = None
    fluorinated_hydrocarbon_only: bool = False

    def as_core(self) -> facts.Service:
        return facts.Service(**{name: getattr(self, name) for name in ServicePart.model_fields})


class ReliefDevicePart(_Part):
    kind: Literal["valve", "disc", "combination", "none"] | None = None
    set_psig: AboveZero | None = None
    tested_on: Day | None = None
    installed_on: Day | None = None
    protected_in_storage: bool | None = None
    owner_interval_months: Months | None = None

    def as_core(self) -> facts.ReliefDevice:
        return facts.ReliefDevice(
            self.kind, self.set_psig, day_of(self.tested_on), day_of(self.installed_on),
            _last_day_of(self.installed_on), self.protected_in_storage, self.owner_interval_months,
        )  # fmt: skip


class ServiceEquipmentPart(_Part):
    owner_interval_months: Months | None = None


class ReflectiveSheetingPart(_Part):
    installed_on: Day | None = None
    method: Literal["replacement", "comparator"] = "replacement"

    def as_core(self) -> facts.ReflectiveSheeting:
        return facts.ReflectiveSheeting(day_of(self.installed_on), self.method)


class StencilPart(_Part):
    marked_on: Day | None = None
    due: dict[StenciledItem, Painted | None] = {}

    def as_core(self) -> facts.StencilMarks:
        due = tuple(sorted((item, text) for item, text in self.due.items() if text is not None))
        return facts.StencilMarks(day_of(self.marked_on), due)


class ApprovalPart(_Part):
    item: StenciledItem
    interval_months: Months
    reference: Text | None = None
    stenciled: bool = False

    def as_core(self) -> facts.Approval:
        return facts.Approval(self.item, self.interval_months, self.reference, self.stenciled)


class CarPart(_Part):
    mark: Mark
    number: Annotated[int, Field(ge=1, le=999_999)]
    specification: Annotated[str, Field(max_length=60)]
    built_on: Day | None = None
    rebuilt_on: Day | None = None
    tank: TankPart = TankPart()
    lining: LiningPart | None = None
    service: ServicePart = ServicePart()
    relief_device: ReliefDevicePart | None = None
    service_equipment: ServiceEquipmentPart = ServiceEquipmentPart()
    reflective_sheeting: ReflectiveSheetingPart = ReflectiveSheetingPart()
    stencil: StencilPart = StencilPart()
    approvals: Annotated[list[ApprovalPart], Field(max_length=100)] = []

    def as_core(self) -> facts.Car:
        return facts.Car(
            mark=self.mark,
            number=self.number,
            specification=self.specification,
            built_on=day_of(self.built_on),
            rebuilt_on=day_of(self.rebuilt_on),
            tank=self.tank.as_core(),
            lining=self.lining.as_core() if self.lining else None,
            service=self.service.as_core(),
            relief_device=self.relief_device.as_core() if self.relief_device else None,
            service_equipment_interval_months=self.service_equipment.owner_interval_months,
            reflective_sheeting=self.reflective_sheeting.as_core(),
            stencil=self.stencil.as_core(),
            approvals=tuple(approval.as_core() for approval in self.approvals),
        )


class ReadingPart(_Part):
    zone: Zone
    inches: AboveZero
    extent: Literal["general", "local"] = "general"
    span_in: NotNegative | None = None
    apart_in: NotNegative | None = None

    def as_core(self) -> facts.Reading:
        return facts.Reading(self.zone, self.inches, self.extent, self.span_in, self.apart_in)


class EventPart(_Part):
    on: Day
    items: Annotated[list[EventItem], Field(max_length=100)]
    outcome: Literal["pass", "fail"] = "pass"
    readings: Annotated[list[ReadingPart], Field(max_length=10_000)] = []
    opens: Annotated[list[OpenedItem], Field(max_length=100)] = []
    reference: Text | None = None

    def as_core(self) -> facts.Event:
        return facts.Event(
            self.on.day,
            tuple(dict.fromkeys(self.items)),
            self.outcome,
            tuple(reading.as_core() for reading in self.readings),
            tuple(dict.fromkeys(self.opens)),
            self.reference,
            month_only=self.on.month_only,
        )


class Request(_Part):
    """One question: a car, its events, and the day it is asked for."""

    as_of: Day
    settings: SettingsPart = SettingsPart()
    car: CarPart
    events: Annotated[list[EventPart], Field(max_length=10_000)] = []

    def as_core(self) -> facts.Facts:
        return facts.Facts(
            self.as_of.day,
            self.car.as_core(),
            tuple(event.as_core() for event in self.events),
            self.settings.as_core(),
        )


def day_of(when: When | None) -> date | None:
    return when.day if when else None


def _last_day_of(when: When | None) -> date | None:
    if when is None:
        return None
    return month_end(when.day) if when.month_only else when.day

"""What the API answers with: the calculator's answer, an error, a page of a list."""

from __future__ import annotations

import re
from datetime import date
from decimal import Decimal
from typing import Annotated, Generic, Literal, TypeVar

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, PlainSerializer, WithJsonSchema

from app.answers.faults import shown
from app.core.facts import Confidence, Extent, LoadingVerdict, Status, Verdict
from app.files.days import EARLIEST_YEAR, LATEST_YEAR

Row = TypeVar("Row")


def _written_day(value: object) -> object:
    """A number would be taken for the seconds since 1970."""
    if not isinstance(value, date) and not re.fullmatch(r"\d{4}-\d\d-\d\d", str(value), re.ASCII):
        raise ValueError(f"must be a day as YYYY-MM-DD, got {shown(value)}")
    # Beyond these years no car has stood: a slip of the keyboard, not a question.
    if not EARLIEST_YEAR <= int(str(value)[:4]) <= LATEST_YEAR:
        raise ValueError(
            f"want a day from {EARLIEST_YEAR}-01-01 to {LATEST_YEAR}-12-31, got {shown(value)}"
        )
    return value


OnDay = Annotated[date, BeforeValidator(_written_day)]
NOBODY = ""
RecordedBy = Annotated[
    str,
    Field(
        max_length=200,
        description="a program or person on whose behalf it is recorded, told beside the name of "
        "whoever's token it is",
    ),
]
# A decimal of the register, of at most six places: its float is written with the same digits.
Exact = Annotated[
    Decimal, PlainSerializer(float, return_type=float), WithJsonSchema({"type": "number"})
]


class Out(BaseModel):
    """Answered by us: every field is always there."""

    model_config = ConfigDict(json_schema_serialization_defaults_required=True)


class FaultOut(Out):
    path: str = Field(description="the place of the fault, such as `car.tank.inside_diameter_in`")
    problem: str = Field(description="what was found and what is wanted")


class ErrorBody(Out):
    message: str
    faults: list[FaultOut]


class ErrorOut(Out):
    """The one shape of every error."""

    error: ErrorBody


class ReasonOut(Out):
    text: str
    citation: str | None


class ItemOut(Out):
    """A due item with its reasons. The calendar fields stay whatever the status."""

    item: str
    status: Status
    due_on: date | None
    days_left: int | None
    basis_on: date | None
    interval_months: int | None
    calculated_due_on: date | None
    confidence: Confidence
    reasons: list[ReasonOut]


class NextOut(Out):
    item: str
    due_on: date


class RulebookOut(Out):
    id: str
    edition: str


class ThicknessOut(Out):
    """A zone against its lines, in inches rounded half up to five decimals."""

    zone: str
    required_in: float | None
    line_c_in: float | None
    line_d_in: float | None
    line_e_in: float | None
    reading_in: float | None
    measured_on: date | None
    extent: Extent | None
    verdict: Verdict
    reasons: list[ReasonOut]


class LoadingOut(Out):
    verdict: LoadingVerdict
    reasons: list[ReasonOut]
    caution: str


class DueDatesOut(Out):
    """What the calculator says of one car on one day."""

    car: str
    as_of: date
    rulebook: RulebookOut
    items: list[ItemOut]
    next: NextOut | None
    thickness: list[ThicknessOut]
    loading: LoadingOut
    warnings: list[ReasonOut]


class SpecificationOut(Out):
    """A specification decoded; null where no table has a row."""

    model_config = ConfigDict(populate_by_name=True, serialize_by_alias=True)

    agency: str | None
    class_: str = Field(alias="class")
    class_kind: Literal["non_pressure", "pressure", "ton_tank", "cryogenic", "seamless"]
    delimiter: str | None
    delimiter_meaning: str | None
    test_pressure_psig: int | None
    material: str | None
    material_meaning: str | None
    weld: str | None
    suffix: str | None
    suffix_meaning: str | None
    burst_psig: int | None
    minimum_plate_in: float | None
    bottom_outlet: Literal["required", "optional", "none"] | None
    insulation: Literal["required", "optional", "none"] | None
    relief_max_psig: float | None
    citations: list[str]
    warnings: list[ReasonOut]


class PageOut(Out, Generic[Row]):
    """Part of a list; `next_after`, passed as `after`, gives the next part; null at the end."""

    rows: list[Row]
    next_after: str | None

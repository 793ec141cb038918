"""Questions that the rule text leaves open, or that nobody here could settle, and how each is read."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping, Sequence
from functools import cache
from pathlib import Path
from typing import Literal

from pydantic import BaseModel, ConfigDict, TypeAdapter

FILE = Path(__file__).with_name("open-questions.toml")
PRECISION = {
    "day": "to the day",
    "month_end": "to the end of the month",
    "year_end": "to the end of the year",
}
STENCIL_YEAR = {"start": "as its first day", "end": "as its last day"}


class Question(BaseModel):
    """What is open, and how it is read: by a setting, with a warning, as assumed, or left out of account."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    title: str
    kind: Literal["setting", "warning", "assumed", "not counted"]
    asked: str
    read: str


@cache
def open_questions() -> Sequence[Question]:
    stated = tomllib.loads(FILE.read_text(encoding="utf-8"))["questions"]
    return TypeAdapter(tuple[Question, ...]).validate_python(stated)


def how_read(settings: Mapping[str, str]) -> str:
    """The two settings of a rulebook in words."""
    precision = PRECISION[settings.get("due_precision", "day")]
    year = STENCIL_YEAR[settings.get("stencil_year", "start")]
    return f"due dates {precision}; a stenciled year {year}"

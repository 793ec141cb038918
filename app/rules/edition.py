"""An edition as somebody hands it in: one TOML document, and every fault of it with its place and a sentence.

It states only what differs from the rulebook that it is laid over (overlay.py lays it).
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Annotated, Any, Literal, NamedTuple

from pydantic import BaseModel, ConfigDict, Field, StringConstraints, ValidationError

from app.core.facts import Confidence
from app.core.rule import Presence
from app.rules.reader import Change, Document, Exact, Item

LARGEST = 1_000_000
Text = Annotated[str, StringConstraints(min_length=1, max_length=1000, pattern=r"^[^\x00]*$")]
Name = Annotated[str, StringConstraints(min_length=1, max_length=200, pattern=r"^[^\x00]*$")]
# A car's due item keeps its citation in as many characters.
Citation = Annotated[str, StringConstraints(min_length=1, max_length=80, pattern=r"^[^\x00]*$")]
Code = Annotated[str, StringConstraints(pattern=r"^[a-z0-9][a-z0-9-]{1,59}$")]
Months = Annotated[int, Field(strict=True, ge=1, le=1200)]
Day = Annotated[date, Field(strict=True)]


class Wrong(NamedTuple):
    """One fault: its place in the document ("rules.visual.interval_months"), and what is wanted."""

    place: str
    sentence: str


class BadEdition(Exception):
    """A document that is no edition; `faults` says everything that is wrong with it."""

    def __init__(self, faults: list[Wrong]) -> None:
        super().__init__("; ".join(": ".join(fault) for fault in faults))
        self.faults = faults


@dataclass(frozen=True, slots=True)
class Edition:
    """What a document states: its name, whose it is, how open questions are read, and what differs."""

    id: str
    edition: str
    base: str
    owner: str | None
    settings: Mapping[str, str]
    differs: Document


class _Strict(BaseModel):
    model_config = ConfigDict(extra="forbid", arbitrary_types_allowed=True)


class _Settings(_Strict):
    due_precision: Literal["day", "month_end", "year_end"] | None = None
    stencil_year: Literal["start", "end"] | None = None


class _Rule(_Strict):
    text: Text | None = None
    citation: Citation | None = None
    edition: Name | None = None
    confidence: Confidence | None = None
    interval_months: Months | None = None
    limits: dict[str, Exact] | None = None
    day: Day | None = None


class _Change(_Strict):
    opens: list[Item] | None = None
    text: Text | None = None
    citation: Citation | None = None
    edition: Name | None = None
    confidence: Confidence | None = None


class _Material(_Strict):
    tensile_psi: Annotated[int, Field(strict=True, ge=1000, le=1_000_000)] | None = None
    citation: Citation | None = None
    confidence: Confidence | None = None


class _Allowance(_Strict):
    from_psig: Exact
    top_and_heads_in: Exact | None = None
    bottom_in: Exact | None = None


class _Corrosive(_Strict):
    names: Annotated[list[Name], Field(min_length=1)] | None = None
    un_numbers: list[Annotated[str, Field(pattern=r"^(UN|NA)\d{4}$")]] | None = None


class _Ban(_Strict):
    name: Name
    without_jacket: Day | None = None
    jacketed: Day | None = None
    cpc_without_jacket: Day | None = None
    cpc_jacketed: Day | None = None
    citation: Citation | None = None
    confidence: Confidence | None = None


class _Row(_Strict):
    class_: str = Field(alias="class")
    pressure: Annotated[int, Field(strict=True)] | None = None
    delimiters: str = ""
    material: str = ""
    suffix: str = ""
    citation: Citation | None = None
    test_psig: Exact | None = None
    burst_psig: Exact | None = None
    plate_in: Exact | None = None
    relief_max_psig: Exact | None = None
    bottom_outlet: Presence | None = None
    insulation: Presence | None = None
    note: Text | None = None


class _Document(_Strict):
    id: Code
    edition: Name
    base: Code
    owner: Name | None = None
    settings: _Settings | None = None
    rules: dict[str, _Rule] | None = None
    changes: dict[Change, _Change] | None = None
    materials: dict[str, _Material] | None = None
    allowances: list[_Allowance] | None = None
    corrosive: _Corrosive | None = None
    flammable_bans: list[_Ban] | None = None
    rows: list[_Row] | None = None


HEADER = ("id", "edition", "base", "owner", "settings")


def read_edition(source: str) -> Edition:
    """The edition in a TOML document, every field of it read; raises BadEdition with every fault."""
    if len(source) > LARGEST:
        raise BadEdition([Wrong("", "is longer than a million characters, which no edition is")])
    try:
        stated = tomllib.loads(source)
    except (ValueError, RecursionError) as error:
        # Not only what TOML forbids: a number of thousands of digits is none to Python.
        raise BadEdition([_not_toml(str(error))]) from error
    try:
        _Document.model_validate(stated)
    except ValidationError as error:
        faults = error.errors(include_url=False, include_context=True)
        raise BadEdition([_fault(one) for one in faults]) from error
    differs = {name: value for name, value in stated.items() if name not in HEADER}
    return Edition(
        stated["id"], stated["edition"], stated["base"], stated.get("owner"),
        stated.get("settings", {}), differs,
    )  # fmt: skip


def _not_toml(said: str) -> Wrong:
    place = re.search(r" \(at line (\d+), column \d+\)", said)
    line = f"line {place[1]}" if place else ""
    return Wrong(line, f"this is not TOML: {said.replace(place[0], '') if place else said}")


_SENTENCES = {
    "missing": "is required",
    "extra_forbidden": "is not a field that an edition has here",
    "string_type": "must be text in quotes, got {found}",
    "int_type": "must be a whole number, got {found}",
    "int_from_float": "must be a whole number, got {found}",
    "list_type": "must be a list, got {found}",
    "dict_type": "must be a table of its own, got {found}",
    "model_type": "must be a table of its own, got {found}",
    "date_type": "must be a day without quotes, such as 2027-01-31, got {found}",
    "date_from_datetime_inexact": "must be a day without quotes, such as 2027-01-31, got {found}",
    "literal_error": "must be {expected}, got {found}",
    "enum": "must be {expected}, got {found}",
    "greater_than_equal": "must be at least {ge}, got {found}",
    "less_than_equal": "must be at most {le}, got {found}",
    "string_too_short": "must not be empty",
    "string_too_long": "must be at most {max_length} characters long",
    "too_short": "must name at least one",
    "value_error": "{error}",
}
_PATTERNS = {
    "id": "must be small letters, digits and hyphens, two to sixty of them, got {found}",
    "base": "must be the id of a rulebook, such as us-49cfr, got {found}",
    "un_numbers": "must be a number such as UN1789, got {found}",
}


def _fault(error: Mapping[str, Any]) -> Wrong:
    parts = [str(part) for part in error["loc"] if part != "[key]"]
    found = repr(error["input"])
    shown = found if len(found) <= 60 else f"{found[:57]}..."
    told = _SENTENCES.get(error["type"], "{msg}, got {found}")
    if error["type"] == "string_pattern_mismatch":
        named = next((part for part in reversed(parts) if part in _PATTERNS), "")
        told = _PATTERNS.get(named, "must be plain text, got {found}")
    return Wrong(
        ".".join(parts), told.format(found=shown, msg=error["msg"], **error.get("ctx", {}))
    )

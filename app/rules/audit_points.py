"""Reads the built-in checklist of audits; a bad file stops the start-up."""

from __future__ import annotations

import tomllib
from functools import cache
from pathlib import Path
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, TypeAdapter, ValidationError, model_validator

from app.core.audit.points import REGISTER, Point
from app.rules.reader import BadRulebook

FILE = Path(__file__).with_name("audit") / "checklist.toml"
NO_SOURCE = "common practice, no source"
Text = Annotated[str, Field(min_length=1)]


class _Point(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)

    id: Annotated[str, Field(pattern=r"^[a-z_]{1,40}$")]
    asks: Text
    look_at: Text
    citation: Text | None = None
    edition: Text | None = None
    confidence: Literal["verified", "memory"] | None = None
    says: Literal[*REGISTER] | None = None  # type: ignore[valid-type]

    @model_validator(mode="after")
    def _cited_in_full_or_not_at_all(self) -> _Point:
        if len({part is None for part in (self.citation, self.edition, self.confidence)}) > 1:
            raise ValueError("citation, edition and confidence stand together, or none of them")
        return self


@cache
def built_in_points() -> tuple[Point, ...]:
    """The points of the file in order, each with its citation and edition in one line."""
    return read_points(FILE)


def read_points(path: Path) -> tuple[Point, ...]:
    """The points of a file; raises BadRulebook naming what is wrong."""
    try:
        rows = tomllib.loads(path.read_text(encoding="utf-8")).get("points", [])
        found = TypeAdapter(tuple[_Point, ...]).validate_python(rows)
    except (ValidationError, tomllib.TOMLDecodeError) as error:
        raise BadRulebook(f"{path.name}: {error}") from error
    ids = [each.id for each in found]
    if len(ids) != len(set(ids)):
        raise BadRulebook(f"{path.name}: an id stands twice")
    return tuple(map(_point, found))


def _point(row: _Point) -> Point:
    citation = NO_SOURCE
    if row.citation:
        seen = "" if row.confidence == "verified" else ", from memory"
        citation = f"{row.citation} ({row.edition}{seen})"
    return Point(row.id, row.asks, row.look_at, citation, row.says or "")

"""Reads what field work goes by: built-in steps of each due item, cautions, methods; a bad file stops the start-up."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from functools import cache
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError, model_validator

from app.core.facts import EVENT_ITEMS
from app.core.steps import LEVELS, MEASURES, Need, Step
from app.rules.reader import BadRulebook, Exact

HERE = Path(__file__).with_name("field")
Item = Literal[*EVENT_ITEMS]  # type: ignore[valid-type]
When = Literal["entry", "loosening", "pressure"]
Text = Annotated[str, Field(min_length=1)]


class _Strict(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, arbitrary_types_allowed=True)


class Caution(_Strict):
    """What is read before work of a kind, in a few plain words."""

    id: Text
    when: When
    title: Text
    words: tuple[Text, ...]


class _Step(_Strict):
    id: Annotated[str, Field(pattern=r"^[a-z_]+$")]
    look_at: Text
    where: Text
    measure: Literal[*MEASURES]  # type: ignore[valid-type]
    unit: Text | None = None
    acceptance: Text
    caution: When | None = None
    citation: Text | None = None
    edition: Text | None = None
    confidence: Literal["verified", "memory"] | None = None

    @model_validator(mode="after")
    def _cited_in_full_or_not_at_all(self) -> _Step:
        if len({part is None for part in (self.citation, self.edition, self.confidence)}) > 1:
            raise ValueError("citation, edition and confidence stand together, or none of them")
        return self


class _Need(_Strict):
    method: Text
    level: Literal[*LEVELS]  # type: ignore[valid-type]


class Asks(_Strict):
    """From which difference on a reading is asked about, inches."""

    loss_in: Exact
    neighbour_in: Exact


class _Files(_Strict):
    steps: dict[Item, list[_Step]]
    cautions: list[Caution]
    methods: dict[str, Text]
    needs: dict[Item, list[_Need]]
    asks: Asks


class FieldWork(_Strict):
    """`steps` of each item; `needs` of an item, any one of which serves; `methods` in words."""

    steps: Mapping[str, tuple[Step, ...]]
    cautions: tuple[Caution, ...]
    methods: Mapping[str, str]
    needs: Mapping[str, tuple[Need, ...]]
    asks: Asks


@cache
def field_work() -> FieldWork:
    """The built-in data, read once."""
    return read_field_work(HERE)


def read_field_work(folder: Path) -> FieldWork:
    """What the files of `folder` say together; raises BadRulebook naming what is wrong."""
    try:
        read = _Files.model_validate(_laid_together(folder))
    except (ValidationError, tomllib.TOMLDecodeError) as error:
        raise BadRulebook(f"{folder.name}: {error}") from error
    _check(read)
    return FieldWork(
        steps={item: tuple(_step(item, row) for row in rows) for item, rows in read.steps.items()},
        cautions=tuple(read.cautions),
        methods=read.methods,
        needs={
            item: tuple(Need(row.method, row.level) for row in rows)
            for item, rows in read.needs.items()
        },
        asks=read.asks,
    )


def _laid_together(folder: Path) -> dict[str, Any]:
    whole: dict[str, Any] = {}
    for path in sorted(folder.glob("*.toml")):
        for name, table in tomllib.loads(path.read_text(encoding="utf-8")).items():
            held = whole.setdefault(name, table)
            if held is not table:
                if not isinstance(held, dict) or held.keys() & table.keys():
                    raise BadRulebook(f"{path.name}: {name} stands twice")
                held.update(table)
    return whole


def _check(read: _Files) -> None:
    known = {each.id for each in read.cautions}
    for item, rows in read.steps.items():
        ids = [row.id for row in rows]
        if len(ids) != len(set(ids)):
            raise BadRulebook(f"steps.{item}: an id stands twice")
        if strange := {row.caution for row in rows if row.caution} - known:
            raise BadRulebook(f"steps.{item}: there is no caution {strange}")
    for item, needs in read.needs.items():
        if strange_methods := {row.method for row in needs} - read.methods.keys():
            raise BadRulebook(f"needs.{item}: there is no method {strange_methods}")


def _step(item: str, row: _Step) -> Step:
    citation = row.citation
    if citation:
        seen = "" if row.confidence == "verified" else ", from memory"
        citation = f"{citation} ({row.edition}{seen})"
    return Step(
        f"{item}.{row.id}", row.look_at, row.where, row.measure, row.unit, row.acceptance,
        row.caution, citation,
    )  # fmt: skip

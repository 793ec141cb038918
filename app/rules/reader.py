"""Reads a rulebook from its TOML files, checks every field; a bad file stops the start-up.

One file a regulation section. Exact numbers stand in quotes ("7/16", "0.9") and are read as fractions.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterable, Mapping
from datetime import date
from fractions import Fraction
from functools import cache
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, ValidationError

from app.core.facts import CHANGES, ITEMS, Confidence
from app.core.lading import name_words
from app.core.rule import (
    Allowance,
    ClassFamily,
    ClassKind,
    CorrosiveList,
    FlammableBan,
    Material,
    PlateNote,
    Presence,
    Regime,
    Rule,
    Rulebook,
    SpecificationRow,
    StencilTables,
)

HERE = Path(__file__).parent
DEFAULT = HERE / "us_49cfr"
Document = Mapping[str, Any]
# No more than a table of the rules holds; a fraction of nothing is none.
_PLAIN_NUMBER = re.compile(r"[0-9]{1,7}(\.[0-9]{1,7}|/[1-9][0-9]{0,6})?")


def _exact(value: object) -> Fraction:
    """A number in quotes; a bare decimal would be read as its binary neighbour."""
    if not isinstance(value, str) or not _PLAIN_NUMBER.fullmatch(value):
        raise ValueError(f'an exact number stands in quotes, such as "7/16", not {value!r}')
    return Fraction(value)


Exact = Annotated[Fraction, BeforeValidator(_exact)]
Item = Literal[*ITEMS]  # type: ignore[valid-type]
Change = Literal[*CHANGES]  # type: ignore[valid-type]
# What a rule has a say in: a due item, or the answer whether a car may be loaded.
Feed = Literal[*ITEMS, "loading"]  # type: ignore[valid-type]


class BadRulebook(Exception):
    """A rule file that does not say what it must; the message names file and field."""


class _Strict(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, arbitrary_types_allowed=True)


class _Rule(_Strict):
    text: str
    citation: str
    edition: str
    confidence: Confidence
    interval_months: int | None = Field(default=None, gt=0)
    limits: dict[str, Exact] | None = None
    day: date | None = None
    feeds: tuple[Feed, ...] = ()
    known_from: str = ""
    # Set by laying an owner's programme over the rule; no document states it.
    stricter_than: str | None = None


class _Change(_Strict):
    opens: list[Item]
    text: str
    citation: str
    edition: str
    confidence: Confidence
    chosen: bool = False


class _Allowance(_Strict):
    from_psig: Exact
    below_psig: Exact | None = None
    top_and_heads_in: Exact
    bottom_in: Exact


class _Material(_Strict):
    tensile_psi: int
    citation: str
    confidence: Confidence


class _Corrosive(_Strict):
    names: list[str]
    un_numbers: list[Annotated[str, Field(pattern=r"^(UN|NA)\d{4}$")]]


class _FlammableBan(_Strict):
    name: str
    lading: str
    un_numbers: frozenset[str] = frozenset()
    packing_groups: frozenset[Literal["I", "II", "III"]] = frozenset()
    without_jacket: date
    jacketed: date
    cpc_without_jacket: date
    cpc_jacketed: date
    citation: str
    confidence: Confidence
    known_from: str = ""


class _PlateNote(_Strict):
    plate_in: Exact
    tensile_psi: Exact | None = None
    inside_diameter_in: Exact | None = None


class _Row(_Strict):
    class_: str = Field(alias="class")
    pressure: int | None = None
    delimiters: str = ""
    material: str = ""
    suffix: str = ""
    citation: str
    test_psig: Exact | None = None
    burst_psig: Exact | None = None
    plate_in: Exact | None = None
    plate_notes: list[str] = []
    relief_max_psig: Exact | None = None
    relief_set_psig: Exact | None = None
    relief_within_psi: Exact | None = None
    vapor_tight_psig: Exact | None = None
    build_relief_max_psig: Exact | None = None
    build_vapor_tight_psig: Exact | None = None
    bottom_outlet: Presence | None = None
    insulation: Presence | None = None
    inner_tank_only: bool = False
    note: str = ""


class _Class(_Strict):
    kind: ClassKind
    regime: Regime
    cryogenic: bool = False
    delimiters: list[str] = []
    delimiter_optional: bool = False
    pressures: list[int] = []
    pressure_optional: bool = False
    any_pressure: bool = False
    materials: list[str] = []
    welds: str = ""
    weld_optional: bool = False
    suffixes: list[str] = []
    suffix_optional: bool = False
    citation: str
    note: str = ""


class _Book(_Strict):
    """All the files of a rulebook, laid together."""

    id: str
    edition: str
    regime_items: dict[Regime, list[Item]]
    rules: dict[str, _Rule]
    changes: dict[Change, _Change]
    allowances: list[_Allowance]
    corrosive: _Corrosive
    flammable_bans: list[_FlammableBan]
    materials: dict[str, _Material]
    plate_notes: dict[str, list[_PlateNote]]
    rows: list[_Row]
    grammar_citation: str
    agencies: list[str]
    weld_letters: dict[str, str]
    from_memory: frozenset[str]
    delimiters: dict[str, str]
    cryogenic_delimiters: dict[str, str]
    material_letters: dict[str, str]
    suffixes: dict[str, str]
    classes: dict[str, _Class]


def read_rulebook(folder: Path) -> Rulebook:
    """The rulebook in `folder`; raises BadRulebook naming the field that is wrong."""
    try:
        return rulebook_of(_laid_together(folder))
    except (ValidationError, tomllib.TOMLDecodeError) as error:
        raise BadRulebook(f"{folder.name}: {error}") from error


def rulebook_of(document: Document) -> Rulebook:
    """The rulebook that a document of all its tables states; raises Pydantic's ValidationError."""
    book = _Book.model_validate(document)
    return Rulebook(
        id=book.id,
        edition=book.edition,
        rules=_rules(book),
        regime_items={regime: tuple(items) for regime, items in book.regime_items.items()},
        opens={change: tuple(row.opens) for change, row in book.changes.items()},
        stencils=_stencils(book),
        materials=_materials(book),
        allowances=tuple(Allowance(**dict(row)) for row in book.allowances),
        corrosive=_corrosive(book),
        flammable_bans=tuple(FlammableBan(**dict(row)) for row in book.flammable_bans),
    )


@cache
def default_rulebook() -> Rulebook:
    """The built-in rulebook: 49 CFR as seen, read once."""
    return read_rulebook(DEFAULT)


@cache
def built_in() -> Document:
    """The built-in rulebook as its files state it. Not to be changed by whoever asks."""
    return _laid_together(DEFAULT)


def _laid_together(folder: Path) -> dict[str, Any]:
    """One mapping from all files; tables of the same name are joined, anything else may stand once only."""
    whole: dict[str, Any] = {}
    for path in sorted(folder.glob("*.toml")):
        for key, value in tomllib.loads(path.read_text(encoding="utf-8")).items():
            whole[key] = (
                _joined(whole[key], value, f"{path.name}: {key}") if key in whole else value
            )
    return whole


def _joined(one: Any, other: Any, where: str) -> Any:
    if isinstance(one, list) and isinstance(other, list):
        return one + other
    if isinstance(one, dict) and isinstance(other, dict) and not one.keys() & other.keys():
        return one | other
    raise BadRulebook(f"{where} stands twice")


def _rules(book: _Book) -> Mapping[str, Rule]:
    """The rules, and each change as the rule that opens what it opens."""
    stated = {id_: Rule(id=id_, **dict(row)) for id_, row in book.rules.items()}
    changes = {
        change: Rule(
            change, row.text, row.citation, row.edition, row.confidence, feeds=tuple(row.opens)
        )
        for change, row in book.changes.items()
    }
    return stated | changes


def _materials(book: _Book) -> Mapping[str, Material]:
    return {
        code: Material(code, Fraction(row.tensile_psi), row.citation, row.confidence)
        for code, row in book.materials.items()
    }


def _corrosive(book: _Book) -> CorrosiveList:
    without_brackets = (re.sub(r"\(.*?\)", " ", name) for name in book.corrosive.names)
    names = tuple(dict.fromkeys(name_words(name) for name in without_brackets))
    return CorrosiveList(names, frozenset(book.corrosive.un_numbers))


def _stencils(book: _Book) -> StencilTables:
    rows: dict[str, tuple[SpecificationRow, ...]] = {}
    for row in book.rows:
        rows[row.class_] = (*rows.get(row.class_, ()), _row(row, book.plate_notes))
    families = {number: _family(number, row, book) for number, row in book.classes.items()}
    return StencilTables(
        tuple(book.agencies),
        book.weld_letters,
        book.from_memory,
        families,
        rows,
        book.grammar_citation,
    )


def _row(row: _Row, notes: Mapping[str, list[_PlateNote]]) -> SpecificationRow:
    plate_notes = tuple(PlateNote(**dict(note)) for name in row.plate_notes for note in notes[name])
    return SpecificationRow(**(dict(row) | {"plate_notes": plate_notes}))


def _family(number: str, row: _Class, book: _Book) -> ClassFamily:
    meanings = book.cryogenic_delimiters if row.cryogenic else book.delimiters
    fields = dict(row)
    fields.pop("cryogenic")
    fields |= {
        "class_": number,
        "pressures": tuple(row.pressures),
        "delimiters": _chosen(meanings, row.delimiters),
        "materials": _chosen(book.material_letters, row.materials),
        "suffixes": _chosen(book.suffixes, row.suffixes),
    }
    return ClassFamily(**fields)


def _chosen(meanings: Mapping[str, str], codes: Iterable[str]) -> dict[str, str]:
    return {code: meanings[code] for code in codes}

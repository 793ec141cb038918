"""A rulebook as the calculator sees it: rules and tables with citation, edition and confidence."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from fractions import Fraction
from functools import cached_property
from typing import Literal

from app.core.facts import Confidence, Part, Reason

UNVERIFIED = "not verified against the rule text"

Regime = Literal["fusion_welded", "ton_tank", "cryogenic", "seamless"]
ClassKind = Literal["non_pressure", "pressure", "ton_tank", "cryogenic", "seamless"]
Presence = Literal["required", "optional", "none"]


def marked(text: str, confidence: Confidence, known_from: str = "") -> str:
    """`text`, saying so when nobody checked it against the rule text, or only what somebody else says of that."""
    if confidence == "memory":
        return f"{text} ({UNVERIFIED})"
    return f"{text} (from {known_from}; the rule text was not seen)" if known_from else text


@dataclass(frozen=True, eq=False)
class Rule:
    """One rule in our words.

    `interval_months` is the most it allows, `limits` are its other numbers by name, `day` is the
    day it turns on, `feeds` are the due items (and "loading") that it has a say in. `stricter_than`
    is set for a rule of an owner's programme: the citation of the one that it is laid over. `known_from`
    is what told of it, where its own text was not seen.
    """

    id: str
    text: str
    citation: str
    edition: str
    confidence: Confidence
    interval_months: int | None = None
    limits: Mapping[str, Fraction] | None = None
    day: date | None = None
    feeds: tuple[str, ...] = ()
    stricter_than: str | None = None
    known_from: str = ""

    @cached_property
    def reason(self) -> Reason:
        """The rule itself as a reason."""
        return self.because(self.text, "asks")

    def because(self, text: str, part: Part | None = None) -> Reason:
        """What this rule led to here, cited."""
        told = marked(text, self.confidence, self.known_from)
        return Reason(told, self.citation, part, known_from=self.known_from)

    @property
    def months(self) -> int:
        if self.interval_months is None:
            raise KeyError(f"rule {self.id} has no interval")
        return self.interval_months

    @property
    def turning_day(self) -> date:
        if self.day is None:
            raise KeyError(f"rule {self.id} has no day")
        return self.day

    def limit(self, name: str) -> Fraction:
        return (self.limits or {})[name]


@dataclass(frozen=True, slots=True)
class Material:
    """A shell material by its code and its minimum tensile strength in psi."""

    code: str
    tensile_psi: Fraction
    citation: str
    confidence: Confidence


@dataclass(frozen=True, slots=True)
class Allowance:
    """How far below the required thickness a tank may wear in service, by marked test pressure (180.509(g)); inches."""

    from_psig: Fraction
    below_psig: Fraction | None
    top_and_heads_in: Fraction
    bottom_in: Fraction


@dataclass(frozen=True, slots=True)
class PlateNote:
    """A lesser plate: for steel of at least `tensile_psi`, or a tank of at most `inside_diameter_in`."""

    plate_in: Fraction
    tensile_psi: Fraction | None = None
    inside_diameter_in: Fraction | None = None


@dataclass(frozen=True, eq=False, slots=True)
class SpecificationRow:
    """A row of the part 179 or 180.519 tables. `suffix` "" matches a specification without one.

    `relief_set_psig` give or take `relief_within_psi` is the one setting of a cryogenic car's valve;
    `build_...` are the stricter figures to which the valves of some ton tanks are built.
    """

    class_: str
    pressure: int | None
    delimiters: str
    material: str
    suffix: str
    citation: str
    test_psig: Fraction | None = None
    burst_psig: Fraction | None = None
    plate_in: Fraction | None = None
    plate_notes: tuple[PlateNote, ...] = ()
    relief_max_psig: Fraction | None = None
    relief_set_psig: Fraction | None = None
    relief_within_psi: Fraction | None = None
    vapor_tight_psig: Fraction | None = None
    build_relief_max_psig: Fraction | None = None
    build_vapor_tight_psig: Fraction | None = None
    bottom_outlet: Presence | None = None
    insulation: Presence | None = None
    inner_tank_only: bool = False
    note: str = ""


@dataclass(frozen=True, eq=False, slots=True)
class ClassFamily:
    """What the letters and numbers of one class may be."""

    class_: str
    kind: ClassKind
    regime: Regime
    delimiters: Mapping[str, str]
    delimiter_optional: bool
    pressures: tuple[int, ...]
    pressure_optional: bool
    any_pressure: bool
    materials: Mapping[str, str]
    welds: str
    weld_optional: bool
    suffixes: Mapping[str, str]
    suffix_optional: bool
    citation: str
    note: str = ""


@dataclass(frozen=True, eq=False, slots=True)
class StencilTables:
    """Everything that decoding a stenciled specification looks up; `from_memory` are letters nobody verified."""

    agencies: tuple[str, ...]
    welds: Mapping[str, str]
    from_memory: frozenset[str]
    families: Mapping[str, ClassFamily]
    rows: Mapping[str, tuple[SpecificationRow, ...]]
    grammar_citation: str


@dataclass(frozen=True, slots=True)
class FlammableBan:
    """From which day a class 111 car may not carry a class 3 lading: by UN number, else by packing group.

    `lading` is what a sentence calls that; `known_from` as a rule's.
    """

    name: str
    lading: str
    un_numbers: frozenset[str]
    packing_groups: frozenset[str]
    without_jacket: date
    jacketed: date
    cpc_without_jacket: date
    cpc_jacketed: date
    citation: str
    confidence: Confidence
    known_from: str = ""


@dataclass(frozen=True, slots=True)
class CorrosiveList:
    """Ladings deemed corrosive to the tank: normalised names in whole words, and UN numbers (from memory)."""

    names: tuple[tuple[str, ...], ...]
    un_numbers: frozenset[str]


@dataclass(frozen=True, eq=False, slots=True)
class Rulebook:
    """One edition of the rules. Compared by identity, so that answers can be kept by rulebook."""

    id: str
    edition: str
    rules: Mapping[str, Rule]
    regime_items: Mapping[str, tuple[str, ...]]
    opens: Mapping[str, tuple[str, ...]]
    stencils: StencilTables
    materials: Mapping[str, Material]
    allowances: tuple[Allowance, ...]
    corrosive: CorrosiveList
    flammable_bans: tuple[FlammableBan, ...]

    def rule(self, id_: str) -> Rule:
        return self.rules[id_]

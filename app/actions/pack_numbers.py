"""The numbers that a tablet compares with: lines of a tank's zones, ranges of relief devices, what is asked about."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from fractions import Fraction

from app.actions.readings import THICKEST, THINNEST
from app.core.decimal_text import at_least, at_most, near
from app.core.facts import OWNER_JUDGED_ZONES, SHELL_AND_HEAD_ZONES, Tank
from app.core.measure import as_text
from app.core.relief import Bench, Range, opening_range, setting_range, vapor_tight
from app.core.rule import Rulebook
from app.core.stencil import Specification
from app.core.thickness import Lines, all_lines
from app.core.words import label
from app.rules.field_work import field_work
from app.store.packing import Mounted
from app.store.tables import EQUIPMENT_KINDS, RELIEF_KINDS

# Lines are drawn for these alone (180.509(c)(3), (f)).
LINED_REGIME = "fusion_welded"


@dataclass(frozen=True, slots=True)
class Between:
    """Both ends included; null where nothing says."""

    least: str | None
    most: str | None


@dataclass(frozen=True, slots=True)
class BenchRanges:
    """Where a device may open, up to where it must be vapor tight, and what it may be set to; psig."""

    opens: Between
    vapor_tight: Between
    set: Between
    reasons: list[str]


@dataclass(frozen=True, slots=True)
class Part:
    installation_id: int
    kind: str
    words: str
    maker: str
    model: str
    serial: str
    position: str
    tested_on: date | None
    installed_on: date | None
    set_psig: str | None
    relief: bool
    bench: BenchRanges | None


@dataclass(frozen=True, slots=True)
class Zone:
    """Lines C, D and E in inches; null where the owner judges, or nothing gives a required thickness."""

    zone: str
    words: str
    required: str | None
    c: str | None
    d: str | None
    e: str | None
    firm: bool
    judged_by: str


@dataclass(frozen=True, slots=True)
class Asks:
    """Which readings are asked about before they are taken, inches."""

    thickest: str
    thinnest: str
    loss_in: str
    neighbour_in: str
    design: dict[str, str]


def zones(spec: Specification, tank: Tank, rulebook: Rulebook) -> list[Zone]:
    """Every zone that can be measured; none for a car whose tank has no lines."""
    if spec.regime != LINED_REGIME:
        return []
    judged = [_zone(zone, lines) for zone, lines in all_lines(spec, tank, rulebook).items()]
    return [*judged, *(_owner_judged(zone) for zone in OWNER_JUDGED_ZONES)]


def _zone(zone: str, lines: Lines) -> Zone:
    # At or below C is thin, so C is rounded down; below D or E is condemned, so they are rounded up.
    return Zone(
        zone, label(zone),
        None if lines.required is None else near(lines.required),
        None if lines.c is None else at_most(lines.c),
        None if lines.d is None else at_least(lines.d),
        None if lines.e is None else at_least(lines.e),
        lines.firm, "lines",
    )  # fmt: skip


def _owner_judged(zone: str) -> Zone:
    return Zone(zone, label(zone), None, None, None, None, firm=False, judged_by="owner")


def asks(spec: Specification, tank: Tank | None) -> Asks:
    """`tank` is None for whoever does not answer for it. The design is the owner's minimum, else the table's plate."""
    odd = field_work().asks
    plate = spec.plate_in if tank else None
    design = dict.fromkeys(SHELL_AND_HEAD_ZONES, plate) if plate else {}
    stated: Mapping[str, Fraction] = dict(tank.required_thickness_in) if tank else {}
    return Asks(
        as_text(THICKEST), as_text(THINNEST), near(odd.loss_in), near(odd.neighbour_in),
        {zone: near(value) for zone, value in {**design, **stated}.items() if value},
    )  # fmt: skip


def parts(
    mounted: Sequence[Mounted],
    spec: Specification,
    built_on: date | None,
    rulebook: Rulebook,
    *,
    equipment_only: bool,
) -> list[Part]:
    """What is on the car; to whoever answers for the equipment alone, that."""
    equipment = {*RELIEF_KINDS, *EQUIPMENT_KINDS}
    return [
        _part(each, spec, built_on, rulebook)
        for each in mounted
        if not equipment_only or each.component.kind in equipment
    ]


def _part(each: Mounted, spec: Specification, built_on: date | None, rulebook: Rulebook) -> Part:
    put_on, component = each.installation, each.component
    relief = component.kind in RELIEF_KINDS
    return Part(
        put_on.id, component.kind, label(component.kind), component.maker, component.model,
        component.serial, put_on.position, put_on.tested_on, put_on.installed_on,
        None if (setting := put_on.as_stated("set_psig")) is None else as_text(setting), relief,
        _ranges(each, spec, built_on, rulebook) if relief else None,
    )  # fmt: skip


def _ranges(
    each: Mounted, spec: Specification, built_on: date | None, rulebook: Rulebook
) -> BenchRanges:
    kind = RELIEF_KINDS[each.component.kind]
    bench = Bench(kind, each.installation.exactly("set_psig"))
    opens = opening_range(spec, bench, rulebook)
    tight = vapor_tight(spec, bench, rulebook)
    setting = setting_range(spec, kind, built_on, rulebook)
    told = (reason for found in (opens, tight, setting) for reason in found.reasons)
    sentences = [f"{each.text} ({each.citation})" if each.citation else each.text for each in told]
    return BenchRanges(
        _between(opens), _between(tight), _between(setting), list(dict.fromkeys(sentences))
    )


def _between(allowed: Range) -> Between:
    least, most = allowed.least_psig, allowed.most_psig
    return Between(
        None if least is None else at_least(least), None if most is None else at_most(most)
    )

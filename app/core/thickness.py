"""Required thickness, the lines C, D and E, and the verdict on what was measured (180.509(f), (g); part 179).

Inches as exact fractions. B is the required minimum, F the allowance: C = B - F/2, D = B - F, E = D - 1/16.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from fractions import Fraction
from functools import lru_cache
from typing import NamedTuple

from app.core.facts import (
    OWNER_JUDGED_ZONES,
    SHELL_AND_HEAD_ZONES,
    Confidence,
    Event,
    Extent,
    Reading,
    Reason,
    Required,
    Tank,
    Verdict,
    ZoneThickness,
)
from app.core.rule import Allowance, PlateNote, Rule, Rulebook, SpecificationRow, marked
from app.core.stencil import Specification

# From the worst to the best; the worst reading decides a zone.
_WORST_FIRST: tuple[Verdict, ...] = ("condemned", "at_or_below_c", "above_c")


@dataclass(frozen=True, slots=True)
class Lines:
    """The lines of one zone and what asked for them. `firm` says that B cannot be more than it is here (rule 6)."""

    required: Fraction | None
    c: Fraction | None
    d: Fraction | None
    e: Fraction | None
    firm: bool
    reasons: tuple[Reason, ...]
    confidence: Confidence
    sources: tuple[Required, ...] = ()


class Measured(NamedTuple):
    """A reading with the day it was taken, and whether that was a full thickness test."""

    on: date
    reading: Reading
    full: bool
    month_only: bool = False


def inches(value: Fraction) -> str:
    """Inches for people, rounded half up to five decimals: 0.47222."""
    return f"{rounded(value):g}"


def rounded(value: Fraction) -> float:
    """`value` rounded half up to five decimals, as the nearest float."""
    # Whole numbers throughout: an answer rounds twenty of these.
    return (200_000 * value.numerator + value.denominator) // (2 * value.denominator) / 100_000


def tensile(tank: Tank, rulebook: Rulebook) -> tuple[Fraction | None, Confidence]:
    """Tensile strength in psi, as given or the material's; of both the lesser, which asks for more plate."""
    material = rulebook.materials.get(tank.material or "")
    if material is None:
        return tank.tensile_psi, "verified"
    if tank.tensile_psi is not None and tank.tensile_psi < material.tensile_psi:
        return tank.tensile_psi, "verified"
    return material.tensile_psi, material.confidence


@lru_cache(maxsize=8192)
def all_lines(spec: Specification, tank: Tank, rulebook: Rulebook) -> dict[str, Lines]:
    """The lines of every shell and head zone."""
    return {zone: lines(spec, tank, zone, rulebook) for zone in SHELL_AND_HEAD_ZONES}


def lines(spec: Specification, tank: Tank, zone: str, rulebook: Rulebook) -> Lines:
    """Required thickness and lines of one shell or head zone."""
    candidates = [found for found in (
        _table(spec.row, tank, rulebook),
        _formula(spec, tank, zone, rulebook),
        _owner_minimum(tank, zone, rulebook),
    ) if found]  # fmt: skip
    if not candidates:
        return Lines(None, None, None, None, False, (_no_requirement(spec),), "verified")
    # The first of those that ask for the most, so that exactly one governs.
    most = max(candidates, key=lambda each: each.inches)
    sources = tuple(replace(each, governs=each is most) for each in candidates)
    required, firm = most.inches, _firm(tank, zone, rulebook)
    reasons = (*(each.reason for each in sources), _governing(most, len(sources), firm))
    confidence: Confidence = (
        "memory" if any(each.confidence == "memory" for each in sources) else "verified"
    )
    allowance = _allowance(spec.test_psig, zone, rulebook)
    if allowance is None:
        reasons += (Reason("The marked test pressure is not known, so no allowance and no lines"),)
        return Lines(required, None, None, None, firm, reasons, confidence, sources)
    rule = rulebook.rule("allowance")
    c, d = required - allowance / 2, required - allowance
    e = d - rule.limit("local_extra_in")
    told = _sums_told(spec, allowance, rule)
    return Lines(required, c, d, e, firm, (*reasons, told), confidence, sources)


def _governing(most: Required, of: int, firm: bool) -> Reason:
    """Which of them makes B, and whether more could be asked for."""
    only = "alone makes" if of == 1 else "asks for the most and makes"
    text = f"{_SOURCES[most.source]} {only} B {inches(most.inches)} in"
    if firm:
        return Reason(text, part="counted")
    wanted = "the owner's minimum, or diameter and material, would make it firm"
    return Reason(f"{text}, which is not firm: {wanted}", part="assumed")


def _sums_told(spec: Specification, allowance: Fraction, rule: Rule) -> Reason:
    assert spec.test_psig is not None
    text = (
        f"The allowance F is {inches(allowance)} in at a marked test pressure of {float(spec.test_psig):g} psig: "
        f"C is B less half of it, D is B less F, E is {inches(rule.limit('local_extra_in'))} in less than D"
    )
    return Reason(text, rule.citation, "counted")


_SOURCES = {
    "table": "The table",
    "formula": "The plate formula",
    "owner": "The owner's design minimum",
}


def _usable(row: SpecificationRow | None) -> SpecificationRow | None:
    """The table row, unless it speaks of an inner tank."""
    return None if row is None or row.inner_tank_only else row


def _table(row: SpecificationRow | None, tank: Tank, rulebook: Rulebook) -> Required | None:
    row = _usable(row)
    if row is None or row.plate_in is None:
        return None
    strength, confidence = tensile(tank, rulebook)
    noted = {
        note.plate_in: told
        for note in row.plate_notes
        if (told := _noted(note, strength, tank.inside_diameter_in))
    }
    plate = min([row.plate_in, *noted])
    confidence = confidence if noted else "verified"
    text = f"The table asks for {inches(plate)} in for {_named(row)}"
    if plate in noted:
        text += f", by its note for {noted[plate]}, instead of {inches(row.plate_in)} in"
    reason = Reason(marked(text, confidence), row.citation, "counted")
    return Required("table", plate, reason, confidence)


def _named(row: SpecificationRow) -> str:
    parts = (f"class {row.class_}", row.pressure and f"{row.pressure} psig", row.material)
    return ", ".join(str(part) for part in parts if part)


def _noted(note: PlateNote, strength: Fraction | None, diameter: Fraction | None) -> str:
    """What of the tank a note of the table is for; empty when it is not for this one."""
    if note.tensile_psi is not None and strength is not None and strength >= note.tensile_psi:
        return f"steel of at least {note.tensile_psi} psi (this one {float(strength):g} psi)"
    if (
        note.inside_diameter_in is not None
        and diameter is not None
        and diameter <= note.inside_diameter_in
    ):
        return f"an inside diameter of at most {note.inside_diameter_in} in"
    return ""


def _formula(spec: Specification, tank: Tank, zone: str, rulebook: Rulebook) -> Required | None:
    row = _usable(spec.row)
    strength, confidence = tensile(tank, rulebook)
    if row is None or row.burst_psig is None or strength is None or tank.inside_diameter_in is None:
        return None
    rule = rulebook.rule(
        "plate_formula_pressure" if spec.class_kind == "pressure" else "plate_formula"
    )
    efficiency = tank.joint_efficiency or rule.limit("joint_efficiency")
    plate = row.burst_psig * tank.inside_diameter_in / (2 * strength * efficiency)
    if zone.startswith("head") and tank.head_shape == "3:1":
        rule, confidence = rulebook.rule("plate_formula_head"), "memory"
        plate *= rule.limit("factor")
    text = (
        f"The plate formula asks for {inches(plate)} in: burst {row.burst_psig} psig, inside diameter "
        f"{float(tank.inside_diameter_in):g} in, tensile strength {float(strength):g} psi, "
        f"joint efficiency {float(efficiency):g}"
    )
    if zone.startswith("head") and tank.head_shape == "3:1":
        text += f", and {float(rule.limit('factor')):g} times that for a 3:1 head"
    reason = Reason(marked(text, confidence), rule.citation, "counted")
    return Required("formula", plate, reason, confidence)


def _owner_minimum(tank: Tank, zone: str, rulebook: Rulebook) -> Required | None:
    given = dict(tank.required_thickness_in).get(zone)
    if given is None:
        return None
    rule = rulebook.rule("owner_minimum")
    told = Reason(f"The owner's design minimum is {inches(given)} in", rule.citation, "counted")
    return Required("owner", given, told, "verified")


def _firm(tank: Tank, zone: str, rulebook: Rulebook) -> bool:
    given = zone in dict(tank.required_thickness_in)
    return given or (tank.inside_diameter_in is not None and tensile(tank, rulebook)[0] is not None)


def _no_requirement(spec: Specification) -> Reason:
    if spec.row and spec.row.inner_tank_only:
        return Reason(
            "The table is the inner tank's; the owner's minimum for this zone is wanted",
            spec.row.citation,
        )
    return Reason(
        "No table gives a required thickness for this specification; the owner's minimum is wanted",
        spec.family.citation,
    )


def _allowance(test_psig: Fraction | None, zone: str, rulebook: Rulebook) -> Fraction | None:
    if test_psig is None:
        return None
    row = next((row for row in rulebook.allowances if _covers(row, test_psig)), None)
    if row is None:
        return None
    return row.bottom_in if zone == "shell_bottom" else row.top_and_heads_in


def _covers(row: Allowance, psig: Fraction) -> bool:
    return psig >= row.from_psig and (row.below_psig is None or psig < row.below_psig)


# What was measured ------------------------------------------------------------------------------------------------


def measured(events: Iterable[Event]) -> dict[str, list[Measured]]:
    """By zone: the readings of its latest thickness test, and all taken otherwise on or after that day."""
    taken: dict[str, list[Measured]] = {}
    for event in events:
        for reading in event.readings:
            taken.setdefault(reading.zone, []).append(
                Measured(event.on, reading, "thickness" in event.items, event.month_only)
            )
    return {zone: _latest(readings) for zone, readings in taken.items()}


def _latest(readings: list[Measured]) -> list[Measured]:
    last_test = max((one.on for one in readings if one.full), default=date.min)
    return [one for one in readings if (one.on == last_test if one.full else one.on >= last_test)]


def zone_thickness(
    zone: str, line: Lines, readings: Sequence[Measured], rulebook: Rulebook
) -> ZoneThickness:
    """A zone against its lines: the worst of its readings, or `not_measured`, or `unknown` without lines.

    Spot checks may lower the verdict, never raise it: without a full test they count only at or below line C.
    """
    if line.c is None:
        least = min(readings, key=lambda one: one.reading.inches, default=None)
        return _shown(zone, "unknown", line, least)
    judged = [_judged(one, line, rulebook) for one in readings]
    judged = [one for one in judged if one.measured.full or one.verdict != "above_c"]
    if not judged:
        return _shown(zone, "not_measured", line, None)
    worst = min(judged, key=_worst_first)
    return _shown(zone, worst.verdict, line, worst.measured, worst.extent, worst.reasons)


def _shown(
    zone: str,
    verdict: Verdict,
    line: Lines,
    measured: Measured | None,
    extent: Extent | None = None,
    reasons: tuple[Reason, ...] = (),
) -> ZoneThickness:
    lines, told = (line.required, line.c, line.d, line.e), line.reasons + reasons
    if measured is None:
        return ZoneThickness(zone, verdict, *lines, reasons=told, sources=line.sources)
    read = measured.reading
    return ZoneThickness(
        zone, verdict, *lines, read.inches, measured.on, extent or read.extent, told, line.sources,
        measured.month_only,
    )  # fmt: skip


def zones_shown(
    lines: Mapping[str, Lines], events: Iterable[Event], rulebook: Rulebook
) -> tuple[ZoneThickness, ...]:
    """All shell and head zones, then the owner-judged ones that were read."""
    taken = measured(events)
    judged = [
        zone_thickness(zone, line, taken.get(zone, ()), rulebook) for zone, line in lines.items()
    ]
    owner_judged = [
        _owner_judged(zone, taken[zone], rulebook) for zone in OWNER_JUDGED_ZONES if zone in taken
    ]
    return (*judged, *owner_judged)


def surely_above_c(zone: ZoneThickness, line: Lines) -> bool:
    """Is nothing left that could put this zone at or below line C (rule 6)?"""
    return zone.verdict == "above_c" and line.firm


class _Judged(NamedTuple):
    verdict: Verdict
    measured: Measured
    extent: Extent
    reasons: tuple[Reason, ...]


def _worst_first(one: _Judged) -> tuple[int, Fraction, date]:
    return _WORST_FIRST.index(one.verdict), one.measured.reading.inches, one.measured.on


def _judged(one: Measured, line: Lines, rulebook: Rulebook) -> _Judged:
    extent, reasons = judged_extent(one.reading, rulebook)
    condemning = line.e if extent == "local" else line.d
    assert condemning is not None
    assert line.c is not None
    value = one.reading.inches
    if value < condemning:
        name = "E, the local" if extent == "local" else "D, the general"
        text = f"{inches(value)} in is below line {name} condemning line, {inches(condemning)} in"
        told = Reason(text, rulebook.rule("condemned").citation)
        return _Judged("condemned", one, extent, (*reasons, told))
    if value <= line.c:
        text = f"{inches(value)} in is at or below line C, {inches(line.c)} in"
        told = Reason(text, rulebook.rule("thickness_thin").citation)
        return _Judged("at_or_below_c", one, extent, (*reasons, told))
    return _Judged("above_c", one, extent, reasons)


def judged_extent(reading: Reading, rulebook: Rulebook) -> tuple[Extent, tuple[Reason, ...]]:
    """Local only when small enough and far enough from the next reduction (180.509(g)); else general."""
    if reading.extent == "general":
        return "general", ()
    rule = rulebook.rule("allowance")
    span, apart = rule.limit("local_span_in"), rule.limit("local_apart_in")
    if reading.span_in is None or reading.apart_in is None:
        told = "how far it spans or how far it lies from the next is not known"
    elif reading.span_in > span:
        told = f"it spans {float(reading.span_in):g} in, more than {span}"
    elif reading.apart_in < apart:
        told = f"the next reduction is {float(reading.apart_in):g} in away, less than {apart}"
    else:
        return "local", ()
    return "general", (Reason(f"Judged as general, since {told}", rule.citation),)


def _owner_judged(zone: str, readings: Sequence[Measured], rulebook: Rulebook) -> ZoneThickness:
    """The least that was read where no line judges it."""
    least = min(readings, key=lambda one: one.reading.inches)
    reasons = (rulebook.rule("owner_judged").reason,)
    return _shown(zone, "owner_judged", _NO_LINES, least, reasons=reasons)


_NO_LINES = Lines(None, None, None, None, False, (), "verified")

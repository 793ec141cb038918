"""Drawings beside the tables: where the parts of a thickness scale lie, and the same in words.

Lengths in are inches as exact fractions; lengths out are the drawing's own units (0 to `WIDTH`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from app.core.facts import ZoneThickness
from app.core.thickness import inches as shown

WIDTH = 400
# Room left and right of the outermost mark, so that its label is not cut.
MARGIN = 40
# Labels closer than this run into each other; the later one goes a row higher.
CROWDED = 74


@dataclass(frozen=True, slots=True)
class Tick:
    """A line of the scale: its letter, its inches, where it lies, and the row of its label."""

    letter: str
    inches: Fraction
    x: float
    row: int = 0


@dataclass(frozen=True, slots=True)
class ZoneScale:
    """A zone drawn from thin (left) to thick (right). `condemned_to` ends the condemned band."""

    zone: ZoneThickness
    ticks: tuple[Tick, ...]
    reading_x: float | None
    condemned_to: float | None
    margin: str


def zone_scales(zones: Sequence[ZoneThickness]) -> tuple[ZoneScale, ...]:
    """One scale for all zones, so that a thinner shell is seen to be thinner."""
    ends = _ends(zones)
    return tuple(_scale(zone, ends) for zone in zones)


def margin_in_words(zone: ZoneThickness) -> str:
    """How far the zone is from the line that matters next (180.509(f), figure A)."""
    reading, limit, line_c = zone.reading_in, condemning(zone), zone.line_c_in
    if reading is None:
        return "Not measured"
    if limit is None or line_c is None:
        return "No line to judge it by"
    letter = "E" if zone.extent == "local" else "D"
    if reading < limit:
        return f"{shown(limit - reading)} in below line {letter}, condemned"
    if reading > line_c:
        return f"{shown(reading - line_c)} in above line C"
    to_c = "At line C" if reading == line_c else f"{shown(line_c - reading)} in below line C"
    to_limit = "at" if reading == limit else f"{shown(reading - limit)} in above"
    return f"{to_c}, {to_limit} line {letter}"


def condemning(zone: ZoneThickness) -> Fraction | None:
    """The line below which this zone is condemned: E for a local reading, else D."""
    return zone.line_e_in if zone.extent == "local" else zone.line_d_in


def _lines(zone: ZoneThickness) -> list[tuple[str, Fraction]]:
    named = (
        ("E", zone.line_e_in),
        ("D", zone.line_d_in),
        ("C", zone.line_c_in),
        ("B", zone.required_in),
    )
    return [(letter, inches) for letter, inches in named if inches is not None]


def _ends(zones: Sequence[ZoneThickness]) -> tuple[Fraction, Fraction] | None:
    marks = [inches for zone in zones for _, inches in _lines(zone)]
    marks += [zone.reading_in for zone in zones if zone.reading_in is not None]
    if not marks:
        return None
    low, high = min(marks), max(marks)
    return (low, high) if low < high else (low - Fraction(1, 16), high + Fraction(1, 16))


def _scale(zone: ZoneThickness, ends: tuple[Fraction, Fraction] | None) -> ZoneScale:
    margin = margin_in_words(zone)
    if ends is None:
        return ZoneScale(zone, (), None, None, margin)
    limit = condemning(zone)
    return ZoneScale(
        zone=zone,
        ticks=_ticks(zone, ends),
        reading_x=None if zone.reading_in is None else _place(zone.reading_in, ends),
        condemned_to=None if limit is None else _place(limit, ends),
        margin=margin,
    )


def _ticks(zone: ZoneThickness, ends: tuple[Fraction, Fraction]) -> tuple[Tick, ...]:
    """The lines from thin to thick, each label in the lowest row where it touches none before it."""
    ticks: list[Tick] = []
    for letter, inches in _lines(zone):
        x = _place(inches, ends)
        crowded = {tick.row for tick in ticks if x - tick.x < CROWDED}
        row = next(row for row in range(len(ticks) + 1) if row not in crowded)
        ticks.append(Tick(letter, inches, x, row))
    return tuple(ticks)


def _place(inches: Fraction, ends: tuple[Fraction, Fraction]) -> float:
    low, high = ends
    return round(MARGIN + float((inches - low) / (high - low)) * (WIDTH - 2 * MARGIN), 1)

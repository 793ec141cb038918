"""A thickness reading of a report against its lines, by the very rules by which the calculator judges a zone."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from fractions import Fraction

from app.core.facts import Extent, Reading, Reason, Verdict
from app.core.field.report import Says
from app.core.measure import exact, read
from app.core.rule import Rulebook
from app.core.thickness import Lines, Measured, inches, zone_thickness


@dataclass(frozen=True, slots=True)
class ReadingVerdict:
    """`margin` is inches above line C, or where it is not above C above the line that condemns; None without lines."""

    reading: Reading
    verdict: Verdict
    extent: Extent
    margin: Fraction | None
    reasons: tuple[Reason, ...]

    @property
    def margin_in_words(self) -> str:
        """Such as "0.031 in above line C"; empty where no line judges it."""
        if self.margin is None:
            return ""
        line = "C" if self.verdict == "above_c" else "E" if self.extent == "local" else "D"
        if self.margin == 0:
            return f"at line {line}"
        where = "above" if self.margin > 0 else "below"
        return f"{inches(abs(self.margin))} in {where} line {line}"


def reading_of(says: Says) -> Reading:
    """A reading as an entry states it."""
    return Reading(
        says["zone"], exact(read(says["inches"])), says["extent"],
        _or_none(says["span_in"]), _or_none(says["apart_in"]),
    )  # fmt: skip


def judged(says: Says, lines: Mapping[str, Lines], rulebook: Rulebook) -> ReadingVerdict:
    """One reading by itself; a zone without lines is its owner's to judge, or unknown."""
    reading = reading_of(says)
    line = lines.get(reading.zone)
    if line is None:
        return ReadingVerdict(reading, "owner_judged", reading.extent, None, ())
    found = zone_thickness(
        reading.zone, line, [Measured(date.min, reading, full=True)], rulebook
    )  # fmt: skip
    extent = found.extent or reading.extent
    against = line.c if found.verdict == "above_c" else line.e if extent == "local" else line.d
    margin = None if against is None else reading.inches - against
    told = tuple(each for each in found.reasons if each not in line.reasons)
    return ReadingVerdict(reading, found.verdict, extent, margin, told)


def _or_none(value: str | None) -> Fraction | None:
    return None if value is None else exact(read(value))

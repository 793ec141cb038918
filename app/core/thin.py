"""Why the thickness interval of an unlined tank is what it is, and what would make it another (180.509(f)(2)).

Words only: the interval itself is decided in items.py.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from functools import lru_cache

from app.core.facts import Part, Reason, Verdict, ZoneThickness
from app.core.lading import Corrosive
from app.core.rule import Rulebook
from app.core.words import label, sentence

# Measured thin; the others only count as thin, because something is not known.
_MEASURED: tuple[Verdict, ...] = ("condemned", "at_or_below_c")
_TOLD: dict[Verdict, str] = {
    "condemned": "is below its condemning line",
    "at_or_below_c": "is at or below line C",
    "not_measured": "was never measured: counted as at line C, the safe side",
    "unknown": "has no line C to compare with: counted as at line C, the safe side",
    "above_c": "reads above line C, but its required thickness is not firm without diameter and material, "
    "or the owner's minimum: counted as at line C, the safe side",
}  # fmt: skip
_WANTED: dict[Verdict, str] = {
    "not_measured": "a reading surely above line C at {zones}",
    "unknown": "the owner's minimum for {zones}, which gives a line C, and a reading above it",
    "above_c": "the owner's minimum for {zones}, or diameter and material, which make line C firm, "
    "if the reading is above it then",
}  # fmt: skip

_Thin = tuple[tuple[str, Verdict], ...]


@lru_cache
def why_thin(zone: str, verdict: Verdict, citation: str) -> Reason:
    """Why a zone counts as at or below line C."""
    part: Part = "counted" if verdict in _MEASURED else "assumed"
    return Reason(f"{sentence(zone)} {_TOLD[verdict]}", citation, part)


def would_change(
    thin: Sequence[ZoneThickness], corrosive: Corrosive, rulebook: Rulebook
) -> tuple[Reason, ...]:
    """What would make the interval the other one; `thin` are the zones not surely above line C."""
    zones: _Thin = tuple((zone.zone, zone.verdict) for zone in thin)
    return _would_change(zones, corrosive.yes, corrosive.assumed, rulebook)


@lru_cache
def _would_change(
    thin: _Thin, corrosive: bool, assumed: bool, rulebook: Rulebook
) -> tuple[Reason, ...]:
    long, short = rulebook.rule("thickness"), rulebook.rule("thickness_thin")
    told: list[str] = []
    if corrosive and thin:
        if assumed:
            told.append(
                "A stated “not corrosive or reactive to the tank” would make it "
                f"{long.months} months"
            )
        told.append(_longer(thin, long.months))
    elif corrosive:
        told.append(
            f"A reading at or below line C in shell or heads would make it {short.months} months"
        )
    elif thin:
        told.append(
            f"A lading corrosive or reactive to the tank would make it {short.months} months, since "
            f"{_listed(zone for zone, _ in thin)} {'is' if len(thin) == 1 else 'are'} "
            "not surely above line C"
        )
    return tuple(Reason(text, short.citation, "would_change") for text in told)


def _longer(thin: _Thin, months: int) -> str:
    measured = [zone for zone, verdict in thin if verdict in _MEASURED]
    if measured:
        return (
            f"With {_listed(measured)} measured at or below line C, only a lading that is not "
            f"corrosive or reactive to the tank makes it {months} months"
        )
    wanted = [
        text.format(zones=_listed(zone for zone, found in thin if found == verdict))
        for verdict, text in _WANTED.items()
        if any(found == verdict for _, found in thin)
    ]
    return f"Wanted for {months} months: {'; and '.join(wanted)}"


def _listed(zones: Iterable[str]) -> str:
    *first, last = map(label, zones)
    return f"{', '.join(first)} and {last}" if first else last

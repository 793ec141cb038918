"""Why the thickness interval of an unlined tank is what it is, and what would make it another (180.509(f)(2)).

Words only: the interval itself is decided in items.py.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from functools import lru_cache

from app.core.facts import Part, Reason, Verdict, ZoneThickness
from app.core.lading import Corrosive
from app.core.rule import Rule, Rulebook
from app.core.words import capitalized, label

_SAFE = "counted as at line C, the safe side"
_NOT_FIRM = (
    f"required thickness is not firm without diameter and material, or the owner's minimum: {_SAFE}"
)
# Measured thin; the others only count as thin, because something is not known.
_MEASURED: tuple[Verdict, ...] = ("condemned", "at_or_below_c")
# Of one zone and of several.
_TOLD: dict[Verdict, tuple[str, str]] = {
    "condemned": ("is below its condemning line", "are below their condemning lines"),
    "at_or_below_c": ("is at or below line C", "are at or below line C"),
    "not_measured": (f"was never measured: {_SAFE}", f"were never measured: {_SAFE}"),
    "unknown": (f"has no line C to compare with: {_SAFE}", f"have no line C to compare with: {_SAFE}"),
    "above_c": (f"reads above line C, but its {_NOT_FIRM}", f"read above line C, but their {_NOT_FIRM}"),
}  # fmt: skip
_WANTED: dict[Verdict, str] = {
    "not_measured": "a reading surely above line C at {zones}",
    "unknown": "the owner's minimum for {zones}, which gives a line C, and a reading above it",
    "above_c": "the owner's minimum for {zones}, or diameter and material, which make line C firm, "
    "if the reading is above it then",
}  # fmt: skip

_Thin = tuple[tuple[str, Verdict], ...]


def why_thin(thin: Iterable[ZoneThickness], citation: str) -> tuple[Reason, ...]:
    """Why these zones count as at or below line C: a sentence for each why."""
    alike: dict[Verdict, tuple[str, ...]] = {}
    for zone in thin:
        alike[zone.verdict] = (*alike.get(zone.verdict, ()), zone.zone)
    return tuple(_why_thin(zones, verdict, citation) for verdict, zones in alike.items())


@lru_cache
def _why_thin(zones: tuple[str, ...], verdict: Verdict, citation: str) -> Reason:
    part: Part = "counted" if verdict in _MEASURED else "assumed"
    told = _TOLD[verdict][len(zones) > 1]
    return Reason(f"{capitalized(_listed(zones))} {told}", citation, part)


@lru_cache
def above_c(rule: Rule) -> Reason:
    """Why the longer interval holds whatever the lading: no zone is thin."""
    text = (
        f"Shell and heads read above line C in all zones, so {rule.months} months, "
        "be the lading corrosive or not"
    )
    return Reason(text, rule.citation, "counted")


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
    elif not thin:
        told.append(
            "A reading at or below line C in shell or heads, and with it a lading corrosive or reactive to the "
            f"tank, would make it {short.months} months"
        )
    else:
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

"""Is a lading corrosive or reactive to the tank or its service equipment (180.503, Appendix D to part 180)?"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import lru_cache

from app.core.facts import Confidence, Reason, Service
from app.core.rule import CorrosiveList, Rulebook

_SEPARATORS = re.compile(r"[^a-z0-9]+")


def name_words(name: str) -> tuple[str, ...]:
    """A lading's name as it is compared: lower case, `sulph` as `sulf`, letters and digits in whole words."""
    return tuple(_SEPARATORS.sub(" ", name.lower().replace("sulph", "sulf")).split())


_STATED_YES = Reason("The lading is stated to be corrosive or reactive to the tank", part="counted")
_STATED_NO = Reason(
    "The lading is stated not to be corrosive or reactive to the tank", part="counted"
)


@dataclass(frozen=True, slots=True)
class Corrosive:
    """Yes or no, why, and what of it the owner should look at again; `assumed` when nobody stated it."""

    yes: bool
    reasons: tuple[Reason, ...]
    warnings: tuple[Reason, ...] = ()
    confidence: Confidence = "verified"
    assumed: bool = False


@lru_cache(maxsize=4096)
def corrosive(service: Service, rulebook: Rulebook) -> Corrosive:
    """Yes when stated, listed or fast; no only when stated; not stated counts as yes, the safe side."""
    hits = _hits(service, rulebook)
    if hits:
        confidence: Confidence = "verified" if _sure(service, rulebook) else "memory"
        return Corrosive(True, hits, _contradicted(service), confidence)
    slow = _slow(service, rulebook)
    if service.corrosive_or_reactive:
        return Corrosive(True, (_STATED_YES, *slow))
    if service.corrosive_or_reactive is False:
        return Corrosive(False, (_STATED_NO, *slow))
    assumed = "Whether the lading is corrosive or reactive to the tank is not stated: assumed that it is, the safe side"
    told = Reason(assumed, rulebook.rule("corrosive_rate").citation, "assumed")
    return Corrosive(True, (told, *slow), assumed=True)


def on_list(commodity: str | None, listed: CorrosiveList) -> bool:
    """Does the name begin, in whole words, with a listed name?"""
    words = name_words(commodity or "")
    return any(words[: len(name)] == name for name in listed.names)


def _fast(service: Service, rulebook: Rulebook) -> bool:
    rate = service.corrosion_rate_mil_per_year
    return rate is not None and rate > rulebook.rule("corrosive_rate").limit("mil_per_year")


def _slow(service: Service, rulebook: Rulebook) -> tuple[Reason, ...]:
    """That a rate is stated and alone makes nothing corrosive."""
    rule, rate = rulebook.rule("corrosive_rate"), service.corrosion_rate_mil_per_year
    if rate is None:
        return ()
    limit = rule.limit("mil_per_year")
    text = f"Its corrosion rate, {_mils(rate)}, is not above {float(limit):g}, so by that alone it is not"
    return (rule.because(text, "counted"),)


def _hits(service: Service, rulebook: Rulebook) -> tuple[Reason, ...]:
    checks = (
        ("corrosive_list", on_list(service.commodity, rulebook.corrosive)),
        ("corrosive_un", service.un in rulebook.corrosive.un_numbers),
    )
    hits = tuple(replace(rulebook.rule(name).reason, part="counted") for name, hit in checks if hit)
    return (*hits, *_rate_told(service, rulebook)) if _fast(service, rulebook) else hits


def _rate_told(service: Service, rulebook: Rulebook) -> tuple[Reason, ...]:
    rule, rate = rulebook.rule("corrosive_rate"), service.corrosion_rate_mil_per_year
    assert rate is not None
    text = f"{rule.text}; this one {_mils(rate)}, beside {float(rule.limit('mil_per_year')):g}"
    return (rule.because(text, "counted"),)


def _mils(rate: Fraction) -> str:
    return f"{float(rate):g} mil a year"


def _sure(service: Service, rulebook: Rulebook) -> bool:
    """Is it corrosive also without the UN numbers, which are from memory, and is `yes` so the answer anyway?"""
    return (
        service.corrosive_or_reactive is not False
        or on_list(service.commodity, rulebook.corrosive)
        or _fast(service, rulebook)
    )


def _contradicted(service: Service) -> tuple[Reason, ...]:
    if service.corrosive_or_reactive is not False:
        return ()
    text = (
        "The lading is stated not to be corrosive, but the list or its corrosion rate says that it is: "
        "counted as corrosive"
    )
    return (Reason(text),)

"""Is a lading corrosive or reactive to the tank or its service equipment (180.503, Appendix D to part 180)?"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
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
    if service.corrosive_or_reactive:
        return Corrosive(True, (_STATED_YES,))
    if service.corrosive_or_reactive is False:
        return Corrosive(False, (_STATED_NO,))
    assumed = "Whether the lading is corrosive or reactive to the tank is not stated: assumed that it is, the safe side"
    told = Reason(assumed, rulebook.rule("corrosive_rate").citation, "assumed")
    return Corrosive(True, (told,), assumed=True)


def on_list(commodity: str | None, listed: CorrosiveList) -> bool:
    """Does the name begin, in whole words, with a listed name?"""
    words = name_words(commodity or "")
    return any(words[: len(name)] == name for name in listed.names)


def _fast(service: Service, rulebook: Rulebook) -> bool:
    rate = service.corrosion_rate_mil_per_year
    return rate is not None and rate > rulebook.rule("corrosive_rate").limit("mil_per_year")


def _hits(service: Service, rulebook: Rulebook) -> tuple[Reason, ...]:
    checks = (
        ("corrosive_list", on_list(service.commodity, rulebook.corrosive)),
        ("corrosive_un", service.un in rulebook.corrosive.un_numbers),
        ("corrosive_rate", _fast(service, rulebook)),
    )
    return tuple(replace(rulebook.rule(name).reason, part="counted") for name, hit in checks if hit)


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

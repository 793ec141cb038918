"""Directives in words: what a condition asks for, how a match came to be one, what came of it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from app.core.words import capitalized, label

ORDERED_BY = {
    "authority": "An authority", "maker": "The maker", "owner": "The owner itself",
}  # fmt: skip
OUTCOMES = {
    "nothing_found": "Checked, nothing found",
    "mended": "Found and mended",
    "not_concerned": "Checked, it is none of those meant",
    "gone": "The component is on this car no more",
}
FOUND = {
    "frozen": "on the frozen day",
    "recorded_later": "on the frozen day, recorded later",
    "later": "came to match later",
    "followed": "the component came from another car",
}
STATES = {
    "open": "open", "overdue": "overdue", "by_hand": "to be looked at by hand",
    "elsewhere": "component gone elsewhere", "closed": "closed",
    "left": "on cars that left the register",
}  # fmt: skip
FIELDS = {
    "specification": "Specification begins with",
    "design": "Design",
    "builder": "Builder",
    "built_from": "Built from",
    "built_to": "Built until",
    "built_on": "Built",
    "material": "Material of the tank",
    "un": "UN number",
    "lading": "Lading",
    "owner": "Owner",
    "lining": "Lining",
    "kind": "Kind of component",
    "maker": "Maker",
    "model": "Model",
    "lot": "Lot",
    "serial_from": "Serial from",
    "serial_to": "Serial to",
    "serial": "Serial",
}


_SHORT = {"specification": "specification", "un": "UN number"}


def condition_in_words(kept: Mapping[str, Any]) -> list[tuple[str, str]]:
    """Each field that the condition asks for, and what for; `kept` is what `Condition.stated` gave."""
    return [(name, _value(field, kept[field])) for field, name in FIELDS.items() if field in kept]


def why_in_words(why: Iterable[Iterable[str]]) -> str:
    """The facts that matched, as a list."""
    return ", ".join(_told(name, value) for name, value in why)


def _told(name: str, value: str) -> str:
    if name == "kind":
        return label(value)
    return f"{_SHORT.get(name, FIELDS[name].lower())} {value}"


def _value(field: str, value: str) -> str:
    return capitalized(label(value)) if field == "kind" else value

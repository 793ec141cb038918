"""The trade's words for our names: one place for what reasons, pages and messages call an item, a zone or a verdict."""

from __future__ import annotations

from datetime import date

# What a table's cell or heading says.
_LABELS = {
    "visual": "visual inspection",
    "bottom_outlet": "bottom outlet valve",
    "service_end": "end of service",
    "head_a": "A-end head",
    "head_b": "B-end head",
    "at_or_below_c": "at or below line C",
    "above_c": "above line C",
    "owner_judged": "judged by the owner",
    "pass": "passed",
    "fail": "failed",
}
# What a sentence calls the work that is done for an item.
_WORK = {
    "structural_integrity": "structural integrity inspection",
    "safety_systems": "safety systems inspection",
    "thickness": "thickness test",
    "lining": "lining inspection",
    "service_equipment": "service equipment qualification",
    "relief_device": "relief device qualification",
    "rupture_disc": "rupture disc replacement",
    "leakage": "leakage test",
    "air_brake": "air brake test",
    "service_end": "end of service for this lading",
}


def label(name: str) -> str:
    """A name of ours in plain English, short: `due_now` is "due now", `head_a` is "A-end head"."""
    return _LABELS.get(name) or name.replace("_", " ")


def words(name: str) -> str:
    """The same within a sentence, where an item is the work done for it: `thickness` is "thickness test"."""
    return _WORK.get(name) or label(name)


def on_or_in(first: date | None, last: date | None) -> str:
    """`on` a day, or `in` a month where the day can have been any from `first` to `last`."""
    return f"in {first:%Y-%m}" if first and last and last != first else f"on {first}"


def noun(count: int, one: str, many: str | None = None) -> str:
    """The word for so many of something: 1 "day", 12 "days"."""
    return one if count == 1 else many or f"{one}s"


def counted(count: int, one: str, many: str | None = None) -> str:
    """So many of something within a sentence: "1 day", "12 days"."""
    return f"{count} {noun(count, one, many)}"


def capitalized(text: str) -> str:
    """A capital at its front, the rest as it is."""
    return text[:1].upper() + text[1:]


def sentence(name: str) -> str:
    """`words` to begin a sentence with."""
    return capitalized(words(name))

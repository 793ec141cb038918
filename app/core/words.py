"""The trade's words for items and changes, as sentences and pages use them."""

from __future__ import annotations

_WORDS = {
    "visual": "visual inspection",
    "structural_integrity": "structural integrity inspection",
    "safety_systems": "safety systems inspection",
    "thickness": "thickness test",
    "lining": "lining inspection",
    "service_equipment": "service equipment qualification",
    "relief_device": "relief device qualification",
    "rupture_disc": "rupture disc replacement",
    "tank_retest": "tank retest",
    "leakage": "leakage test",
    "air_brake": "air brake test",
    "reflective_sheeting": "reflective sheeting",
    "age_limit": "age limit",
    "service_end": "end of service for this lading",
    "ordered_inspection": "inspection ordered by the agency",
    "repair_reducing_thickness": "repair, alteration, conversion or blasting",
}


def words(name: str) -> str:
    """An item, change or zone in plain English: `visual` is a visual inspection, `head_a` is head a."""
    return _WORDS.get(name) or name.replace("_", " ")


def sentence(name: str) -> str:
    """The same with a capital, to begin a sentence with."""
    text = words(name)
    return text[:1].upper() + text[1:]

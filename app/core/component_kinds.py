"""What a component can be. The register knows a relief device or service equipment by its kind alone."""

from __future__ import annotations

# A kind outside this list is refused: a misspelt relief device would be none to the calculator.
COMPONENT_KINDS = (
    "relief_valve", "relief_disc", "relief_combination", "relief_device", "valve", "gauge", "hatch",
    "manway", "coil", "thermometer_well", "sample_line", "vacuum_valve", "truck", "draft_gear",
    "coupler", "air_brake_valve", "bottom_outlet", "other",
)  # fmt: skip
# Words of the trade for the same, common practice, no source.
OTHER_COMPONENT_WORDS = {
    "rupture_disc": "relief_disc",
    "combination_relief_device": "relief_combination",
    "pressure_relief_valve": "relief_valve",
    "pressure_relief_device": "relief_device",
    "safety_valve": "relief_valve",
    "bottom_outlet_valve": "bottom_outlet",
    "ball_valve": "valve",
    "angle_valve": "valve",
    "heater_coil": "coil",
}


def kind_of(words: str) -> str:
    """A kind as it is kept: "Bottom outlet valve" is `bottom_outlet`. What is none of ours stays as it is."""
    named = words.lower().replace(" ", "_").replace("-", "_")
    return OTHER_COMPONENT_WORDS.get(named, named)

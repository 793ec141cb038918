"""The shape of an answer about due dates, as a JSON schema."""

from typing import Any

Schema = dict[str, Any]

STATUSES = ["due_now", "overdue", "soon", "in_date", "by_event", "unknown", "not_required"]
VERDICTS = ["condemned", "at_or_below_c", "above_c", "not_measured", "unknown", "owner_judged"]
ITEMS = [
    "visual",
    "structural_integrity",
    "safety_systems",
    "thickness",
    "lining",
    "service_equipment",
    "relief_device",
    "rupture_disc",
    "tank_retest",
    "leakage",
    "air_brake",
    "reflective_sheeting",
    "age_limit",
    "service_end",
]
ZONES = ["shell_top", "shell_bottom", "head_a", "head_b", "sump", "nozzle", "housing"]


def record(**properties: Schema) -> Schema:
    """An object with exactly these members."""
    return {
        "type": "object",
        "properties": properties,
        "required": list(properties),
        "additionalProperties": False,
    }


def several(items: Schema) -> Schema:
    return {"type": "array", "items": items}


def maybe(schema: Schema) -> Schema:
    return {"anyOf": [schema, {"type": "null"}]}


DAY = {"type": "string", "pattern": r"^\d{4}-\d{2}-\d{2}$"}
TEXT = {"type": "string", "minLength": 1}
WHOLE = {"type": "integer"}
INCHES = {"type": "number", "exclusiveMinimum": -1}
NOTES = several(record(text=TEXT, citation=maybe(TEXT)))

ITEM = record(
    item={"enum": ITEMS},
    status={"enum": STATUSES},
    due_on=maybe(DAY),
    days_left=maybe(WHOLE),
    basis_on=maybe(DAY),
    interval_months=maybe(WHOLE),
    calculated_due_on=maybe(DAY),
    confidence={"enum": ["verified", "memory"]},
    reasons={**NOTES, "minItems": 1},
)
ZONE = record(
    zone={"enum": ZONES},
    required_in=maybe(INCHES),
    line_c_in=maybe(INCHES),
    line_d_in=maybe(INCHES),
    line_e_in=maybe(INCHES),
    reading_in=maybe(INCHES),
    measured_on=maybe(DAY),
    extent=maybe({"enum": ["general", "local"]}),
    verdict={"enum": VERDICTS},
    reasons=NOTES,
)
ANSWER = record(
    car={"type": "string", "pattern": r"^[A-Z]{2,4} [1-9]\d{0,5}$"},
    as_of=DAY,
    rulebook=record(id={"const": "us-49cfr"}, edition=TEXT),
    items=several(ITEM),
    next=maybe(record(item={"enum": ITEMS}, due_on=DAY)),
    thickness=several(ZONE),
    loading=record(
        verdict={"enum": ["may_load", "check", "may_not_load"]}, reasons=NOTES, caution=TEXT
    ),
    warnings=NOTES,
)
FAULTS = record(error=record(faults=several(record(path={"type": "string"}, problem=TEXT))))

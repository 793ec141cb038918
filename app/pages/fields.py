"""The fields of every form about a car.

A field takes its reader, and its hint where none is given, from the column of a file that states
the same fact.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

from app.core.component_kinds import COMPONENT_KINDS
from app.core.facts import STENCILED_ITEMS
from app.core.words import capitalized, label
from app.files import cells, columns, days, measures
from app.files.columns import MATERIALS, Kind
from app.pages.forms import Choice, Control, Field, one_of
from app.store.tables import STANDINGS

COLUMNS = {(kind, each.name): each for kind in columns.KINDS for each in columns.COLUMNS[kind]}
YES_NO: tuple[Choice, ...] = (("yes", "yes"), ("no", "no"))
POSITIONS = (
    "top", "bottom", "B end", "A end", "left", "right",
    "B end left", "B end right", "A end left", "A end right",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Group:
    """Fields that belong together on a form."""

    legend: str
    fields: tuple[Field, ...]


def spoken(names: tuple[str, ...]) -> tuple[Choice, ...]:
    """Choices whose labels are our names in plain English."""
    return tuple((name, capitalized(label(name))) for name in names)


def same(names: tuple[str, ...]) -> tuple[Choice, ...]:
    """Choices that are shown as they are written."""
    return tuple((name, name) for name in names)


_STENCILED = spoken(STENCILED_ITEMS)
# A car is withdrawn by taking back the import that brought it, never on a form.
_STANDINGS = spoken(tuple(each for each in STANDINGS if each != "withdrawn"))


def _of(kind: Kind, column: str, label: str, control: Control = "line", **more: Any) -> Field:
    """A field that states what this column of a file does, read and explained alike."""
    found = COLUMNS[kind, column]
    choices = YES_NO if control == "choice" and "choices" not in more else more.pop("choices", ())
    hint = more.pop("hint", found.says)
    needed = more.pop("needed", found.required)
    name = more.pop("name", found.field)
    return Field(name, label, found.read, hint, control, choices, needed)


def since(what: str, needed: bool = False) -> Field:
    empty = "" if needed else "; left empty, it has always been so"
    return Field(
        "from_on", "From", days.day, f"First day on which {what}{empty}", "day", (), needed
    )


def optional(fields: tuple[Field, ...]) -> tuple[Field, ...]:
    """The same fields where none of them is needed."""
    return tuple(replace(each, needed=False) for each in fields)


def with_choices(field: Field, names: tuple[str, ...]) -> Field:
    """The field with what the register holds as suggestions; anything else can be typed too."""
    return replace(field, choices=tuple((name, "") for name in names))


NAME = (_of("cars", "mark", "Mark"), _of("cars", "number", "Number"))
OWNERSHIP = (
    _of(
        "cars",
        "owner",
        "Owner",
        "suggest",
        needed=True,
        hint="Company that owns the car; a new name is added",
    ),
    _of("cars", "region", "Region", "suggest"),
    _of("cars", "lining_owner", "Lining owner", "suggest"),
    _of("cars", "equipment_owner", "Service equipment owner", "suggest"),
)
SPECIFICATION = (
    _of("cars", "specification", "Specification"),
    _of("cars", "built_on", "Built", "day"),
    _of("cars", "rebuilt_on", "Rebuilt", "day"),
    _of(
        "cars",
        "built_to",
        "Built to",
        "choice",
        choices=same(("CPC-1232", "PIH-2009")),
        hint="Only where built to one of them",
    ),
    _of("cars", "builder", "Builder"),
    _of("cars", "design", "Design", hint="Number of its drawing or approval"),
)
TANK = (
    _of(
        "cars",
        "material",
        "Material",
        "choice",
        choices=same(MATERIALS),
        hint="Of the shell; gives the tensile strength",
    ),
    _of(
        "cars", "tensile_psi", "Tensile strength, psi", "number", hint="When it is known by itself"
    ),
    _of("cars", "inside_diameter_in", "Inside diameter, in", "number", hint="Such as 119"),
    _of(
        "cars",
        "joint_efficiency",
        "Joint efficiency",
        "number",
        hint="Left empty: 1 for pressure cars, 0.9 for others",
    ),
    _of(
        "cars",
        "head_shape",
        "Head shape",
        "choice",
        choices=same(("2:1", "3:1")),
        hint="Left empty: 2:1",
    ),
    _of("cars", "normalized_steel", "Normalized steel", "choice", hint=""),
    _of("cars", "jacketed", "Jacketed", "choice", hint=""),
    _of("cars", "insulated", "Insulated", "choice", hint=""),
    _of("cars", "thermal_protection", "Thermal protection", "choice", hint=""),
)
MINIMA = tuple(
    _of("cars", f"required_thickness_in_{zone}", f"{label}, in", "number", hint="7/16 or 0.4375")
    for zone, label in (
        ("shell_top", "Shell top"), ("shell_bottom", "Shell bottom"),
        ("head_a", "A-end head"), ("head_b", "B-end head"),
    )
)  # fmt: skip
LADING = (
    _of("cars", "commodity", "Lading", needed=True, hint="By its shipping name"),
    _of("cars", "un", "Identification number", hint="Such as UN1789"),
    _of("cars", "hazardous", "Hazardous material", "choice", hint="Not stated counts as yes"),
    _of("cars", "hazard_class", "Hazard class", hint="Such as 8 or 2.3"),
    _of(
        "cars",
        "packing_group",
        "Packing group",
        "choice",
        choices=same(("I", "II", "III")),
        hint="",
    ),
    _of("cars", "poison_by_inhalation", "Poisonous by inhalation", "choice", hint=""),
    _of(
        "cars",
        "corrosive_or_reactive",
        "Corrosive or reactive to the tank",
        "choice",
        hint="As the owner states it; not stated is taken as yes",
    ),
    _of(
        "cars",
        "corrosion_rate_mil_per_year",
        "Corrosion rate, mil a year",
        "number",
        hint="On steel; above 2.5 counts as corrosive",
    ),
    _of(
        "cars",
        "fluorinated_hydrocarbon_only",
        "Fluorinated hydrocarbons only",
        "choice",
        hint="For ton tanks",
    ),
    _of(
        "cars",
        "vapor_pressure_psig_115f",
        "Vapor pressure at 115 °F, psig",
        "number",
        hint="For the test pressure; 0 when below the atmosphere",
    ),
    _of(
        "cars",
        "vapor_pressure_psig_105f",
        "Vapor pressure at 105 °F, psig",
        "number",
        hint="Counts for an insulated car",
    ),
    _of("cars", "static_head_psig", "Static head, psig", "number", hint="Of the full tank"),
    _of("cars", "gas_pad_psig", "Gas pad, psig", "number", hint="0 when there is none"),
    _of(
        "cars",
        "loading_pressure_psig",
        "Loading pressure, psig",
        "number",
        hint="The greatest when loading or unloading",
    ),
)
LINED = (
    Field(
        "lined",
        "Lined",
        cells.yes_or_no,
        "No: the car is known to have none",
        "choice",
        YES_NO,
        True,
    ),
    _of("cars", "lining_kind", "Kind", hint="Such as rubber"),
    _of("cars", "lining_applied_on", "Applied", "day", hint="Day or month"),
    _of(
        "cars",
        "lining_interval_months",
        "Owner’s interval, months",
        "number",
        hint="At most 96 unless documented",
    ),
    _of(
        "cars",
        "lining_documented",
        "Documented for longer",
        "choice",
        hint="Does service history or analysis support more than 8 years",
    ),
)
FITTED = (
    _of(
        "cars",
        "service_equipment_interval_months",
        "Service equipment interval, months",
        "number",
        hint="The owner’s, when shorter than 120",
    ),
    _of(
        "cars",
        "reflective_sheeting_installed_on",
        "Reflective sheeting put on",
        "day",
        hint="Day or month",
    ),
    _of(
        "cars",
        "reflective_sheeting_method",
        "Sheeting kept up by",
        "choice",
        choices=spoken(("replacement", "comparator")),
        hint="Left empty: replacement",
    ),
    Field(
        "has_relief_device",
        "Has a relief device",
        cells.yes_or_no,
        "No: the car has none at all",
        "choice",
        YES_NO,
    ),
)
STENCIL = (
    _of(
        "cars",
        "stencil_marked_on",
        "Painted",
        "day",
        hint="Day or month; a later passing inspection overtakes it",
    ),
    *(
        _of(
            "cars",
            f"stencil_due_{item}",
            capitalized(label(item)),
            hint="2031, 2031-06 or 2031-06-30",
        )
        for item in STENCILED_ITEMS
    ),
)
APPROVAL = (
    Field("item", "Item", one_of(_STENCILED), "", "choice", _STENCILED, True),
    _of(
        "cars",
        "approval_visual_interval_months",
        "Interval, months",
        "number",
        hint="Left empty: ends the approval of this reference",
    ),
    _of("cars", "approval_visual_reference", "Reference", hint="Number of the approval"),
    _of(
        "cars",
        "approval_visual_stenciled",
        "On the stencil",
        "choice",
        hint="An approval not yet on the stencil changes no date",
    ),
)
WHY = Field("reason", "Reason", cells.notes, "It stays on record with this", "notes", (), True)
STANDING = (
    Field(
        "standing",
        "Standing",
        one_of(_STANDINGS),
        "Only cars in service are in the due lists; the record of the others stays",
        "choice",
        _STANDINGS,
        True,
    ),
    Field("reason", "Reason", cells.notes, "", "notes"),
)
HOLD = (
    Field("held", "On hold", cells.yes_or_no, "No releases it again", "choice", YES_NO, True),
    Field("reason", "Reason", cells.notes, "Shown wherever somebody asks whether the car may be loaded",
          "notes", (), True),
)  # fmt: skip
COMPONENT = (
    _of("components", "kind", "Kind", "choice", choices=spoken(COMPONENT_KINDS), hint=""),
    _of(
        "components",
        "position",
        "Position",
        "suggest",
        choices=same(POSITIONS),
        hint="Left and right as seen from the B end",
    ),
    _of("components", "maker", "Maker"),
    _of("components", "model", "Model"),
    _of("components", "lot", "Lot"),
    _of("components", "serial", "Serial number", hint="As on its plate"),
)
INSTALLED = (
    _of("components", "installed_on", "Put on the car", "day", hint="Day or month"),
    Field(
        "is_change",
        "It was changed on that day",
        cells.yes_or_no,
        "Yes records the change, and a leakage test is due (180.509(j)). "
        "No writes down what has long been on the car",
        "choice",
        YES_NO,
        True,
    ),
)


def _pressure(name: str, label: str, hint: str = "") -> Field:
    read = measures.or_stated(COLUMNS["components", name].read, "kPa")
    return Field(name, label, read, hint, "number", measure="pressure")


DEVICE = (
    _pressure("set_psig", "Start to discharge, psig"),
    _of("components", "tested_on", "Last tested", "day", hint="Day or month"),
    _of(
        "components",
        "protected_in_storage",
        "Protected in storage",
        "choice",
        hint="Then, put on within six months of its test, it counts from that day",
    ),
    _of(
        "components",
        "interval_months",
        "Owner’s interval, months",
        "number",
        hint="When shorter than the rule’s",
    ),
    _pressure("found_psig", "Found opening at, psig"),
    _pressure("left_psig", "Left opening at, psig"),
    _pressure("vapor_tight_psig", "Vapor tight up to, psig", "When tested"),
)

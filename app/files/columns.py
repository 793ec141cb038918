"""The columns of each kind of file as data: what a person reads of them, what reads their cells."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal, get_args

from app.core.component_kinds import COMPONENT_KINDS, OTHER_COMPONENT_WORDS
from app.core.facts import (
    CHANGES,
    EVENT_ITEMS,
    SHELL_AND_HEAD_ZONES,
    STENCILED_ITEMS,
)
from app.files import cells, days, measures, names
from app.files.cells import Cell

Kind = Literal["cars", "components", "events", "ladings", "visits"]
KINDS: tuple[Kind, ...] = get_args(Kind)

MATERIALS = (
    "TC128B", "A302B", "A516-70", "A537-1", "A240-304", "A240-316", "A240-304L", "A240-316L",
    "A285C", "A212B", "A515-70", "B162-NI", "AL5052", "AL5154", "AL5254", "AL5454", "AL5086",
    "AL5083",
)  # fmt: skip
RELIEF_DEVICE_KINDS = ("valve", "disc", "combination", "none")


@dataclass(frozen=True, slots=True)
class Column:
    """A column: `about` and `field` say which fact of which subject its cells state."""

    name: str
    says: str
    read: Callable[[Cell], Any]
    about: str
    field: str
    required: bool = False
    also: tuple[str, ...] = ()


def _group(about: str, *rows: tuple[str, Callable[[Cell], Any], str]) -> tuple[Column, ...]:
    """Columns of one subject whose names are their fields."""
    return tuple(Column(name, says, read, about, name) for name, read, says in rows)


def _prefixed(about: str, *rows: tuple[str, Callable[[Cell], Any], str]) -> tuple[Column, ...]:
    """Columns of one subject that carry its name; an owner's interval goes by two names."""
    return tuple(
        Column(
            name=f"{about}_{field.removeprefix('owner_')}",
            says=says,
            read=read,
            about=about,
            field=field,
            also=(f"{about}_{field}",) if field.startswith("owner_") else (),
        )
        for field, read, says in rows
    )


def _required(*columns: Column) -> tuple[Column, ...]:
    return tuple(
        Column(c.name, c.says, c.read, c.about, c.field, required=True, also=c.also)
        for c in columns
    )


# What sheets call a column besides its name (common practice, no source). Only what can be meant in one way, and
# nothing that leaves a unit open.
_CALLED: Mapping[str, tuple[str, ...]] = {
    "mark": ("car_mark", "reporting_mark", "car_initial", "initial"),
    "number": ("car_number", "car_no"),
    "specification": ("spec", "car_specification", "dot_specification", "dot_spec"),
    "built_on": ("built", "built_date", "date_built", "build_date", "construction_date"),
    "owner": ("car_owner", "owner_name"),
    "commodity": ("lading", "product"),
    "un": ("un_number", "un_no", "identification_number"),
    "packing_group": ("pg",),
    "material": ("tank_material",),
    "jacketed": ("jacket",),
    "insulated": ("insulation",),
    "relief_device_kind": ("relief_device", "relief_device_type", "prd", "prd_type"),
    "relief_device_set_psig": ("prd_set_psig",),
    "relief_device_tested_on": ("relief_device_test_date", "prd_test_date", "prd_tested_on"),
    "on": ("date", "event_date", "inspection_date"),
    "items": ("item",),
    "facility": ("shop",),
    "reference": ("report", "report_number", "report_no"),
    "notes": ("remarks", "comments"),
    "sent_on": ("sent", "date_sent"),
    "arrived_on": ("arrived", "date_arrived"),
    "released_on": ("released", "date_released"),
}


def titles(column: Column) -> tuple[str, ...]:
    """All that a sheet may call it, whatever its capitals, spaces, dashes or underscores."""
    return (column.name, *column.also, *_CALLED.get(column.name, ()))


_psig = measures.above_zero("a pressure in psig", at_most=10_000)
_pressure = measures.zero_or_more("a pressure in psig, 0 or more")
_head_shape = cells.one_of(("2:1", "3:1"), "the shape of the heads")
_built_to = cells.one_of(("CPC-1232", "PIH-2009"), "the standard the car was built to")
_method = cells.one_of(("replacement", "comparator"), "how the sheeting is kept up")

NAME = _required(
    *_group(
        "name",
        ("mark", names.mark, "Reporting mark, 2 to 4 letters: ZQKX"),
        ("number", names.number, "The car's number, 1 to 999999: 104512"),
    )
)

_CONSTRUCTION = (
    *_required(
        *_group(
            "construction",
            ("specification", names.specification, "As stenciled: DOT 111A100W1"),
        )
    ),
    Column(
        "built_on",
        "Day or month of original construction: 1998-04-20, 1998-04",
        days.month_first,
        "construction",
        "built_on",
    ),
)
_OWNER = _group(
    "ownership",
    ("owner", cells.text, "Owner of the car; without it the car is listed under Unassigned"),
    ("region", cells.text, "Where the car is looked after, in your own words"),
    ("lining_owner", cells.text, "Who pays for the lining, when not the owner"),
    ("equipment_owner", cells.text, "Who maintains the service equipment, when not the owner"),
)
_SERVICE = _group(
    "service",
    ("commodity", cells.text, "The lading by its shipping name: Hydrochloric acid"),
    ("un", names.un_number, "Identification number: UN1789"),
    ("hazardous", cells.yes_or_no, "Is the lading a hazardous material: yes (when empty) or no"),
    ("hazard_class", names.hazard_class, "Hazard class or division: 8, 2.3"),
    ("packing_group", names.packing_group, "Packing group: I, II or III"),
    ("poison_by_inhalation", cells.yes_or_no, "Is it poisonous by inhalation: yes or no"),
    (
        "corrosive_or_reactive",
        cells.yes_or_no,
        "Is it corrosive or reactive to the tank, as the owner states: yes or no",
    ),
    (
        "corrosion_rate_mil_per_year",
        measures.zero_or_more("a corrosion rate in mil a year"),
        "Corrosion rate on steel in mil a year: 2.5",
    ),
    (
        "vapor_pressure_psig_115f",
        _pressure,
        "Vapor pressure at 115 F in psig, 0 when below the atmosphere: 185",
    ),
    (
        "vapor_pressure_psig_105f",
        _pressure,
        "Vapor pressure at 105 F in psig, which counts for an insulated car",
    ),
    ("static_head_psig", _pressure, "Static head of the lading in the tank in psig: 3"),
    ("gas_pad_psig", _pressure, "Gas pad over the lading in psig; 0 when there is none"),
    ("loading_pressure_psig", _pressure, "Greatest pressure when loading or unloading, in psig"),
)
_CAR_SERVICE = (
    *_SERVICE,
    *_group(
        "service",
        (
            "fluorinated_hydrocarbon_only",
            cells.yes_or_no,
            "Is the tank used for fluorinated hydrocarbons only: yes or no",
        ),
        ("service_from", days.day, "First day in this lading: 2019-05-02"),
    ),
)
_TANK = _group(
    "construction",
    ("rebuilt_on", days.month_first, "Day or month of a rebuild"),
    (
        "material",
        cells.one_of(MATERIALS, "a material of the tank"),
        f"Material of the tank: {', '.join(MATERIALS)}",
    ),
    ("tensile_psi", measures.above_zero("a tensile strength in psi"), "Tensile strength in psi"),
    (
        "inside_diameter_in",
        measures.above_zero("a diameter in inches", at_most=200),
        "Inside diameter in inches: 119",
    ),
    (
        "joint_efficiency",
        measures.above_zero("a joint efficiency such as 0.9", at_most=1),
        "Joint efficiency: 0.9",
    ),
    ("head_shape", _head_shape, "Shape of the heads: 2:1 (when empty) or 3:1"),
    ("jacketed", cells.yes_or_no, "Has the tank a jacket: yes or no"),
    ("insulated", cells.yes_or_no, "Is it insulated: yes or no"),
    ("thermal_protection", cells.yes_or_no, "Has it thermal protection: yes or no"),
    ("built_to", _built_to, "CPC-1232 or PIH-2009, when built to one of them"),
    ("normalized_steel", cells.yes_or_no, "Is the steel normalized: yes or no"),
    ("builder", cells.text, "Who built the car"),
    ("design", cells.text, "Number of the drawing or approval that it was built by"),
)
_REQUIRED_THICKNESS = tuple(
    Column(
        f"required_thickness_in_{zone}",
        f"The owner's design minimum of {zone} in inches: 0.4375",
        measures.thickness,
        "construction",
        f"required_{zone}_in",
    )
    for zone in SHELL_AND_HEAD_ZONES
)
_LINING = _prefixed(
    "lining",
    ("kind", cells.text, "Lining or coating: rubber"),
    ("applied_on", days.month_first, "Day or month it was applied"),
    ("owner_interval_months", cells.months, "Its owner's inspection interval in months: 60"),
    (
        "documented",
        cells.yes_or_no,
        "Does service history or analysis support more than 8 years: yes or no",
    ),
)
_RELIEF_DEVICE = _prefixed(
    "relief_device",
    (
        "kind",
        cells.one_of(RELIEF_DEVICE_KINDS, "a kind of relief device"),
        "valve, disc, combination, or none when the car has no such device",
    ),
    ("set_psig", _psig, "Start-to-discharge pressure in psig: 75"),
    ("tested_on", days.month_first, "Day or month of its last test"),
    ("installed_on", days.day_or_month, "Day or month it was put on the car"),
    (
        "protected_in_storage",
        cells.yes_or_no,
        "Was it protected from deterioration before that: yes or no",
    ),
    ("owner_interval_months", cells.months, "The owner's interval in months, when shorter"),
)
_FITTING = (
    Column(
        "service_equipment_interval_months",
        "The owner's interval for service equipment in months, when shorter",
        cells.months,
        "fitting",
        "service_equipment_interval_months",
        also=("service_equipment_owner_interval_months",),
    ),
    Column(
        "reflective_sheeting_installed_on",
        "Day or month the reflective sheeting was put on",
        days.month_first,
        "fitting",
        "sheeting_installed_on",
    ),
    Column(
        "reflective_sheeting_method",
        "replacement (when empty) or comparator",
        _method,
        "fitting",
        "sheeting_method",
    ),
)
_STENCIL = _prefixed(
    "stencil",
    ("marked_on", days.month_first, "Day or month the stencil was painted"),
) + tuple(
    Column(
        f"stencil_due_{item}",
        f"Due date of {item} as painted: 2031, 2031-06 or 2031-06-30",
        days.stencil_due,
        "stencil",
        item,
    )
    for item in STENCILED_ITEMS
)


def _approval(item: str) -> tuple[Column, ...]:
    about = f"approval_{item}"
    return _prefixed(
        about,
        ("interval_months", cells.months, f"Approved other interval of {item} in months"),
        ("reference", cells.text, "Number of that approval"),
        ("stenciled", cells.yes_or_no, "Is it on the stencil: yes or no (when empty)"),
    )


_APPROVALS = tuple(column for item in STENCILED_ITEMS for column in _approval(item))

_COMPONENTS = (
    *NAME,
    *_required(
        *_group(
            "component",
            (
                "kind",
                cells.one_of(COMPONENT_KINDS, "a kind of component", OTHER_COMPONENT_WORDS),
                ", ".join(COMPONENT_KINDS),
            ),
            ("position", cells.text, "Where on the car: top, B end, A end left"),
        )
    ),
    *_group(
        "component",
        ("maker", cells.text, "Who made it"),
        ("model", cells.text, "Model, as on its plate"),
        ("lot", cells.text, "Lot or heat"),
        ("serial", cells.text, "Serial number"),
        ("set_psig", _psig, "Relief device: start-to-discharge pressure in psig"),
        ("tested_on", days.month_first, "Day or month of its last test"),
        ("installed_on", days.day_or_month, "Day or month it was put on the car"),
        ("removed_on", days.day, "Day it was taken off"),
        (
            "protected_in_storage",
            cells.yes_or_no,
            "Was it protected from deterioration before it was put on: yes or no",
        ),
    ),
    Column(
        "interval_months",
        "The owner's interval in months, when shorter",
        cells.months,
        "component",
        "owner_interval_months",
        also=("owner_interval_months",),
    ),
    *_group(
        "component",
        ("found_psig", _psig, "Pressure at which it opened when tested, as found"),
        ("left_psig", _psig, "Pressure at which it was left to open"),
        ("vapor_tight_psig", _psig, "Pressure up to which it was vapor tight when tested"),
    ),
)
_EVENTS = (
    *NAME,
    *_required(
        *_group(
            "event",
            ("on", days.day_or_month, "Day, or month when no more is known: 2018-03-15"),
            (
                "items",
                cells.several_of((*EVENT_ITEMS, *CHANGES), "what was inspected or changed"),
                f"visual;thickness, out of: {', '.join((*EVENT_ITEMS, *CHANGES))}",
            ),
        )
    ),
    *_group(
        "event",
        ("outcome", cells.one_of(("pass", "fail"), "the outcome"), "pass (when empty) or fail"),
        ("facility", cells.text, "Shop or place where it was done"),
        ("inspector", cells.text, "Who did it"),
        ("readings", measures.readings, "shell_bottom=0.406;head_b=0.441 local 6/20, in inches"),
        ("reference", cells.text, "Number of the report"),
        ("notes", cells.notes, "Anything else worth keeping"),
    ),
)
_LADINGS = (
    Column(
        "name", "Shipping name of the lading", cells.text, "lading", "name", required=True,
        also=("commodity",),
    ),
    *(Column(c.name, c.says, c.read, "lading", c.field) for c in _SERVICE if c.name != "commodity"),
)  # fmt: skip
_VISITS = (
    *NAME,
    *_required(*_group("visit", ("shop", cells.text, "Shop to which the car went"))),
    *_group(
        "visit",
        (
            "sent_on",
            days.day,
            "Day it was sent there: 2026-11-02; not needed while it is on record",
        ),
        ("arrived_on", days.day, "Day the shop had it"),
        ("released_on", days.day, "Day the shop let it go"),
    ),
)

COLUMNS: Mapping[Kind, tuple[Column, ...]] = {
    "cars": (
        *NAME, *_CONSTRUCTION, *_OWNER, *_CAR_SERVICE, *_TANK, *_REQUIRED_THICKNESS, *_LINING,
        *_RELIEF_DEVICE, *_FITTING, *_STENCIL, *_APPROVALS,
    ),
    "components": _COMPONENTS,
    "events": _EVENTS,
    "ladings": _LADINGS,
    "visits": _VISITS,
}  # fmt: skip


def template_csv(kind: Kind) -> str:
    """All columns of a kind of file, one a line: name, whether it must be there, what to write."""
    lines = [("column", "must be there", "what to write")]
    lines += [(c.name, "yes" if c.required else "", c.says) for c in COLUMNS[kind]]
    return _csv(lines)


def empty_file(kind: Kind) -> str:
    """A file of this kind with its header line alone, to be filled."""
    return _csv([[column.name for column in COLUMNS[kind]]])


def _csv(lines: Sequence[Sequence[str]]) -> str:
    held = io.StringIO()
    csv.writer(held, lineterminator="\n").writerows(lines)
    return held.getvalue()

"""Cars to ask the calculator about: requests put together from parts, and Hypothesis strategies.

The sound car is unlined, its required thickness is firm (the plate formula gives 0.40809 in, less
than the 7/16 in of the table), it carries a hazardous lading that attacks nothing and is banned from
nothing, and all its tank and equipment items were qualified on 2018-03-15. Every mark is invented and
begins with ZQ.
"""

import copy
from collections.abc import Iterable
from datetime import date, timedelta
from typing import Any

from hypothesis import strategies as st

Json = dict[str, Any]

AS_OF = "2026-11-25"
BUILT = "2010-06-01"
QUALIFIED_ON = "2018-03-15"

SHELL_AND_HEADS = ("shell_top", "shell_bottom", "head_a", "head_b")
CALENDAR_ITEMS = ("visual", "structural_integrity", "safety_systems")
# What the calendar, a stencil or an approval dates, without a lining and with one.
UNLINED_ITEMS = (*CALENDAR_ITEMS, "thickness", "service_equipment", "relief_device")
LINED_ITEMS = (*CALENDAR_ITEMS, "thickness", "lining", "service_equipment", "relief_device")
# What every car on the railroad has, and what never keeps a car from being loaded.
MECHANICAL = ("air_brake", "reflective_sheeting", "age_limit")
# All that a fusion-welded car has, in the order of every answer.
UNLINED_CAR = (*UNLINED_ITEMS, "leakage", *MECHANICAL, "service_end")
LINED_CAR = (*LINED_ITEMS, "leakage", *MECHANICAL, "service_end")

TANK: Json = {"material": "TC128B", "inside_diameter_in": 119}
# Neither class can be poisonous by inhalation or a flammable liquid, so neither has a last day.
OIL: Json = {"commodity": "Light cycle oil", "hazard_class": "9", "corrosive_or_reactive": False}
LIQUOR: Json = {"commodity": "Tanning liquor", "hazard_class": "8", "corrosive_or_reactive": True}


def reading(zone: str, inches: float, **more: Any) -> Json:
    return {"zone": zone, "inches": inches, **more}


def local(zone: str, inches: float, span: float | None = 4, apart: float | None = 24) -> Json:
    return reading(zone, inches, extent="local", span_in=span, apart_in=apart)


def measured(**inches: float) -> list[Json]:
    """Readings of all four shell and head zones, 0.44 in where nothing else is said."""
    return [reading(zone, inches.get(zone, 0.44)) for zone in SHELL_AND_HEADS]


def passed(on: str, *items: str, **more: Any) -> Json:
    return {"on": on, "items": list(items), "outcome": "pass", **more}


def failed(on: str, *items: str, **more: Any) -> Json:
    return {"on": on, "items": list(items), "outcome": "fail", **more}


def changed(on: str, *changes: str, **more: Any) -> Json:
    """An event without an outcome: a change, or a change with passing items beside it."""
    return {"on": on, "items": list(changes), **more}


def qualified(on: str = QUALIFIED_ON, **inches: float) -> Json:
    """Every item of an unlined tank and its equipment passed on one day, leak-tested, with sound readings."""
    return passed(on, *UNLINED_ITEMS, "leakage", readings=measured(**inches))


def mechanically_sound(event: Json, **more: Any) -> Json:
    """A request for the sound car whose brakes were tested and whose sheeting was put on lately."""
    tested = passed("2025-01-10", "air_brake")
    return ask(event, tested, reflective_sheeting={"installed_on": "2025-01-10"}, **more)


def ask(*events: Json, as_of: str = AS_OF, settings: Json | None = None, **car: Any) -> Json:
    """A request for the sound car with these events; `car` replaces or adds fields of the car."""
    sound = {
        "mark": "ZQKX",
        "number": 104512,
        "specification": "DOT 111A100W1",
        "built_on": BUILT,
        "tank": TANK,
        "service": OIL,
    }
    asked: Json = {"as_of": as_of, "car": {**sound, **car}, "events": list(events)}
    if settings is not None:
        asked["settings"] = settings
    return copy.deepcopy(asked)


def item(answer: Json, name: str) -> Json:
    return next(due for due in answer["items"] if due["item"] == name)


def zone(answer: Json, name: str) -> Json:
    return next(row for row in answer["thickness"] if row["zone"] == name)


def names(answer: Json) -> list[str]:
    return [due["item"] for due in answer["items"]]


def statuses(answer: Json) -> dict[str, str]:
    return {due["item"]: due["status"] for due in answer["items"]}


def texts(noted: Iterable[Json]) -> str:
    """All sentences of reasons or warnings as one lower-case text."""
    return "\n".join(note["text"] for note in noted).lower()


def citations(noted: Iterable[Json]) -> str:
    return "\n".join(note["citation"] or "" for note in noted)


# --- strategies -------------------------------------------------------------------------------

SPECIFICATIONS = (
    "DOT 111A100W1",
    "DOT 111A60ALW2",
    "DOT 111A100W5",
    "DOT 105J300W",
    "DOT 112T340W",
    "DOT 114A400W",
    "DOT 115A60W6",
    "DOT 117J100W",
    "DOT 120S200ALW",
)
MATERIALS = ("TC128B", "A516-70", "A285C", "A240-316L", "AL5083")
COMMODITIES = ("Light cycle oil", "Sulphuric acid", "Hydrochloric acid, solution", None)
# What may be inspected, and what may happen, without the rest of the car being known.
INSPECTED = (*LINED_ITEMS, "leakage", "air_brake")
HAPPENED = (
    "lining_applied",
    "lining_removed",
    "insulation_removed",
    "repair_reducing_thickness",
    "service_equipment_changed",
    "relief_device_changed",
    "lining_repaired_locally",
)

marks = st.text("ABCDEFGHJKLMNPRSTUVWXYZ", min_size=2, max_size=2).map(lambda two: f"ZQ{two}")
numbers = st.integers(1, 999_999)
maybe = st.sampled_from([None, True, False])
intervals = st.none() | st.integers(1, 240)
# Thicknesses about the lines of the tables, and some exactly on them.
inches = st.sampled_from([0.25, 0.3125, 0.375, 0.40625, 0.4375, 0.53125, 0.546875, 0.5625]) | (
    st.integers(20_000, 80_000).map(lambda hundred_thousandths: hundred_thousandths / 100_000)
)


def days(first: date, last: date) -> st.SearchStrategy[str]:
    return st.dates(first, max(first, last)).map(date.isoformat)


@st.composite
def readings(draw: st.DrawFn) -> Json:
    where = draw(st.sampled_from([*SHELL_AND_HEADS, "sump", "nozzle"]))
    if draw(st.booleans()):
        return reading(where, draw(inches))
    span, apart = draw(st.sampled_from([None, 4, 8, 8.5])), draw(st.sampled_from([None, 15.5, 16]))
    return local(where, draw(inches), span, apart)


@st.composite
def events(draw: st.DrawFn, first: date, last: date) -> Json:
    """An inspection that passed or failed, a change, or a change with passing items beside it."""
    inspected = draw(st.lists(st.sampled_from(INSPECTED), min_size=1, max_size=5, unique=True))
    on, kind = draw(days(first, last)), draw(st.sampled_from(["pass", "pass", "fail", "change"]))
    found = draw(st.lists(readings(), max_size=4))
    if kind != "change":
        return {"on": on, "items": inspected, "outcome": kind, "readings": found}
    happened = draw(st.sampled_from([*HAPPENED, "damage"]))
    event = changed(on, happened, *draw(st.sampled_from([[], inspected])), readings=found)
    if happened == "damage" and draw(st.booleans()):
        event["opens"] = draw(st.sampled_from([["visual"], ["safety_systems", "thickness"]]))
    return event


@st.composite
def tanks(draw: st.DrawFn) -> Json:
    owner = st.dictionaries(st.sampled_from(SHELL_AND_HEADS), inches)
    return {
        "material": draw(st.none() | st.sampled_from(MATERIALS)),
        "inside_diameter_in": draw(st.none() | st.integers(84, 122)),
        "head_shape": draw(st.sampled_from(["2:1", "3:1"])),
        "required_thickness_in": draw(owner) or None,
    }


@st.composite
def services(draw: st.DrawFn) -> Json:
    return {
        "commodity": draw(st.sampled_from(COMMODITIES)),
        "hazardous": draw(st.sampled_from([True, True, False])),
        "corrosive_or_reactive": draw(maybe),
        "corrosion_rate_mil_per_year": draw(st.sampled_from([None, None, 0.4, 2.5, 2.6])),
    }


@st.composite
def linings(draw: st.DrawFn, first: date, last: date) -> Json:
    return {
        "kind": "rubber",
        "applied_on": draw(st.none() | days(first, last)),
        "owner_interval_months": draw(intervals),
        "documented": draw(st.booleans()),
    }


@st.composite
def relief_devices(draw: st.DrawFn, last: date) -> Json:
    tested = draw(st.none() | st.dates(date(2005, 1, 1), last))
    later = st.integers(-40, 400).map(lambda gap: (tested or last) + timedelta(days=gap))
    installed = draw(st.none() | later)
    return {
        "kind": draw(st.sampled_from([None, "valve", "disc", "combination", "none"])),
        "tested_on": tested and tested.isoformat(),
        "installed_on": installed and installed.isoformat(),
        "protected_in_storage": draw(maybe),
        "owner_interval_months": draw(intervals),
    }


def stencils(last: date) -> st.SearchStrategy[Json]:
    painted = days(date(2012, 1, 1), date(2040, 12, 31)) | st.integers(2012, 2040).map(str)
    due = st.dictionaries(st.sampled_from(LINED_ITEMS), painted, max_size=4)
    marked = st.none() | days(date(2005, 1, 1), last)
    return st.fixed_dictionaries({"marked_on": marked, "due": due})


approvals = st.fixed_dictionaries(
    {
        "item": st.sampled_from(LINED_ITEMS),
        "interval_months": st.integers(12, 180),
        "reference": st.just("ZQ approval 7"),
        "stenciled": st.booleans(),
    }
)


@st.composite
def requests(draw: st.DrawFn, *, plain: bool = False) -> Json:
    """A request that is taken. `plain`: day precision, and neither a stencil nor an approval."""
    as_of = draw(st.dates(date(2012, 1, 1), date(2036, 12, 31)))
    built = draw(st.none() | st.dates(date(1996, 1, 1), as_of))
    first, last = built or date(1996, 1, 1), as_of + timedelta(days=500)
    car: Json = {
        "mark": draw(marks),
        "number": draw(numbers),
        "specification": draw(st.sampled_from(SPECIFICATIONS)),
        "built_on": built and built.isoformat(),
        "tank": draw(tanks()),
        "service": draw(services()),
        "lining": draw(st.none() | linings(first, last)),
        "relief_device": draw(st.none() | relief_devices(last)),
        "service_equipment": {"owner_interval_months": draw(intervals)},
    }
    settings: Json = {"soon_days": draw(st.integers(0, 400))}
    if not plain:
        car["stencil"] = draw(st.none() | stencils(last))
        car["approvals"] = draw(st.lists(approvals, max_size=3))
        settings["due_precision"] = draw(st.sampled_from(["day", "month_end", "year_end"]))
        settings["stencil_year"] = draw(st.sampled_from(["start", "end"]))
    return {
        "as_of": as_of.isoformat(),
        "settings": settings,
        "car": car,
        "events": draw(st.lists(events(first, last), max_size=6)),
    }

"""What is wrong with a question is told place by place, and nothing is silently passed over."""

import copy
from typing import Any, get_args

import pytest
from pydantic import BaseModel

from app.answers import due_dates
from app.answers.request import Request
from app.errors import Refused
from tests.core.cars import Json

# Every field there is, each in order.
FULL: Json = {
    "as_of": "2026-11-25",
    "settings": {"due_precision": "month_end", "stencil_year": "end", "soon_days": 90},
    "car": {
        "mark": "ZQAX",
        "number": 204117,
        "specification": "DOT 111A100W5",
        "built_on": "2009-04-17",
        "rebuilt_on": "2015-02-01",
        "tank": {
            "material": "A516-70",
            "tensile_psi": None,
            "inside_diameter_in": 110.25,
            "joint_efficiency": 0.9,
            "head_shape": "3:1",
            "jacketed": True,
            "insulated": True,
            "thermal_protection": False,
            "built_to": "CPC-1232",
            "normalized_steel": True,
            "required_thickness_in": {"shell_bottom": 0.4375, "head_a": 0.5},
        },
        "lining": {
            "kind": "rubber",
            "applied_on": "2020-06-01",
            "owner_interval_months": 60,
            "documented": False,
        },
        "service": {
            "commodity": "Hydrochloric acid, solution",
            "un": "UN1789",
            "hazardous": True,
            "hazard_class": "8",
            "packing_group": "II",
            "poison_by_inhalation": False,
            "corrosive_or_reactive": True,
            "corrosion_rate_mil_per_year": 0.5,
            "fluorinated_hydrocarbon_only": False,
        },
        "relief_device": {
            "kind": "valve",
            "set_psig": 75,
            "tested_on": "2024-01-15",
            "installed_on": "2024-03",
            "protected_in_storage": True,
            "owner_interval_months": 60,
        },
        "service_equipment": {"owner_interval_months": 60},
        "reflective_sheeting": {"installed_on": "2016-05-01", "method": "comparator"},
        "stencil": {"marked_on": "2020-07-01", "due": {"visual": "2028", "lining": "2025-06-01"}},
        "approvals": [
            {
                "item": "safety_systems",
                "interval_months": 132,
                "reference": "ZQ-APP-7",
                "stenciled": True,
            }
        ],
    },
    "events": [
        {
            "on": "2018-03-15",
            "items": ["visual", "thickness"],
            "outcome": "pass",
            "readings": [
                {"zone": "shell_bottom", "inches": 0.43, "extent": "general"},
                {
                    "zone": "head_a",
                    "inches": 0.49,
                    "extent": "local",
                    "span_in": 6,
                    "apart_in": 20.5,
                },
            ],
            "reference": "ZQ-RPT-1",
        },
        {"on": "2021-08-02", "items": ["damage"], "opens": ["visual"], "reference": None},
    ],
}


def steps(path: str) -> list[Any]:
    return [int(step) if step.isdigit() else step for step in path.split(".")]


def put(path: str, value: object) -> Json:
    """The full question with `value` at `path`."""
    asked = copy.deepcopy(FULL)
    *way, last = steps(path)
    place: Any = asked
    for step in way:
        place = place[step]
    place[last] = value
    return asked


def without(path: str) -> Json:
    """The full question without the field at `path`."""
    asked = copy.deepcopy(FULL)
    *way, last = steps(path)
    place: Any = asked
    for step in way:
        place = place[step]
    del place[last]
    return asked


def faults(asked: Json) -> dict[str, str]:
    with pytest.raises(Refused) as refusal:
        due_dates(asked)
    return {fault.path: fault.problem for fault in refusal.value.faults}


def leaves(value: Any, path: str = "") -> list[str]:
    """The paths of all fields, outer ones too."""
    if isinstance(value, dict):
        inner = [(f"{path}.{name}".lstrip("."), part) for name, part in value.items()]
    elif isinstance(value, list):
        inner = [(f"{path}.{place}", part) for place, part in enumerate(value)]
    else:
        return [path]
    return ([path] if path else []) + [leaf for name, part in inner for leaf in leaves(part, name)]


REQUIRED = {
    "as_of",
    "car",
    "car.mark",
    "car.number",
    "car.specification",
    "car.approvals.0.item",
    "car.approvals.0.interval_months",
    "events.0.on",
    "events.0.items",
    "events.1.on",
    "events.1.items",
    "events.0.readings.0.zone",
    "events.0.readings.0.inches",
    "events.0.readings.1.zone",
    "events.0.readings.1.inches",
}
OPTIONAL = [
    path
    for path in leaves(FULL)
    if path not in REQUIRED and not path.rsplit(".", 1)[-1].isdigit() and ".due." not in path
    and "required_thickness_in." not in path
]  # fmt: skip


def test_a_question_with_every_field_is_taken():
    assert due_dates(copy.deepcopy(FULL))["car"] == "ZQAX 204117"


@pytest.mark.parametrize("path", OPTIONAL)
def test_an_absent_field_is_null(path):
    assert due_dates(without(path)) == due_dates(put(path, None))


@pytest.mark.parametrize("path", sorted(REQUIRED))
def test_a_required_field_must_be_there(path):
    for asked in (without(path), put(path, None)):
        found = faults(asked)
        assert all(place.startswith(path) for place in found)
        assert found


NUMBERS = {
    # path: values that are no such number
    "car.tank.tensile_psi": [0, -1, "strong", True],
    "car.tank.inside_diameter_in": [0, -3, -0.001, "wide", True, [119]],
    "car.tank.joint_efficiency": [0, -0.9, 1.01, "good"],
    "car.tank.required_thickness_in.head_a": [0, -0.4, "thick"],
    "car.service.corrosion_rate_mil_per_year": [-0.1, "slow"],
    "car.relief_device.set_psig": [0, -75, "high"],
    "events.0.readings.0.inches": [0, -0.4, "thin", True],
    "events.0.readings.1.span_in": [-1, "wide"],
    "events.0.readings.1.apart_in": [-1, "far"],
}
MONTHS = [0, -1, 1.5, "many", True, 10_000_000]
WORDS = {
    # path: words that are no such choice
    "settings.due_precision": ["week", "DAY", 1],
    "settings.stencil_year": ["middle", 2028],
    "car.tank.material": ["TC128", "unobtainium", 128],
    "car.tank.head_shape": ["4:1", "flat", 2],
    "car.tank.built_to": ["CPC-1233", "PIH-2010"],
    "car.service.packing_group": ["IV", "2", 2],
    "car.service.un": ["1789", "UN178", "UN17890", "XX1789", "UN 17A9", 1789],
    "car.relief_device.kind": ["spring", "Valve"],
    "car.reflective_sheeting.method": ["guess", "Comparator", 1],
    "car.approvals.0.item": ["roof", "age_limit", "damage"],
    "events.0.outcome": ["maybe", "passed", "Pass", True],
    "events.0.items.0": ["roof", "Visual", "age_limit", "service_end", 7],
    "events.1.opens.0": ["roof", "age_limit", "damage"],
    "events.0.readings.0.zone": ["roof", "head_c"],
    "events.0.readings.0.extent": ["spot", "Local"],
}
YES_OR_NO = [
    "car.tank.jacketed",
    "car.tank.insulated",
    "car.tank.thermal_protection",
    "car.tank.normalized_steel",
    "car.lining.documented",
    "car.service.hazardous",
    "car.service.poison_by_inhalation",
    "car.service.corrosive_or_reactive",
    "car.service.fluorinated_hydrocarbon_only",
    "car.relief_device.protected_in_storage",
    "car.approvals.0.stenciled",
]
DAYS = [
    "car.rebuilt_on",
    "car.lining.applied_on",
    "car.relief_device.tested_on",
    "car.relief_device.installed_on",
    "car.reflective_sheeting.installed_on",
    "car.stencil.marked_on",
    "as_of",
    "car.built_on",
    "events.0.on",
    "events.1.on",
]
INTERVALS = [
    "car.lining.owner_interval_months",
    "car.relief_device.owner_interval_months",
    "car.service_equipment.owner_interval_months",
    "car.approvals.0.interval_months",
]
PARTS = [
    # what is an object or a list, and not a word
    *((path, "text") for path in ("settings", "car", "car.tank", "car.lining", "car.service")),
    *((path, ["list"]) for path in ("car.relief_device", "car.stencil", "car.service_equipment")),
    ("car.reflective_sheeting", 2016),
    *(
        (path, {"on": 1})
        for path in ("events", "car.approvals", "events.0.items", "events.1.opens")
    ),
    ("events.0", "visual"),
    ("events.0.readings", "thin"),
    ("events.0.readings.0", 0.43),
    ("car.approvals.0", "safety_systems"),
    ("car.stencil.due", ["visual"]),
    ("car.tank.required_thickness_in", 0.4375),
]
TEXTS = [
    ("car.lining.kind", 200),
    ("car.service.commodity", 200),
    ("car.service.hazard_class", 20),
    ("car.approvals.0.reference", 200),
    ("events.0.reference", 200),
    ("events.1.reference", 200),
]
WRONG = [
    # Text that is none, or that no field has room for.
    *((path, value) for path, _ in TEXTS for value in (7, True, ["text"], {"text": "x"})),
    *((path, "x" * (room + 1)) for path, room in TEXTS),
    *((path, value) for path, values in NUMBERS.items() for value in values),
    *((path, value) for path in INTERVALS for value in MONTHS),
    *((path, value) for path, values in WORDS.items() for value in values),
    *((path, value) for path in YES_OR_NO for value in ("maybe", 2)),
    *((path, value) for path in DAYS for value in ("2024-02-30", "soon", 2024)),
    *PARTS,
    ("settings.soon_days", -1),
    ("settings.soon_days", 1.5),
    ("settings.soon_days", "soon"),
    ("settings.soon_days", 36_501),
    ("settings.soon_days", 10**20),
    ("car.mark", "Z"),
    ("car.mark", "ZQAXX"),
    ("car.mark", "ZQ1"),
    ("car.mark", "ZQ X"),
    ("car.mark", ""),
    ("car.mark", 204117),
    ("car.number", 0),
    ("car.number", -1),
    ("car.number", 1_000_000),
    ("car.number", 1.5),
    ("car.number", "many"),
    ("car.number", True),
    ("car.specification", "DOT 999A100W1"),
    ("car.specification", "x" * 61),
    ("car.specification", ""),
    ("car.specification", 111),
    ("car.stencil.due.visual", "28"),
    ("car.stencil.due.visual", "20x8"),
    ("car.stencil.due.visual", "2028-02-30"),
    ("car.stencil.due.visual", 2028),
    ("car.stencil.due.visual", "1799"),
    ("car.tank.inside_diameter_in", float("nan")),
    ("car.tank.inside_diameter_in", float("inf")),
    ("car.tank.inside_diameter_in", 1e300),
]


@pytest.mark.parametrize(("path", "value"), WRONG)
def test_a_wrong_value_is_told_at_its_place_with_what_was_found(path, value):
    found = faults(put(path, value))
    assert list(found) == [path]
    assert found[path]
    assert "^" not in found[path], "a pattern for machines is no sentence for people"
    told = isinstance(value, str | int | float) and not isinstance(value, bool) and value != ""
    if told and len(str(value)) <= 20:
        assert str(value) in found[path]
    elif told:
        assert "at most" in found[path] or str(value)[:20] in found[path]


def field(path: str) -> str:
    """A path without its places in lists and the names that stand for any of their kind."""
    steps = [step for step in path.split(".") if not step.isdigit()]
    if "due" in steps or "required_thickness_in" in steps:
        return ".".join(
            steps[: steps.index("due" if "due" in steps else "required_thickness_in") + 1]
        )
    return ".".join(steps)


def fields(model: type[BaseModel], before: str = "") -> set[str]:
    """The paths of all fields that a request may have, outer ones too."""
    found = set()
    for name, info in model.model_fields.items():
        found.add(before + name)
        for part in parts(info.annotation):
            found |= fields(part, f"{before}{name}.")
    return found


def parts(annotation: Any) -> list[type[BaseModel]]:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return [annotation]
    return [part for inner in get_args(annotation) for part in parts(inner)]


def test_every_field_there_is_has_its_wrong_values():
    assert {field(path) for path in leaves(FULL)} == fields(Request)
    assert {field(path) for path, _ in WRONG} == fields(Request)


@pytest.mark.parametrize(
    ("path", "value", "other"),
    [
        # What no field shows by itself. Months and what lies ahead: test_dates_given.py.
        ("car.built_on", "2026-11-26", ""),  # after the day asked for
        ("car.built_on", "2019-01-01", "events.0.on"),  # an event before it was built
        ("car.built_on", "2016-01-01", "car.rebuilt_on"),  # rebuilt before it was built
        ("car.lining.applied_on", "2009-04-16", ""),  # lined the day before it was built
        ("car.rebuilt_on", "2009-04-16", ""),
        ("events.0.on", "2009-04-16", ""),
        ("events.1.on", "2009-04-16", ""),
        ("events.1.on", "2021-08", ""),  # a change needs its day
        ("as_of", "2026-11", ""),
        ("as_of", "2009-04-16", "car.built_on"),
    ],
)
def test_what_contradicts_another_field_is_told(path, value, other):
    assert (other or path) in faults(put(path, value))


def test_an_event_that_says_nothing_is_refused():
    asked = put("events.0.items", [])
    asked["events"][0]["readings"] = []
    assert list(faults(asked)) == ["events.0.items"]


def test_in_a_list_of_questions_the_place_comes_first():
    wrong = put("car.tank.inside_diameter_in", -3)
    wrong_too = put("car.built_on", "2026-11-26")
    with pytest.raises(Refused) as refusal:
        due_dates([FULL, wrong, wrong_too])
    assert [fault.path for fault in refusal.value.faults][:2] == [
        "1.car.tank.inside_diameter_in",
        "2.car.built_on",
    ]


def test_a_fault_reads_as_the_contract_says():
    assert faults(put("car.tank.inside_diameter_in", -3)) == {
        "car.tank.inside_diameter_in": "must be above 0, got -3"
    }


@pytest.mark.parametrize(
    "path",
    [
        "asof",
        "setting",
        "settings.soon",
        "car.reporting_mark",
        "car.colour",
        "car.tank.inside_diameter",
        "car.lining.applied",
        "car.service.hazard",
        "car.relief_device.tested",
        "car.service_equipment.interval_months",
        "car.reflective_sheeting.installed",
        "car.stencil.marked",
        "car.approvals.0.months",
        "events.0.date",
        "events.0.readings.0.thickness",
        "event",
    ],
)
def test_an_unknown_field_is_refused_by_its_name(path):
    found = faults(put(path, "anything"))
    assert list(found) == [path]


@pytest.mark.parametrize(
    ("path", "value"),
    [
        ("car.tank.required_thickness_in.roof", 0.4375),  # no zone
        ("car.stencil.due.roof", "2028"),  # no item
        ("car.stencil.due.damage", "2028"),  # a change is no item
    ],
)
def test_an_unknown_zone_or_item_is_refused_by_its_name(path, value):
    assert list(faults(put(path, value))) == [path]


def test_every_fault_is_told_at_once():
    asked = put("car.tank.inside_diameter_in", -3)
    asked["car"]["number"] = 0
    asked["events"][1]["items"] = ["roof"]
    asked["events"][0]["readings"][1]["zone"] = "roof"
    asked["colour"] = "black"
    assert set(faults(asked)) == {
        "car.tank.inside_diameter_in",
        "car.number",
        "events.1.items.0",
        "events.0.readings.1.zone",
        "colour",
    }


@pytest.mark.parametrize("asked", ["car", 5, None])
def test_what_is_no_question_at_all_is_refused(asked):
    assert faults(asked)


def test_nothing_at_all_misses_the_day_and_the_car():
    assert any(path == "as_of" for path in faults({}))
    assert any(path.startswith("car") for path in faults({}))


def test_the_sentence_of_the_refusal_holds_the_first_fault():
    with pytest.raises(Refused) as refusal:
        due_dates(put("car.tank.inside_diameter_in", -3))
    assert "car.tank.inside_diameter_in: must be above 0, got -3" in str(refusal.value)


def with_a_wrong_number(path: str, value: object) -> Json:
    asked = put(path, value)
    asked["car"]["number"] = 0
    return asked


@pytest.mark.parametrize(
    ("path", "value", "problem"),
    [
        # what stands elsewhere does not hide these
        ("as_of", "2026-11", "must be a day YYYY-MM-DD"),
        ("car.specification", "DOT 999A100W1", "at character"),
        ("car.built_on", "2026-11-26", "must not lie after as_of"),
        ("car.rebuilt_on", "2009-04-16", "must not lie before the car was built"),
        ("car.lining.applied_on", "2009-04-16", "must not lie before the car was built"),
        ("car.tank.material", "TC128", "must be one of"),
        ("events.0.on", "2009-04-16", "must not lie before the car was built"),
        ("events.1.on", "2021-08", "must be a day YYYY-MM-DD for an event with damage"),
        ("events.1.items", [], "must name at least one item"),
    ],
)
def test_a_contradiction_is_told_beside_a_field_that_is_wrong(path, value, problem):
    found = faults(with_a_wrong_number(path, value))
    assert found["car.number"] == "must be at least 1, got 0"
    assert problem in found[path]


def test_faults_of_both_sorts_are_told_once_each_in_the_order_of_the_fields():
    asked = with_a_wrong_number("car.specification", "DOT 999A100W1")
    asked |= {"as_of": "2026-11", "colour": "black"}
    asked["car"]["mark"] = "Z"
    asked["car"]["tank"] |= {"material": "TC128", "tensile_psi": 0}
    asked["car"]["relief_device"]["kind"] = "spring"
    asked["events"][0] |= {"on": "2009-04-16", "outcome": "maybe"}
    asked["events"][1]["on"] = "2021-08"
    with pytest.raises(Refused) as refusal:
        due_dates(asked)
    assert [fault.path for fault in refusal.value.faults] == [
        "as_of", "car.mark", "car.number", "car.specification", "car.tank.material",
        "car.tank.tensile_psi", "car.relief_device.kind", "events.0.on", "events.0.outcome",
        "events.1.on", "colour",
    ]  # fmt: skip


@pytest.mark.parametrize("asked", [None, 7, "car", [[]], {}, {"car": []}, {"events": [7, None]}])
def test_whatever_is_sent_is_refused_in_sentences(asked):
    with pytest.raises(Refused) as refusal:
        due_dates(asked)
    assert all(fault.problem for fault in refusal.value.faults)


def test_of_a_list_both_sorts_of_faults_are_told_with_the_place_first():
    wrong = with_a_wrong_number("as_of", "2026-11")
    with pytest.raises(Refused) as refusal:
        due_dates([FULL, wrong, 7])
    paths = [fault.path for fault in refusal.value.faults]
    assert paths == ["1.as_of", "1.car.number", "2"]

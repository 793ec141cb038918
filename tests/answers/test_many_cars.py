"""What must hold of every car there is: asked of many cars of all regimes, drawn from seeds.

The same checks run under Hypothesis, which makes a car that breaks one as small as it can.
"""

import json
import re
from collections.abc import Iterator
from random import Random
from typing import Any

import jsonschema_rs
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.answers import due_dates
from app.core.facts import ITEMS, RULE_ITEMS
from tests.answers.shape import ANSWER
from tests.core.cars import MECHANICAL, SHELL_AND_HEADS, Json
from tests.core.drawn import INSPECTED, drawn
from tests.length import tries

CARS, PORTIONS = tries(short=4_000, long=100_000), 20
VERDICTS = ("may_load", "check", "may_not_load")
SHAPE = jsonschema_rs.validator_for(ANSWER)

# A fact of the car that nobody may know, and values of it among which is, for each item, the most lenient.
# "first" and "last" are the first day it can have been and the day asked for; "installed" is soon after the test.
DOUBTS: dict[str, list[Any]] = {
    "built_on": ["last possible"],
    "rebuilt_on": ["last"],
    "tank": [{"material": "TC128B", "inside_diameter_in": 20, "jacketed": True,
              "normalized_steel": True, "built_to": "PIH-2009"}],
    "tank.material": ["TC128B"],
    "tank.tensile_psi": [100_000],
    "tank.inside_diameter_in": [20],
    "tank.joint_efficiency": [1],
    "tank.head_shape": ["2:1"],
    "tank.jacketed": [True, False],
    "tank.built_to": ["CPC-1232", "PIH-2009"],
    "tank.normalized_steel": [True],
    "tank.required_thickness_in": [dict.fromkeys(SHELL_AND_HEADS, 0.001)],
    "lining.applied_on": ["first", "last"],
    "lining.owner_interval_months": [240],
    "lining.documented": [True],
    "service": [{"hazardous": False, "corrosive_or_reactive": False, "fluorinated_hydrocarbon_only": True}],
    "service.commodity": ["Invented syrup"],
    "service.un": ["UN9999"],
    "service.hazardous": [False],
    "service.hazard_class": ["9"],
    "service.packing_group": ["III"],
    "service.poison_by_inhalation": [False],
    "service.corrosive_or_reactive": [False],
    "service.corrosion_rate_mil_per_year": [0],
    "service.fluorinated_hydrocarbon_only": [True],
    "relief_device.kind": ["valve", "combination", "disc"],
    "relief_device.tested_on": ["last"],
    "relief_device.installed_on": ["first", "installed", "last"],
    "relief_device.protected_in_storage": [True],
    "relief_device.owner_interval_months": [240],
    "service_equipment.owner_interval_months": [240],
    "reflective_sheeting.installed_on": ["first", "last"],
    "reflective_sheeting.method": ["replacement", "comparator"],
    "stencil.marked_on": ["first", "last"],
}  # fmt: skip

# Facts of which nobody's knowing counts as the strictest value there is.
SAFE: dict[str, list[Any]] = {
    "tank.jacketed": [True, False],
    "tank.built_to": ["CPC-1232", "PIH-2009"],
    "tank.normalized_steel": [True, False],
    "lining.documented": [True, False],
    "service.hazardous": [True, False],
    "service.packing_group": ["I", "II", "III"],
    "service.corrosive_or_reactive": [True, False],
    "service.fluorinated_hydrocarbon_only": [True, False],
    "relief_device.kind": ["valve", "combination", "disc"],
    "relief_device.protected_in_storage": [True, False],
}


def check(asked: Json, source: Random) -> None:
    """Everything that must hold of this question; `source` draws what is tried on it."""
    answer = due_dates(asked)
    keeps_its_shape(asked, answer)
    is_never_loaded_past_its_dates(answer, asked)
    holds_failing(asked, answer, source)
    holds_in_doubt(asked, source)


def keeps_its_shape(asked: Json, answer: Json) -> None:
    text = json.dumps(answer)
    SHAPE.validate(answer)
    assert json.dumps(due_dates(asked)) == text, "the same question has another answer"
    names = [due["item"] for due in answer["items"]]
    assert names == sorted(set(names), key=ITEMS.index)


def deciding(answer: Json) -> set[str]:
    """The statuses that have a say in loading."""
    return {due["status"] for due in answer["items"] if due["item"] not in MECHANICAL}


def is_never_loaded_past_its_dates(answer: Json, asked: Json) -> None:
    verdict, statuses = answer["loading"]["verdict"], deciding(answer)
    if any(zone["verdict"] == "condemned" for zone in answer["thickness"]):
        assert verdict == "may_not_load"
    elif (asked["car"]["service"] or {}).get("hazardous") is False:
        assert verdict == "may_load"
    elif statuses & {"overdue", "due_now"}:
        assert verdict == "may_not_load"
    elif "unknown" in statuses or any(zone["verdict"] == "unknown" for zone in answer["thickness"]):
        assert verdict == "check"


def holds_failing(asked: Json, before: Json, source: Random) -> None:
    """A failing event without readings clears nothing and moves nothing later."""
    items = source.sample(INSPECTED, source.randint(1, 4))
    on = source.choice(
        [asked["as_of"], first_day(asked), *(a_day(asked, source) for _ in range(2))]
    )
    event = {"on": on, "items": items, "outcome": "fail"}
    after = due_dates({**asked, "events": [*asked["events"], event]})
    assert VERDICTS.index(after["loading"]["verdict"]) >= VERDICTS.index(
        before["loading"]["verdict"]
    )
    for was, now in zip(before["items"], after["items"], strict=True):
        assert now["item"] == was["item"]
        assert now["status"] in ("due_now", was["status"]), (was, now)
        assert when(now) <= when(was), (was, now)
        for field in ("basis_on", "interval_months", "calculated_due_on"):
            assert now[field] == was[field], (was, now)
    assert after["thickness"] == before["thickness"]


def holds_in_doubt(asked: Json, source: Random) -> None:
    """With a fact unknown nothing is due later than with the fact at its most lenient, or than at any value of it."""
    path, values, bound = source.choice(
        [(path, DOUBTS[path], max) for path in DOUBTS] + [(path, SAFE[path], min) for path in SAFE]
    )
    blind = due_dates(with_fact(asked, path, None))
    known = [
        {due["item"]: when(due) for due in due_dates(with_fact(asked, path, value))["items"]}
        for value in stated(asked, values)
    ]
    painted = (asked["car"]["stencil"] or {}).get("due", {})
    for due in blind["items"]:
        # With nothing to count from, nothing bounds a stencil: it controls alone.
        if due["basis_on"] is None and due["item"] in painted:
            continue
        most = bound(dates.get(due["item"], NEVER) for dates in known)
        assert when(due) <= most, f"{path} not known: {due}"


NOW, NEVER = "0000-00-00", "9999-99-99"


def when(due: Json) -> str:
    """By when, so that what is due now or unknown comes before any date, and what has none last."""
    if due["status"] in ("due_now", "unknown"):
        return NOW
    return due["due_on"] or NEVER


def with_fact(asked: Json, path: str, value: Any) -> Json:
    """The question with one fact of the car replaced; the parts on the way are copied."""
    car = dict(asked["car"])
    *way, last = path.split(".")
    place = car
    for name in way:
        place[name] = dict(place[name] or {})
        place = place[name]
    place[last] = value
    return {**asked, "car": car}


def stated(asked: Json, values: list[Any]) -> Iterator[Any]:
    for value in values:
        if value in ("first", "last", "last possible", "installed"):
            yield {
                "first": first_day(asked),
                "last": asked["as_of"],
                "last possible": last_possible(asked),
                "installed": ((asked["car"]["relief_device"] or {}).get("tested_on")),
            }[value]
        else:
            yield value


def first_day(asked: Json) -> str:
    return asked["car"]["built_on"] or "1968-01-01"


def last_possible(asked: Json) -> str:
    """The last day on which the car can have been built."""
    lining = asked["car"]["lining"] or {}
    days = [asked["as_of"], asked["car"]["rebuilt_on"], lining.get("applied_on")]
    days += [event["on"] for event in asked["events"]]
    return min(day if len(day) > 7 else f"{day}-01" for day in days if day)


def a_day(asked: Json, source: Random) -> str:
    days = [event["on"] for event in asked["events"] if event["on"] <= asked["as_of"]]
    day = source.choice([asked["as_of"], *days])
    return day if len(day) > 7 else f"{day}-01"


@pytest.mark.slow
@pytest.mark.parametrize("portion", range(PORTIONS))
def test_many_cars(portion: int):
    source = Random(f"portion {portion}")
    for place in range(CARS // PORTIONS):
        asked = drawn(source)
        try:
            check(asked, source)
        except Exception as error:
            error.add_note(f"car {place} of portion {portion}: {json.dumps(asked)}")
            raise


@given(st.randoms(use_true_random=False))
@settings(max_examples=tries(short=30, long=300))
def test_any_car(source: Random):
    check(drawn(source), source)


def test_every_status_and_verdict_is_met():
    """The draw is worth its name: it reaches every status of every item that can have it."""
    source, met, loading = Random("statuses"), set(), set()
    for _ in range(1500):
        answer = due_dates(drawn(source))
        met |= {(due["item"], due["status"]) for due in answer["items"]}
        loading.add(answer["loading"]["verdict"])
    assert loading == set(VERDICTS)
    calendar = {"due_now", "overdue", "soon", "in_date", "unknown"}
    for name, statuses in {
        **dict.fromkeys(RULE_ITEMS, calendar),
        "thickness": {*calendar, "by_event"},
        "lining": {*calendar, "not_required"},
        "leakage": {"due_now", "by_event", "unknown"},
        "reflective_sheeting": {*calendar, "by_event"},
        "age_limit": calendar - {"due_now"},
        "service_end": {"overdue", "soon", "in_date", "unknown", "not_required"},
    }.items():
        assert {status for item, status in met if item == name} == statuses, name


def test_what_contradicts_itself_is_met():
    """The draw reaches every contradiction that is told, and installations of which a month alone is known."""
    source, met = Random("contradictions"), set()
    for _ in range(1500):
        answer = due_dates(drawn(source))
        met |= {
            re.sub(r"\d+", "N", warning["text"].split(": ")[0])
            for warning in answer["warnings"]
            if warning["text"].startswith(("car.", "events."))
        }
        device = (due for due in answer["items"] if due["item"] == "relief_device")
        met |= {"month" for due in device if "no day is stated" in json.dumps(due["reasons"])}
    assert met == {
        "car.tank.tensile_psi",
        "car.relief_device.kind",
        "car.relief_device.installed_on",
        "events.N.outcome",
        "month",
    }

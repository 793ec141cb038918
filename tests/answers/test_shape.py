"""The answer keeps its shape, whatever was asked."""

import copy
import json

import jsonschema_rs
import pytest
from hypothesis import given

from app.answers import due_dates
from tests.answers.shape import ANSWER
from tests.core.cars import (
    LINED_CAR,
    LIQUOR,
    SHELL_AND_HEADS,
    UNLINED_CAR,
    Json,
    ask,
    changed,
    failed,
    names,
    qualified,
    requests,
)


@pytest.mark.parametrize(
    "asked",
    [
        ask(),
        ask(qualified()),
        ask(built_on=None),
        ask(failed("2024-01-01", "visual"), service=LIQUOR),
        ask(lining={"kind": "rubber"}, specification="DOT 111A100W5"),
        ask(changed("2024-01-01", "relief_device_changed")),
        ask(specification="DOT 115A60W1"),
        ask(specification="DOT 106A500X"),
        ask(specification="DOT 113A60W"),
        ask(specification="DOT 107A3000"),
        ask(reflective_sheeting={"method": "comparator"}),
        ask(service={"hazard_class": "3", "un": "UN1170"}),
        {"as_of": "2026-11-25", "car": {"mark": "ZQ", "number": 1, "specification": "111A60W1"}},
    ],
)
def test_an_answer_keeps_its_shape(asked):
    jsonschema_rs.validate(ANSWER, json.loads(json.dumps(due_dates(asked))))


@given(requests())
def test_any_answer_keeps_its_shape(asked: Json):
    answer = due_dates(asked)
    jsonschema_rs.validate(ANSWER, json.loads(json.dumps(answer)))
    lined = "lining" in names(answer)
    expected = LINED_CAR if lined else UNLINED_CAR
    without = (asked["car"]["relief_device"] or {}).get("kind") == "none"
    assert names(answer) == [name for name in expected if not (without and name == "relief_device")]
    rows = [row["zone"] for row in answer["thickness"]]
    assert rows[:4] == list(SHELL_AND_HEADS)
    assert rows[4:] == [name for name in ("sump", "nozzle", "housing") if name in rows]


@given(requests())
def test_the_same_question_gives_the_same_answer_and_stays_as_it_was(asked: Json):
    before = copy.deepcopy(asked)
    first = json.dumps(due_dates(asked))
    assert json.dumps(due_dates(asked)) == first
    assert asked == before


def test_the_answer_names_the_car_the_day_and_the_rulebook():
    answer = due_dates(ask())
    assert (answer["car"], answer["as_of"]) == ("ZQKX 104512", "2026-11-25")
    assert answer["rulebook"]["id"] == "us-49cfr"
    assert answer["rulebook"]["edition"]


def test_only_four_fields_are_required():
    car = {"mark": "ZQ", "number": 999999, "specification": "DOT 111A60W1"}
    answer = due_dates({"as_of": "2026-11-25", "car": car})
    assert answer["car"] == "ZQ 999999"
    statuses = {due["item"]: due["status"] for due in answer["items"]}
    # No event, so nothing to be leak-tested after; everything else wants a date or a fact.
    assert statuses.pop("leakage") == "by_event"
    assert set(statuses.values()) == {"unknown"}

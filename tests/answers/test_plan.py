"""The shop plan as its contract has it: what is refused and how, and what is answered."""

import json
from copy import deepcopy
from typing import Any

import pytest

from app.answers.planning import plan
from app.errors import Refused

Json = dict[str, Any]

VISUAL: Json = {
    "job": "visual", "skill": "tank", "days": 5, "latest": "2028-02", "early_cost": 12.5, "late_cost": None,
}  # fmt: skip
CAR: Json = {
    "car": "ZQKX 104512", "visit_cost": 900, "move_cost": {"NORTH": 1400}, "jobs": [VISUAL],
    "earliest": None, "fixed": [], "forbid": [],
}  # fmt: skip
PROBLEM: Json = {
    "first_month": "2027-01",
    "months": 24,
    "unplaced_cost": 100000,
    "shops": [{"code": "NORTH", "does": ["tank", "lining"], "capacity_days": [40] * 24}],
    "cars": [CAR],
}


def changed(path: str, value: object) -> Json:
    """The problem with the field at a path set to a value."""
    problem = deepcopy(PROBLEM)
    *parts, last = (int(part) if part.isdigit() else part for part in path.split("."))
    at: Any = problem
    for part in parts:
        at = at[part]
    at[last] = value
    return problem


def test_a_plan_is_answered_in_the_shape_of_the_contract() -> None:
    answer = plan(PROBLEM)
    assert answer.pop("seconds") >= 0
    assert answer == {
        "status": "optimal",
        "cost": 2300.0,
        "lower_bound": pytest.approx(2300.0),
        "gap": pytest.approx(0.0, abs=1e-6),
        "soonest_due_first_cost": 2300.0,
        "visits": [
            {
                "car": "ZQKX 104512",
                "shop": "NORTH",
                "month": "2028-02",
                "jobs": ["visual"],
                "days": 5,
            }
        ],
        "unplaced": [],
        "load": [{"shop": "NORTH", "month": "2028-02", "days": 5, "capacity_days": 40}],
    }
    json.dumps(answer)


@pytest.mark.parametrize(
    ("path", "value", "place", "sentence"),
    [
        ("first_month", "2027-13", "first_month", "must be a month YYYY-MM, got '2027-13'"),
        ("first_month", "2027-01-01", "first_month", "must be a month YYYY-MM"),
        ("months", 0, "months", "must be at least 1, got 0"),
        ("months", 1.5, "months", "must be a whole number, got 1.5"),
        ("months", 601, "months", "must be at most 600, got 601"),
        ("unplaced_cost", -1, "unplaced_cost", "must be at least 0, got -1"),
        ("unplaced_cost", "much", "unplaced_cost", "must be a number, got 'much'"),
        ("unplaced_cost", True, "unplaced_cost", "must be a number, got true"),
        ("unplaced_cost", 1e12, "unplaced_cost", "must be at most 1000000000"),
        ("shops", {}, "shops", "must be a list, got an object"),
        ("shops.0.capacity_days", [40] * 23, "shops.0.capacity_days", "a list of 24, one a month; got a list of 23"),
        ("shops.0.capacity_days", [40], "shops.0.capacity_days", "a list of 24, one a month; got a list of 1"),
        ("shops.0.capacity_days", -2, "shops.0.capacity_days", "got -2"),
        ("shops.0.capacity_days", [40, "x"], "shops.0.capacity_days", "got 'x' as number 2"),
        ("shops.0.capacity_days", None, "shops.0.capacity_days", "is required"),
        ("shops.0.does", "tank", "shops.0.does", "must be a list, got 'tank'"),
        ("cars.0.car", "", "cars.0.car", "must be at least 1 characters long"),
        ("cars.0.color", "grey", "cars.0.color", "is not a field that is known here"),
        ("cars.0.visit_cost", -5, "cars.0.visit_cost", "must be at least 0, got -5"),
        ("cars.0.move_cost", {"SOUTH": 1}, "cars.0.move_cost.SOUTH", "no shop has the code 'SOUTH'"),
        ("cars.0.move_cost", {"NORTH": -1}, "cars.0.move_cost.NORTH", "must be at least 0, got -1"),
        ("cars.0.jobs.0.days", 0, "cars.0.jobs.0.days", "must be above 0, got 0"),
        ("cars.0.jobs.0.latest", None, "cars.0.jobs.0.latest", "is required"),
        ("cars.0.jobs", [VISUAL, VISUAL], "cars.0.jobs.1.job", "the name 'visual' is given twice"),
        ("cars", [CAR, CAR], "cars.1.car", "the name 'ZQKX 104512' is given twice"),
        ("cars.0.forbid", [{"shop": "EAST"}], "cars.0.forbid.0.shop", "no shop has the code 'EAST'"),
        ("cars.0.fixed", [{"shop": "EAST", "month": "2027-02"}], "cars.0.fixed.0.shop", "'EAST'"),
        (
            "cars.0.fixed", [{"shop": "NORTH", "month": "2027-02", "jobs": ["paint"]}],
            "cars.0.fixed.0.jobs", "the car has no job 'paint'",
        ),
        (
            "cars.0.fixed", [{"shop": "NORTH", "month": "2030-02"}],
            "cars.0.fixed.0", "of ZQKX 104512 to NORTH in 2030-02 lies outside the months",
        ),
        (
            "cars.0.fixed", [{"shop": "NORTH", "month": "2028-03", "jobs": ["visual"]}],
            "cars.0.fixed.0.jobs", "is too late for 'visual', latest 2028-02",
        ),
        (
            "cars.0.fixed", [{"shop": "NORTH", "month": "2027-02"}] * 2,
            "cars.0.fixed.0", "is one of 2 in that month",
        ),
    ],
)  # fmt: skip
def test_what_is_wrong_is_refused_at_its_place_in_a_sentence(
    path: str, value: object, place: str, sentence: str
) -> None:
    with pytest.raises(Refused) as refused:
        plan(changed(path, value))
    told = {fault.path: fault.problem for fault in refused.value.faults}
    assert sentence in told.get(place, ""), told


def fixed(**more: object) -> Json:
    car = CAR | {"fixed": [{"shop": "NORTH", "month": "2027-02", "jobs": ["visual"]}]} | more
    return PROBLEM | {"cars": [car]}


@pytest.mark.parametrize(
    ("problem", "sentence"),
    [
        (fixed(earliest="2027-03"), "is before the earliest month, 2027-03"),
        (fixed(move_cost={}), "is to a shop out of its reach"),
        (fixed(forbid=[{"shop": "NORTH", "month": "2027-02"}]), "is forbidden"),
        (fixed(jobs=[VISUAL | {"skill": "valve"}]), "whose skill 'valve' the shop lacks"),
        (fixed(jobs=[VISUAL | {"days": 41}]), "with it 41 days are fixed there, 40 there are"),
    ],
)
def test_a_fixed_visit_that_cannot_stand_is_refused_by_name(problem: Json, sentence: str) -> None:
    with pytest.raises(Refused) as refused:
        plan(problem)
    (fault,) = refused.value.faults
    assert fault.path.startswith("cars.0.fixed.0")
    assert fault.problem.startswith("the fixed visit of ZQKX 104512")
    assert sentence in fault.problem


@pytest.mark.parametrize(
    ("problem", "why"),
    [
        (changed("cars.0.jobs.0.skill", "valve"), "no shop has the skill 'valve'"),
        (changed("cars.0.move_cost", {}), "no shop in reach"),
        (changed("cars.0.move_cost", {"NORTH": None}), "no shop in reach"),
        (changed("shops.0.capacity_days", 0), "no room: it takes 5 days"),
        (changed("unplaced_cost", 20), "leaving it costs less: 20, where the cheapest place"),
        (changed("cars.0.jobs.0.latest", "2026-11"), "no shop with skill 'tank' in reach in time"),
        (changed("cars.0.earliest", "2028-03"), "no shop with skill 'tank' in reach in time"),
    ],
)
def test_a_job_that_is_left_says_why(problem: Json, why: str) -> None:
    (left,) = plan(problem)["unplaced"]
    assert (left["car"], left["job"]) == ("ZQKX 104512", "visual")
    assert left["why"].startswith(why), left


def test_a_shop_with_the_skill_out_of_reach_is_told_as_such() -> None:
    """The contract's own words."""
    south = {"code": "SOUTH", "does": ["valve"], "capacity_days": 9}
    problem = changed("cars.0.jobs.0.skill", "valve")
    problem["shops"].append(south)
    assert plan(problem)["unplaced"][0]["why"] == "no shop with skill 'valve' in reach"


def test_the_last_of_two_cars_is_left_when_there_is_room_for_one() -> None:
    problem = changed("shops.0.capacity_days", [0] * 13 + [5] + [0] * 10)
    problem["cars"].append(CAR | {"car": "ZQKX 104513"})
    answer = plan(problem)
    assert len(answer["visits"]) == 1
    assert (
        answer["unplaced"][0]["why"]
        == "no room: every shop month in which it could be done is full"
    )
    assert answer["cost"] == 2300 + 100000


@pytest.mark.parametrize(
    "problem",
    [
        PROBLEM | {"cars": []},
        PROBLEM | {"shops": [], "cars": [CAR | {"move_cost": {}}]},
        changed("cars.0.jobs", []),
        changed("cars.0.jobs.0.latest", "2029-01"),
    ],
)  # fmt: skip
def test_with_nothing_to_place_or_nowhere_to_go_there_is_a_plan_all_the_same(problem: Json) -> None:
    answer = plan(problem)
    assert (answer["status"], answer["visits"]) == ("optimal", [])
    assert answer["gap"] <= 1e-6


def test_a_job_past_the_horizon_is_neither_placed_nor_left() -> None:
    answer = plan(changed("cars.0.jobs.0.latest", "2029-01"))
    assert (answer["cost"], answer["unplaced"]) == (0, [])


def test_one_visit_does_what_two_would() -> None:
    """Early work costs less than a second move; where it costs more, two visits are made."""
    lining = VISUAL | {"job": "lining", "skill": "lining", "latest": "2027-06", "early_cost": 1}
    together = plan(changed("cars.0.jobs", [VISUAL, lining]))
    assert [visit["month"] for visit in together["visits"]] == ["2027-06"]
    assert together["cost"] == 2300 + 8 * 12.5
    apart = plan(changed("cars.0.jobs", [VISUAL | {"early_cost": 500}, lining]))
    assert [visit["month"] for visit in apart["visits"]] == ["2027-06", "2028-02"]


def test_a_fixed_visit_stands_and_takes_what_else_fits() -> None:
    visit = {"shop": "NORTH", "month": "2027-03", "jobs": []}
    answer = plan(changed("cars.0.fixed", [visit]))
    assert answer["visits"] == [
        {"car": "ZQKX 104512", "shop": "NORTH", "month": "2027-03", "jobs": ["visual"], "days": 5}
    ]
    assert answer["cost"] == 2300 + 11 * 12.5

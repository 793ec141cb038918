"""Why work has no visit: what is said of room and of cost is what the numbers of the problem say."""

from dataclasses import replace

import pytest

from app.core.plan.cost import cost
from app.core.plan.problem import Car, Job, Problem, Shop, Visit
from app.core.plan.why import why_left

NORTH = Shop("NORTH", frozenset({"tank"}), (10.0, 6.0))
TANK = Job("visual", "tank", 4, latest=1)
CAR = Car("ZQKX 1", 2_400, {"NORTH": 60}, (TANK,))
PROBLEM = Problem("2027-05", 2, 100_000, (NORTH,), (CAR,))


def why(used=None, unplaced=100_000, by_hand=False, days=4.0, rooms=(10.0, 6.0), visits=()) -> str:
    shop = replace(NORTH, capacity_days=rooms)
    problem = replace(PROBLEM, unplaced_cost=unplaced, shops=(shop,))
    return why_left(problem, CAR, replace(TANK, days=days), visits, used or {}, by_hand)


PLACE = "the cheapest place with room, NORTH in 2027-05,"
FULL = {("NORTH", 0): 10, ("NORTH", 1): 6}
TOO_FEW = {("NORTH", 0): 9, ("NORTH", 1): 3}


@pytest.mark.parametrize(
    ("told", "case"),
    [
        (f"it was taken out by hand, though {PLACE} costs 97,540 less than leaving it", {"by_hand": True}),
        (f"the search did not place it in its time, though {PLACE} costs 97,540 less than leaving it", {}),
        (f"leaving it costs less: 2,000, where {PLACE} adds 2,460", {"unplaced": 2_000}),
        (f"leaving it costs less: 2,000, where {PLACE} adds 2,460", {"unplaced": 2_000, "by_hand": True}),
        (f"leaving it costs less: 1,234.50, where {PLACE} adds 2,460", {"unplaced": 1_234.5}),
        (f"leaving it costs no more: 2,460, where {PLACE} adds 2,460", {"unplaced": 2_460}),
        ("no room: every shop month in which it could be done is full", {"used": FULL}),
        (
            "no room: it takes 4 days, no shop month in which it could be done has that left",
            {"used": TOO_FEW},
        ),
        (
            "no room: it takes 1 day, no shop month in which it could be done has that left",
            {"days": 1.0, "rooms": (1.0, 1.0), "used": {("NORTH", 0): 0.5, ("NORTH", 1): 1}},
        ),
        (
            "no room: it takes 1 day, no month in reach has more than 0.5 beside visits that stand",
            {"days": 1.0, "rooms": (0.5, 0.5)},
        ),
    ],
)  # fmt: skip
def test_what_is_said_is_what_room_and_costs_say(told, case):
    assert why(**case) == told


def test_what_placing_saves_is_what_the_plan_then_costs_less():
    """Against `cost`, which knows the plan alone; the car goes there anyway."""
    empty = Visit("ZQKX 1", "NORTH", 1, ())
    saved = cost(PROBLEM, [empty]) - cost(PROBLEM, [replace(empty, jobs=("visual",))])
    assert f"NORTH in 2027-06, costs {saved:,.0f} less" in why(visits=(empty,))

"""The checker of a plan finds each way of breaking one, and the cost is what the contract says it is."""

from dataclasses import replace

import pytest

from app.core.plan.bound import lower_bound
from app.core.plan.check import faults
from app.core.plan.cost import cost, load
from app.core.plan.problem import Car, Fixed, Forbidden, Job, Load, Problem, Shop, Visit
from app.core.plan.soonest import soonest_due_first

TANK = Job("visual", "tank", 5, latest=2, early_cost=10.0)
VALVE = Job("valve", "valve", 1, latest=1, early_cost=2.0, late_cost=30.0)
LATER = Job("lining", "tank", 4, latest=9)
CAR = Car("ZQKX 1", 100.0, {"NORTH": 40.0, "SOUTH": 90.0}, (TANK, VALVE, LATER), earliest=1)
OTHER = Car("ZQKX 2", 100.0, {"NORTH": 40.0}, (TANK,), forbid=(Forbidden("NORTH", 1),))
HELD = Car("ZQKX 3", 100.0, {"NORTH": 40.0}, (TANK,), fixed=(Fixed("NORTH", 0, ("visual",)),))
NORTH = Shop("NORTH", frozenset({"tank", "valve"}), (5.0, 5.0, 9.0, 9.0))
SOUTH = Shop("SOUTH", frozenset({"valve"}), (9.0,) * 4)
PROBLEM = Problem("2027-11", 4, 1000.0, (NORTH, SOUTH), (CAR, OTHER, HELD))
STANDING = Visit("ZQKX 3", "NORTH", 0, ("visual",))
SOUND = (Visit("ZQKX 1", "NORTH", 2, ("visual", "valve")), STANDING)


def test_a_plan_that_breaks_nothing_stands() -> None:
    assert faults(PROBLEM, SOUND) == []


@pytest.mark.parametrize(
    ("visits", "told"),
    [
        ((Visit("ZQKX 9", "NORTH", 2, ()), STANDING), "no car is named 'ZQKX 9'"),
        ((Visit("ZQKX 1", "WEST", 2, ()), STANDING), "ZQKX 1: no shop is named 'WEST'"),
        ((Visit("ZQKX 1", "NORTH", 4, ("visual",)), STANDING), "2028-03 lies outside the horizon"),
        ((Visit("ZQKX 1", "NORTH", 2, ("paint",)), STANDING), "ZQKX 1: has no job 'paint'"),
        ((Visit("ZQKX 1", "NORTH", 2, ()), STANDING), "NORTH in 2028-01 does nothing"),
        ((Visit("ZQKX 2", "SOUTH", 2, ()), STANDING), "is out of reach"),
        ((Visit("ZQKX 1", "NORTH", 0, ("valve",)), STANDING), "is before the car can go"),
        ((Visit("ZQKX 2", "NORTH", 1, ("visual",)), STANDING), "is forbidden"),
        ((Visit("ZQKX 1", "SOUTH", 2, ("visual",)), STANDING), "lacks the skill 'tank' of 'visual'"),
        ((Visit("ZQKX 1", "NORTH", 3, ("visual",)), STANDING), "is too late for 'visual'"),
        (
            (Visit("ZQKX 1", "NORTH", 2, ("visual",)), Visit("ZQKX 1", "SOUTH", 2, ("valve",)), STANDING),
            "ZQKX 1: 2 visits in 2028-01",
        ),
        (
            (Visit("ZQKX 1", "NORTH", 2, ("valve",)), Visit("ZQKX 1", "SOUTH", 3, ("valve",)), STANDING),
            "ZQKX 1: 'valve' is done 2 times",
        ),
        ((), "the fixed visit to NORTH in 2027-11 does not stand"),
        ((Visit("ZQKX 3", "NORTH", 0, ()),), "the fixed visit to NORTH in 2027-11 does not stand"),
        (
            (Visit("ZQKX 1", "NORTH", 2, ("visual", "lining")), Visit("ZQKX 2", "NORTH", 2, ("visual",)),
             STANDING),
            "NORTH in 2028-01: 14 days of work, 9 there are",
        ),
    ],
)  # fmt: skip
def test_each_way_of_breaking_a_plan_is_told(visits: tuple[Visit, ...], told: str) -> None:
    assert any(told in fault for fault in faults(PROBLEM, visits)), faults(PROBLEM, visits)


def test_jobs_are_named_as_whoever_asks_calls_them() -> None:
    visits = (Visit("ZQKX 1", "SOUTH", 3, ("visual",)), STANDING)
    assert faults(PROBLEM, visits, str.upper) == [
        "ZQKX 1: SOUTH in 2028-02 lacks the skill 'tank' of VISUAL",
        "ZQKX 1: SOUTH in 2028-02 is too late for VISUAL",
    ]


def test_overfull_months_are_told_by_shop_and_month_whatever_the_order_of_visits() -> None:
    small = replace(SOUTH, capacity_days=(0.0,) * 4)
    problem = replace(PROBLEM, shops=(small, replace(NORTH, capacity_days=(0.0,) * 4)))
    visits = (
        Visit("ZQKX 1", "SOUTH", 1, ("valve",)),
        Visit("ZQKX 2", "NORTH", 2, ("visual",)),
        STANDING,
    )
    assert [told.split(":")[0] for told in faults(problem, visits)] == [
        "NORTH in 2027-11", "NORTH in 2028-01", "SOUTH in 2027-12",
    ]  # fmt: skip


def test_the_cost_is_of_visits_months_and_jobs_left() -> None:
    """A visit each, the valve a month late, ZQKX 3 two months early, ZQKX 2 left; past the horizon nothing counts."""
    assert cost(PROBLEM, SOUND) == (100 + 40 + 30) + (100 + 40 + 2 * 10) + 1000


def test_the_load_is_of_shop_months_with_work() -> None:
    assert load(PROBLEM, SOUND) == [Load("NORTH", 0, 5, 5), Load("NORTH", 2, 6, 9)]


def test_no_prices_prove_what_each_car_costs_alone() -> None:
    """ZQKX 1 goes once, its valve late, since both want a day more than there is in 2027-12; ZQKX 3 as it is fixed."""
    assert lower_bound(PROBLEM, {}) == (100 + 40 + 30) + (100 + 40) + (100 + 40 + 20)


def test_a_price_raises_the_bound_only_where_days_lack() -> None:
    prices = {"NORTH": (0.0, 0.0, 3.0, 0.0)}
    assert lower_bound(PROBLEM, prices) <= cost(PROBLEM, SOUND)
    dear = {"NORTH": (0.0, 0.0, 1e9, 0.0)}
    assert lower_bound(PROBLEM, dear) == 0.0


def test_the_soonest_go_first_and_each_as_late_as_it_may() -> None:
    """The fixed visit fills 2027-11, the valve goes on time, and what is left of 2028-01 is too little for ZQKX 2."""
    assert soonest_due_first(PROBLEM) == (
        Visit("ZQKX 1", "NORTH", 1, ("valve",)),
        Visit("ZQKX 1", "NORTH", 2, ("visual",)),
        STANDING,
    )


def test_where_late_is_allowed_a_job_finds_a_later_month() -> None:
    full = replace(NORTH, capacity_days=(5.0, 0.0, 0.0, 1.0))
    problem = replace(
        PROBLEM, shops=(full, replace(SOUTH, capacity_days=(0.0,) * 4)), cars=(CAR, HELD)
    )
    assert Visit("ZQKX 1", "NORTH", 3, ("valve",)) in soonest_due_first(problem)

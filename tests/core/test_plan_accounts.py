"""The accounts of a plan's cars, asked for anew of changed cars alone: against the checker and the whole cost."""

import random
from dataclasses import replace

import pytest

from app.core.plan.accounts import accounts, anew, days_of, faults_in, total_cost
from app.core.plan.check import faults
from app.core.plan.cost import cost, days_used, for_other_work, left_out
from app.core.plan.demand import in_words
from app.core.plan.problem import Car, Job, Problem, Shop, Visit
from app.core.plan.revise import CannotChange, Change, Draft, apply
from app.core.plan.soonest import soonest_due_first
from tests.solve.problems import small

NORTH = Shop("NORTH", frozenset({"tank"}), (10.0,) * 6)
CAR = Car("ZQKX 1", 100, {"NORTH": 50}, (Job("visual", "tank", 4, 3, 10, 100),))
PROBLEM = Problem("2027-01", 6, 1e4, (NORTH,), (CAR,))


@pytest.mark.parametrize(("month", "late", "early"), [(1, 0, 2), (3, 0, 0), (5, 2, 0)])
def test_months_late_and_months_of_life_given_away_are_counted(month: int, late: int, early: int):
    found = accounts(PROBLEM, [Visit("ZQKX 1", "NORTH", month, ("visual",))])["ZQKX 1"]
    assert (found.late, found.early) == (late, early)


def test_visits_for_other_work_are_counted_with_what_they_cost():
    ours, other = Visit("ZQKX 1", "NORTH", 1, ("visual",)), Visit("ZQKX 1", "NORTH", 4, ())
    assert for_other_work(PROBLEM, [ours, other]) == (1, 150)
    assert for_other_work(PROBLEM, [ours]) == (0, 0)


def some_change(source: random.Random, draft: Draft) -> Change:
    """Of a car, to wherever: it need not be possible, and may break the plan."""
    visit = source.choice(draft.visits)
    shop, month = source.choice(draft.problem.shops).code, source.randrange(draft.problem.months)
    kind = source.choice(("move", "move", "take_out", "lock", "forbid"))
    return Change(kind, visit.car, visit.month, shop, month)


@pytest.mark.parametrize("seed", range(60))
def test_after_any_changes_the_accounts_come_to_what_the_whole_plan_does(seed: int):
    source, problem = random.Random(seed), small(seed)
    made = draft = Draft(problem, tuple(soonest_due_first(problem)))
    changed = set()
    for _ in range(6):
        if not draft.visits:
            break
        change = some_change(source, draft)
        try:
            draft = apply(draft, change)
        except CannotChange:
            continue
        changed.add(change.car)
    found = anew(accounts(made.problem, made.visits), draft, changed)
    assert found == accounts(draft.problem, draft.visits)
    assert total_cost(found) == pytest.approx(cost(draft.problem, draft.visits))
    assert days_of(found) == pytest.approx(days_used(draft.problem, draft.visits))
    assert faults_in(draft.problem, found) == faults(draft.problem, draft.visits, in_words)
    assert sum(each.left for each in found.values()) == len(
        list(left_out(draft.problem, draft.visits))
    )
    assert sum(each.visits for each in found.values()) == len(draft.visits)


def test_what_a_plan_breaks_is_told_of_cars_and_then_of_shops():
    full = replace(PROBLEM, shops=(replace(NORTH, capacity_days=(3.0,) * 6),))
    visits = [Visit("ZQKX 1", "NORTH", 2, ("visual",)), Visit("ZQKX 1", "NORTH", 4, ("visual",))]
    told = faults_in(full, accounts(full, visits))
    assert told == faults(full, visits, in_words)
    assert told[0] == "ZQKX 1: Visual inspection is done 2 times"
    assert [each.split(":")[0] for each in told] == [
        "ZQKX 1",
        "NORTH in 2027-03",
        "NORTH in 2027-05",
    ]

"""What is taken over from an earlier version into a problem put together anew, and what cannot be."""

from dataclasses import replace

import pytest

from app.core.plan.carry import carried
from app.core.plan.contradictions import contradictions
from app.core.plan.problem import Car, Fixed, Forbidden, Job, Problem, Shop, Visit
from app.core.plan.revise import Change, Draft, around_locked, revised
from app.solve import solve
from tests.solve.problems import small

NORTH, SOUTH = (Shop(code, frozenset({"tank"}), (5.0,) * 6) for code in ("NORTH", "SOUTH"))
BOTH = Job("visual+thickness", "tank", 4, 3)
CAR = Car("ZQKX 1", 100, {"NORTH": 50, "SOUTH": 20}, (BOTH,))
PROBLEM = Problem("2027-01", 6, 1e4, (NORTH, SOUTH), (CAR,))
LOCKED = Draft(
    PROBLEM, (Visit("ZQKX 1", "NORTH", 3, (BOTH.name,)),), frozenset({("ZQKX 1", 3)}), {"ZQKX 1": "Mind."}
)  # fmt: skip


def now(*jobs: Job, **otherwise) -> Problem:
    return replace(PROBLEM, cars=(replace(CAR, jobs=jobs or (BOTH,), **otherwise),))


@pytest.mark.parametrize(
    ("problem", "jobs"),
    [
        (now(), ("visual+thickness",)),
        (now(Job("thickness", "tank", 2, 3)), ("thickness",)),  # the rest was done since
        (now(Job("visual", "tank", 2, 3), Job("thickness", "tank", 2, 3)), ("visual", "thickness")),
        (now(BOTH, Job("leakage", "tank", 1, 3)), ("visual+thickness",)),
    ],
)
def test_a_locked_visit_keeps_what_is_still_to_be_done_of_its_work(problem, jobs):
    draft, lost = carried(LOCKED, problem)
    assert draft.visits == (Visit("ZQKX 1", "NORTH", 3, jobs),)
    assert draft.locked == {("ZQKX 1", 3)}
    assert draft.notes == {"ZQKX 1": "Mind."}
    assert lost == []


@pytest.mark.parametrize(
    "problem",
    [
        now(Job("leakage", "tank", 1, 3)),
        now(replace(BOTH, latest=2)),
        now(replace(BOTH, days=6)),
        now(replace(BOTH, skill="valve")),
        now(earliest=4),
        now(move_cost={"SOUTH": 20}),
        now(fixed=(Fixed("SOUTH", 3),)),
        now(forbid=(Forbidden("NORTH", 3),)),
        replace(now(), shops=(SOUTH,), cars=(replace(CAR, move_cost={"SOUTH": 20}),)),
    ],
)
def test_a_locked_visit_that_cannot_stand_any_more_is_told_and_planned_anew(problem):
    draft, (lost,) = carried(LOCKED, problem)
    assert (draft.visits, draft.locked) == ((), frozenset())
    assert (lost.kind, lost.cars) == ("carried", ("ZQKX 1",))
    assert "NORTH in 2027-04" in lost.text
    assert contradictions(around_locked(draft)) == []


def test_what_is_forbidden_stays_but_for_shops_that_are_gone():
    forbids = [
        Change("forbid", "ZQKX 1", None, "SOUTH"),
        Change("forbid", "ZQKX 1", None, "NORTH", 1),
    ]
    before = revised(LOCKED, forbids)
    assert carried(before, PROBLEM)[0].problem.cars[0].forbid == (
        Forbidden("SOUTH"), Forbidden("NORTH", 1),
    )  # fmt: skip
    gone = replace(PROBLEM, shops=(NORTH,), cars=(replace(CAR, move_cost={"NORTH": 50}),))
    assert carried(before, gone)[0].problem.cars[0].forbid == (Forbidden("NORTH", 1),)
    stands = now(fixed=(Fixed("SOUTH", 5),))
    assert carried(before, stands)[0].problem.cars[0].forbid == (Forbidden("NORTH", 1),)


@pytest.mark.parametrize("seed", range(30))
def test_a_plan_locked_whole_is_taken_over_whole_into_the_same_problem(seed):
    problem = small(seed)
    free = replace(problem, cars=tuple(replace(car, fixed=()) for car in problem.cars))
    solved = solve(free, 5)
    locked = frozenset((each.car, each.month) for each in solved.visits)
    draft, lost = carried(Draft(free, solved.visits, locked), free)
    assert lost == []
    assert set(draft.visits) == set(solved.visits)
    assert contradictions(around_locked(draft)) == []

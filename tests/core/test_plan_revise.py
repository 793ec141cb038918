"""A plan changed by hand, and where else a visit could be: against the whole cost worked out anew."""

import random
from dataclasses import replace

import pytest

from app.core.plan.check import faults
from app.core.plan.choices import choices, for_left, least_change
from app.core.plan.contradictions import contradictions
from app.core.plan.cost import cost, days_used
from app.core.plan.problem import Car, Forbidden, Job, Problem, Shop, Visit
from app.core.plan.revise import (
    CannotChange,
    Change,
    Draft,
    around_locked,
    compare,
    counting,
    revised,
    since,
    still_bounded,
)
from app.core.plan.soonest import soonest_due_first
from app.core.plan.why import why_left
from tests.solve.problems import small

NORTH, SOUTH = (
    Shop("NORTH", frozenset({"tank", "valve"}), (10.0,) * 6),
    Shop("SOUTH", frozenset({"tank"}), (5.0,) * 6),
)
TANK, VALVE = Job("visual", "tank", 4, 3, 10, 100), Job("relief_device", "valve", 2, 4, 5)
CAR = Car("ZQKX 1", 100, {"NORTH": 50, "SOUTH": 20}, (TANK, VALVE))
PROBLEM = Problem("2027-01", 6, 1e4, (NORTH, SOUTH), (CAR,))
DRAFT = Draft(PROBLEM, (Visit("ZQKX 1", "NORTH", 3, ("visual", "relief_device")),))


def move(month: int, shop: str, to: int) -> Change:
    return Change("move", "ZQKX 1", month, shop, to)


def test_a_moved_visit_stands_elsewhere_with_all_its_work():
    after = revised(DRAFT, [move(3, "NORTH", 1)])
    assert after.visits == (Visit("ZQKX 1", "NORTH", 1, ("visual", "relief_device")),)


def test_a_visit_moved_to_one_that_the_car_makes_joins_it():
    apart = replace(
        DRAFT,
        visits=(
            Visit("ZQKX 1", "NORTH", 3, ("visual",)),
            Visit("ZQKX 1", "NORTH", 4, ("relief_device",)),
        ),
    )
    assert revised(apart, [move(3, "NORTH", 4)]).visits == (
        Visit("ZQKX 1", "NORTH", 4, ("relief_device", "visual")),
    )


@pytest.mark.parametrize(
    ("change", "told"),
    [
        (move(3, "SOUTH", 1), "does no valve work"),
        (move(3, "NORTH", 3), "is there already"),
        (move(3, "NORTH", 6), "outside the months"),
        (move(2, "NORTH", 1), "has no visit in that month"),
        (move(3, "WEST", 1), "out of reach"),
        (Change("place", "ZQKX 1", None, "NORTH", 1, "visual"), "has its visit already"),
        (Change("move", "ZQKX 2", 3, "NORTH", 1), "is not in this plan"),
    ],
)
def test_what_cannot_be_done_is_refused_in_words(change, told):
    with pytest.raises(CannotChange, match=told):
        revised(DRAFT, [change])


def test_late_and_overfull_may_be_tried_and_the_checker_says_so():
    after = revised(DRAFT, [move(3, "NORTH", 5)])
    assert any("too late for 'relief_device'" in told for told in faults(PROBLEM, after.visits))
    tight = replace(
        DRAFT,
        problem=replace(
            PROBLEM, shops=(replace(NORTH, capacity_days=(10.0, 1.0) + (10.0,) * 4), SOUTH)
        ),
    )
    moved = revised(tight, [move(3, "NORTH", 1)])
    assert any(
        "6 days of work, 1 there are" in told for told in faults(tight.problem, moved.visits)
    )


def test_a_locked_visit_does_not_move_until_it_is_unlocked():
    lock, unlock = Change("lock", "ZQKX 1", 3), Change("unlock", "ZQKX 1", 3)
    with pytest.raises(CannotChange, match="is locked"):
        revised(DRAFT, [lock, move(3, "NORTH", 1)])
    assert revised(DRAFT, [lock, unlock, move(3, "NORTH", 1)]).visits[0].month == 1


def test_locked_visits_are_fixed_in_the_problem_that_is_solved_again():
    problem = around_locked(revised(DRAFT, [Change("lock", "ZQKX 1", 3)]))
    (fixed,) = problem.cars[0].fixed
    assert (fixed.shop, fixed.month, fixed.jobs) == ("NORTH", 3, ("visual", "relief_device"))
    assert contradictions(problem) == []
    assert around_locked(DRAFT).cars[0].fixed == ()


def test_what_is_taken_out_is_placed_again_and_forbidding_is_allowed_again():
    out = revised(DRAFT, [Change("take_out", "ZQKX 1", 3)])
    assert out.visits == ()
    placed = revised(out, [Change("place", "ZQKX 1", None, "SOUTH", 2, "visual")])
    assert placed.visits == (Visit("ZQKX 1", "SOUTH", 2, ("visual",)),)
    forbid, allow = (Change(kind, "ZQKX 1", None, "NORTH", 1) for kind in ("forbid", "allow"))
    with pytest.raises(CannotChange, match="forbidden"):
        revised(DRAFT, [forbid, move(3, "NORTH", 1)])
    assert revised(DRAFT, [forbid, allow, move(3, "NORTH", 1)]).visits[0].month == 1


FORBID, ALLOW = (Change(kind, "ZQKX 1", None, "SOUTH") for kind in ("forbid", "allow"))
LOCK, UNLOCK = (Change(kind, "ZQKX 1", 3) for kind in ("lock", "unlock"))
BOTH = replace(PROBLEM, shops=(NORTH, replace(SOUTH, does=NORTH.does)))


@pytest.mark.parametrize(
    ("around", "since", "holds"),
    [
        ([], [move(3, "NORTH", 1)], True),
        ([LOCK], [], True),
        ([LOCK], [UNLOCK], False),
        ([LOCK], [UNLOCK, LOCK], True),
        ([LOCK], [UNLOCK, Change("undo")], True),
        ([LOCK], [UNLOCK, move(3, "SOUTH", 3), LOCK], False),  # locked again, but elsewhere
        ([FORBID], [ALLOW], False),
        ([FORBID], [ALLOW, FORBID], True),
        ([], [FORBID], True),
    ],
)
def test_a_bound_holds_while_all_that_it_was_proven_around_stands(around, since, holds):
    made = revised(replace(DRAFT, problem=BOTH), around)
    assert still_bounded(made, revised(made, since)) == holds


@pytest.mark.parametrize(
    ("changes", "told"),
    [
        ([ALLOW], "is not forbidden so"),
        ([FORBID, FORBID], "already"),
        ([UNLOCK], "is not locked"),
        ([LOCK, LOCK], "is locked"),
        ([LOCK, Change("unlock", "ZQKX 1")], "has no visit in that month"),
    ],
)
def test_what_is_so_already_is_no_change(changes, told):
    with pytest.raises(CannotChange, match=told):
        revised(DRAFT, changes)


def test_each_undo_takes_back_the_last_change_that_counts():
    first, second, undo = move(3, "NORTH", 1), move(1, "NORTH", 2), Change("undo")
    assert counting([first, second, undo]) == [first]
    assert counting([first, second, undo, undo, undo]) == []
    assert revised(DRAFT, [first, second, undo]).visits[0].month == 1


LOCK, OTHER, UP = Change("lock", "ZQKX 1", 1), move(1, "NORTH", 2), move(3, "NORTH", 1)


@pytest.mark.parametrize(
    ("then", "now", "many"),
    [
        ([UP], [UP], 0),
        ([UP], [UP, OTHER], 1),
        ([UP], [UP, LOCK], 0),
        ([UP], [UP, LOCK, OTHER, Change("note", "ZQKX 1", text="Mind it.")], 2),
        ([UP], [], 1),  # undone
        ([UP], [OTHER], 2),
        ([LOCK, UP], [LOCK], 1),
    ],
)
def test_changes_to_visits_are_counted_since_a_state_of_them(then, now, many):
    assert since(then, now) == many


def test_two_versions_are_compared_car_by_car():
    found = compare(DRAFT, revised(DRAFT, [move(3, "NORTH", 1)]))
    assert [name for name, _, _ in found.moved] == ["ZQKX 1"]
    assert compare(DRAFT, DRAFT).moved == ()


@pytest.mark.parametrize("seed", range(40))
def test_what_another_place_would_cost_is_what_the_whole_plan_then_costs(seed):
    """Against `cost`, which knows the plan alone: moved there, the plan costs so much more."""
    problem = small(seed)
    visits = soonest_due_first(problem)
    draft = Draft(problem, tuple(visits))
    used, before = days_used(problem, visits), cost(problem, visits)
    source = random.Random(seed)
    for visit in source.sample(list(visits), min(4, len(visits))):
        car = draft.car(visit.car)
        if not visit.jobs or any(each.month == visit.month for each in car.fixed):
            continue
        found = choices(draft, car, visit, used)
        assert (visit.shop, visit.month) not in {(each.shop, each.month) for each in found}
        for each in source.sample(found, min(5, len(found))):
            moved = replace(visit, shop=each.shop, month=each.month)
            changed = [moved if it is visit else it for it in visits]
            assert cost(problem, changed) - before == pytest.approx(each.adds)
            overfull = [told for told in faults(problem, changed) if "days of work" in told]
            assert each.has_room == (not overfull)


def test_work_that_is_left_says_the_least_that_would_have_to_change():
    def told(car: Car = CAR, problem: Problem = PROBLEM, used=None) -> str:
        return least_change(problem, car, VALVE, (), used or {})

    assert told() == "Place it at NORTH in 2027-05: that saves 9,850."
    full = {("NORTH", month): 9.0 for month in range(6)}
    assert told(used=full) == "1 more shop day at NORTH in 2027-05 would do."
    assert (
        told(replace(CAR, move_cost={"SOUTH": 1}))
        == "Give what moving a car of its region to NORTH costs."
    )
    assert (
        told(problem=replace(PROBLEM, shops=(SOUTH,))) == "A shop that does valve work is needed."
    )
    assert for_left(PROBLEM, CAR, VALVE, (), {})[0].month == 4


@pytest.mark.parametrize(
    ("changed", "visits", "ways"),
    [
        ({"earliest": 5}, (), "let the car go earlier, or let it be late"),
        (
            {"forbid": (Forbidden("NORTH", None),)}, (),
            "allow it one of the shops and months that are forbidden to it",
        ),
        # Only what is forbidden after the last month in time is in the way of being late as well.
        (
            {"forbid": tuple(Forbidden("NORTH", month) for month in range(5))}, (),
            "allow it one of the shops and months that are forbidden to it, or let it be late",
        ),
        ({"earliest": 5, "forbid": (Forbidden("NORTH", None),)}, (), "no one change alone would do"),
        (
            {}, tuple(Visit(CAR.name, "SOUTH", month, ()) for month in range(5)),
            "let it be late, or move or take out a visit of the car in a month in which it could be done",
        ),
    ],
)  # fmt: skip
def test_where_nothing_is_possible_it_is_told_what_would_make_it_so(changed, visits, ways):
    told = least_change(PROBLEM, replace(CAR, **changed), VALVE, visits, {})
    assert told == f"Nothing is possible by 2027-05: {ways}."


def test_what_would_make_it_possible_names_the_days_that_lack_even_then():
    visits = tuple(Visit(CAR.name, "SOUTH", month, ()) for month in range(5))
    full = {("NORTH", month): 9.0 for month in range(6)}
    assert least_change(PROBLEM, CAR, VALVE, visits, full) == (
        "Nothing is possible by 2027-05: let it be late, with 1 more shop day at NORTH in 2027-06, "
        "or move or take out a visit of the car in a month in which it could be done, "
        "with 1 more shop day at NORTH in 2027-05."
    )


def test_work_for_which_every_place_is_forbidden_says_so():
    car = replace(CAR, forbid=(Forbidden("NORTH", None),))
    assert why_left(PROBLEM, car, VALVE, (), {}) == (
        "every shop and month in which it could be done is forbidden to the car"
    )

"""The cheapest plan for a problem as it was sent, with what the soonest-due-first plan would cost beside it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any

from pydantic import ValidationError

from app.answers.faults import WHOLE, faults_of
from app.answers.faults import path as path_of
from app.answers.plan_request import PlanRequest
from app.core.plan.choices import Used, days_of_others, instead
from app.core.plan.contradictions import Fault as Contradiction
from app.core.plan.contradictions import contradictions
from app.core.plan.cost import cost, cost_of_car, left_out, load
from app.core.plan.problem import Car, Problem, Solved, Visit, by_name
from app.core.plan.revise import Draft
from app.core.plan.soonest import Soonest, soonest_due_first
from app.core.plan.why import unplaced
from app.errors import Fault, Refused
from app.solve import solve
from app.solve.watch import Tell, nobody

# How long a search goes on when nobody says, and at most: a day.
SECONDS, MOST_SECONDS = 60.0, 86_400
# One car is proven in a fraction of this.
SECONDS_A_CAR = 2.0


def plan(payload: object, seconds: float = SECONDS, tell: Tell = nobody) -> dict[str, Any]:
    """The response to a problem; raises Refused with every fault and its path.

    `tell` is told of a bound and the best cost as the search goes on.
    """
    problem = problem_of(payload)
    return plan_as_json(problem, solve(problem, seconds, tell))


def solved(
    problem: Problem,
    seconds: float,
    tell: Tell,
    stop: Callable[[], bool],
    known: Sequence[Visit] = (),
) -> tuple[Solved, Soonest]:
    """The best plan found for a problem at hand, and soonest due first beside it; Refused where it contradicts.

    `stop` is asked now and then whether to end with the best so far, which costs no more than a plan that is `known`.
    """
    _refuse(contradictions(problem))
    visits = soonest_due_first(problem)
    left = sum(1 for _ in left_out(problem, visits))
    return solve(problem, seconds, tell, stop, known), Soonest(cost(problem, visits), left)


@dataclass(frozen=True, slots=True)
class NextBest:
    """What a car would do without one of its visits: all of its visits then, what that adds, and the work then left.

    `left` is the work that is not left now, with why it would be.
    """

    visits: tuple[Visit, ...]
    adds: float
    left: tuple[tuple[str, str], ...]


def next_best(draft: Draft, car: Car, visit: Visit, used: Used) -> NextBest:
    """The cheapest plan of a car in which this visit is not, while every other car's stays."""
    others = days_of_others(draft, car, used)
    alone = instead(draft, car, visit, others)
    now = draft.of_car(car.name)
    visits = solve(alone, SECONDS_A_CAR).visits
    before = {job.name for _, job in left_out(alone, now)}
    # A shop that others fill is full; it is not one without days.
    why = unplaced(replace(alone, shops=draft.problem.shops), visits, others)
    left = tuple((each.job, each.why) for each in why if each.job not in before)
    adds = cost_of_car(alone, car, visits) - cost_of_car(alone, car, now)
    return NextBest(tuple(sorted(visits, key=lambda each: each.month)), adds, left)


def problem_of(payload: object) -> Problem:
    """The problem that `payload` states; raises Refused with every fault and its path."""
    try:
        request = PlanRequest.model_validate(payload)
    except ValidationError as error:
        raise Refused.because(faults_of(error)) from error
    wrong = request.wrong_lengths()
    problem = request.as_core()
    _refuse(wrong or contradictions(problem))
    return problem


def _refuse(faults: Sequence[Contradiction]) -> None:
    if faults:
        raise Refused.because(Fault(path_of(place) or WHOLE, told) for place, told in faults)


def plan_as_json(problem: Problem, solved: Solved) -> dict[str, Any]:
    """The plan in the contract's shape."""
    return {
        "status": solved.status,
        "cost": solved.cost,
        "lower_bound": solved.lower_bound,
        "gap": solved.gap,
        "seconds": round(solved.seconds, 3),
        "soonest_due_first_cost": cost(problem, soonest_due_first(problem)),
        "visits": _visits(problem, solved),
        "unplaced": [
            {"car": each.car, "job": each.job, "why": each.why}
            for each in unplaced(problem, solved.visits)
        ],
        "load": [
            {
                "shop": each.shop,
                "month": problem.month(each.month),
                "days": _number(each.days),
                "capacity_days": _number(each.capacity_days),
            }
            for each in load(problem, solved.visits)
        ],
    }


def _visits(problem: Problem, solved: Solved) -> list[dict[str, Any]]:
    jobs = {car.name: by_name(car.jobs) for car in problem.cars}
    return [
        {
            "car": visit.car,
            "shop": visit.shop,
            "month": problem.month(visit.month),
            "jobs": list(visit.jobs),
            "days": _number(sum(jobs[visit.car][name].days for name in visit.jobs)),
        }
        for visit in solved.visits
    ]


def _number(days: float) -> float | int:
    """Days as people write them: whole where they are."""
    return int(days) if days == int(days) else days

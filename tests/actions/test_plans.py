"""Shop plans on both engines: a search as a job, hand work, accepting, and the forecast with its planned visits."""

import re
from collections.abc import Iterator
from dataclasses import replace
from datetime import date

import pytest
from sqlalchemy import Engine, select

from app.access import EVERYTHING
from app.actions import accepting, plans
from app.core.plan.basis import PlanShop
from app.core.plan.check import faults
from app.core.plan.forecast import by_month
from app.core.plan.problem import ordinal
from app.core.plan.revise import Change
from app.errors import Conflict
from app.jobs import planning as searching
from app.jobs.doing import Doer
from app.store import forecasting
from app.store.db import read_session, sessions
from app.store.forecasting import ForecastFilter
from app.store.plans import VisitPlan
from tests.actions.plans_made import YEAR, Planner
from tests.fixtures.people import beforehand
from tests.pages.fleet_cast import STAMP, add
from tests.pages.plans_cast import BASIS, CARS, NORTH, SKILLS, SOUTH

FIRST = date(2026, 11, 1)


@pytest.fixture
def doer(any_engine: Engine) -> Iterator[Doer]:
    with Doer(any_engine, "UTC") as doer:
        yield doer


@pytest.fixture
def planner(any_engine: Engine, doer: Doer) -> Planner:
    return Planner(any_engine, doer)


@pytest.fixture
def version(planner: Planner) -> int:
    """A year of a small fleet, as the search found it."""
    return planner.solve(planner.plan("Year"))


def test_a_search_as_a_job_keeps_a_version_that_breaks_nothing(any_engine, version):
    with beforehand(sessions(any_engine)) as db:
        at = plans.opened(db, version)
        assert not faults(at.draft.problem, at.draft.visits)
        assert len(at.content.cars) == CARS
        assert plans.unfit(db, at) == []
        assert at.content.basis == BASIS


def test_a_version_kept_before_days_could_be_short_is_read_with_none_short(any_engine, version):
    with beforehand(sessions(any_engine)) as db:
        content = plans.CONTENT.dump_python(plans.opened(db, version).content, mode="json")
    for shop in content["problem"]["shops"]:
        del shop["short_days"]
    read = plans.CONTENT.validate_python(content)
    assert [shop.short(3) for shop in read.problem.shops] == [0.0, 0.0]


def test_hand_work_is_folded_over_the_version_in_its_order(any_engine, version):
    with beforehand(sessions(any_engine)) as db:
        visit = plans.opened(db, version).draft.visits[0]
        plans.change(db, version, Change("move", visit.car, visit.month, SOUTH, 2), STAMP)
        plans.change(db, version, Change("lock", visit.car, 2), STAMP)
    with beforehand(sessions(any_engine)) as db:
        draft = plans.opened(db, version).draft
        assert (visit.car, 2) in draft.locked
        for _ in range(2):
            plans.change(db, version, Change("undo"), STAMP)
        assert visit in plans.opened(db, version).draft.visits
        with pytest.raises(Conflict, match="nothing to undo"):
            plans.change(db, version, Change("undo"), STAMP)


def test_an_accepted_plan_moves_its_items_in_the_forecast(any_engine, version):
    everything, first = ForecastFilter(), ordinal("2026-11")
    with beforehand(sessions(any_engine)) as db:
        before = by_month(forecasting.falling(db, everything, FIRST), first, 24)
        assert accepting.accept(db, version, "", STAMP).planned == len(
            plans.opened(db, version).draft.visits
        )
    with beforehand(sessions(any_engine)) as db:
        due, visits = forecasting.moved_by_plan(db, everything, FIRST)
        planned = {f"{row.month:%Y-%m}" for row in db.scalars(select(VisitPlan))}
        assert {f"{each.month // 12}-{each.month % 12 + 1:02}" for each in visits} == planned
        assert sum(each.number for each in due) == sum(each.number for each in visits) > CARS
        assert by_month(forecasting.falling(db, everything, FIRST), first, 24) == before
        for by in ("owner", "region"):
            grouped = by_month(forecasting.falling(db, ForecastFilter(by), FIRST), first, 24)
            assert sum(grouped.values()) == sum(before.values())


def test_a_plan_that_began_in_the_past_is_not_accepted(any_engine, version):
    later = replace(STAMP, today=date(2027, 2, 1))
    with beforehand(sessions(any_engine)) as db, pytest.raises(Conflict, match="which is past"):
        accepting.accept(db, version, "", later)


def test_another_owners_cars_and_plans_stay_out_of_reach(any_engine, version):
    with beforehand(sessions(any_engine)) as db:
        add(db, "ZQAX", 8001, date(2017, 5, 1), "Marrow Creek Cars", "Prairie")
        both = plans.problem_now(db, YEAR, BASIS)
        own = plans.problem_now(db, replace(YEAR, region="Gulf"), BASIS)
        assert len(both.cars) == CARS + 1
        assert len(own.cars) == CARS


@pytest.fixture
def short_of_days(any_engine: Engine, doer: Doer) -> Planner:
    scarce = (PlanShop(NORTH, SKILLS, 4, {}, 1400), PlanShop(SOUTH, SKILLS, 4, {}, 1900))
    return Planner(any_engine, doer, replace(BASIS, shops=scarce))


def test_solved_again_in_no_time_a_version_costs_no_more_and_its_bound_says_no_less(short_of_days):
    planner = short_of_days
    plan = planner.plan("Alpha")
    first = planner.solve(plan)
    content = planner.opened(first).content
    good = content.solved
    assert good.status == "optimal"
    assert good.cost < content.soonest.cost
    again = planner.opened(planner.solve(plan, first, seconds=0.001)).content.solved
    assert (again.cost, again.lower_bound) == (good.cost, good.lower_bound)
    # One more thing that must stand: what was proven without it holds all the same.
    visit = good.visits[0]
    planner.change(first, Change("lock", visit.car, visit.month))
    locked = planner.opened(planner.solve(plan, first, seconds=0.001)).content.solved
    assert locked.lower_bound == good.lower_bound


def test_what_is_told_while_solving_again_is_never_worse_than_what_there_is(short_of_days):
    plan = short_of_days.plan("Alpha")
    first = short_of_days.solve(plan)
    good = short_of_days.opened(first).content.solved
    for best, bound in _told(short_of_days, plan, first):
        assert best <= _whole(good.cost)
        assert bound >= _whole(good.lower_bound)


def test_a_search_that_has_proven_nothing_yet_does_not_say_that_no_plan_costs_less_than_0(
    short_of_days,
):
    steps = _steps(short_of_days, short_of_days.plan("Alpha"))
    assert "what no plan goes below is being worked out" in steps
    assert "less than 0 " not in steps


def _told(planner: Planner, plan: int, version: int) -> list[tuple[int, int]]:
    """What a search around a version says of the best so far and of what no plan costs less than."""
    steps = _steps(planner, plan, version)
    found = re.findall(r"Best so far (\d+); no plan costs less than (\d+) ", steps)
    assert found, steps
    return [(int(best), int(bound)) for best, bound in found]


def _steps(planner: Planner, plan: int, version: int | None = None) -> str:
    """All that a search says on its way."""
    steps: list[str] = []
    payload = {"plan_id": plan, "name": "Again", "seconds": 1, "parent_id": version, "job_id": ""}
    with read_session(sessions(planner.engine), EVERYTHING) as db:
        searching.solve(db, payload, STAMP, lambda step, *_: steps.append(step))
    return _plain(steps)


def _plain(steps: list[str]) -> str:
    return " ".join(steps).replace("\u202f", "")


def _whole(cost: float) -> int:
    return int(f"{cost:.0f}")

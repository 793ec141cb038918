"""Accepting plans one after the other, on both engines: no work is lost, and none is planned twice."""

import re
from collections.abc import Iterator
from dataclasses import replace
from datetime import date

import pytest
from sqlalchemy import Engine

from app.actions import accepting, cars, events, plans, visits
from app.actions.changes import NewEvent, NewStanding
from app.core.plan.basis import PlanShop
from app.core.plan.demand import NO_WORK
from app.core.plan.revise import Change
from app.errors import Conflict
from app.jobs.doing import Doer
from app.store import planning, visit_work, visiting
from app.store.db import sessions
from tests.actions.plans_made import Planner
from tests.fixtures.people import beforehand
from tests.pages.fleet_cast import STAMP, add
from tests.pages.plans_cast import BASIS, NORTH, SKILLS, SOUTH, standards

DAY = STAMP.at.date()


@pytest.fixture
def planner(any_engine: Engine) -> Iterator[Planner]:
    with Doer(any_engine, "UTC") as doer:
        yield Planner(any_engine, doer)


def said(found: dict) -> dict:
    """Visits without their numbers."""
    return {at: rest[1:] for at, rest in found.items()}


def test_a_plan_solved_anew_and_accepted_again_keeps_the_visits_that_it_wants(planner):
    plan = planner.plan("Year")
    first = planner.solve(plan)
    planner.accept(first)
    before = planner.visits()
    assert said(before) == planner.wanted(first)
    again = planner.solve(plan)
    assert planner.wanted(again) == planner.wanted(first)
    done = planner.accept(again)
    assert planner.visits() == before  # the very same ones
    assert (done.planned, done.kept, done.cancelled) == (0, len(before), 0)


def test_only_the_visits_that_another_version_has_otherwise_are_cancelled(planner):
    version = planner.solve(planner.plan("Year"))
    planner.accept(version)
    before = planner.visits()
    visit = planner.opened(version).draft.visits[0]
    planner.change(version, Change("move", visit.car, visit.month, SOUTH, 1))
    done = planner.accept(version)
    assert (done.planned, done.kept, done.cancelled) == (1, len(before) - 1, 1)
    after = planner.visits()
    assert said(after) == planner.wanted(version)
    assert len({each[0] for each in after.values()} & {each[0] for each in before.values()}) == (
        len(before) - 1
    )


def test_other_instructions_make_other_visits(planner):
    version = planner.solve(planner.plan("Year"))
    many = planner.accept(version).planned
    done = planner.accept(version, "Call before noon.")
    assert (done.planned, done.kept, done.cancelled) == (many, 0, many)


def test_work_that_joins_a_visit_of_another_plan_is_added_to_it(planner):
    """Tank work is planned first; the plan of the valves then shares those visits."""
    tank = planner.solve(planner.plan("Tanks", items=("visual", "thickness")))
    planner.accept(tank)
    before = planner.visits()
    valves = planner.solve(planner.plan("Valves", items=("service_equipment", "relief_device")))
    done = planner.accept(valves)
    after = planner.visits()
    assert done.joined > 0
    for at, (shop, items) in planner.wanted(valves).items():
        assert after[at][1] == shop
        assert after[at][2] >= items
    for at, (key, shop, items) in before.items():
        assert after[at][:2] == (key, shop)
        assert after[at][2] >= items
    # Their days are longer by what was added; and once more accepted, nothing is added a second time.
    joined = next(at for at, was in before.items() if after[at][2] > was[2])
    work = sum(BASIS.standards[item].days for item in after[joined][2])
    with beforehand(sessions(planner.engine)) as db:
        shown = visiting.one(db, before[joined][0])
    assert shown.days_out == pytest.approx(BASIS.days_away + work, abs=1)
    assert planner.accept(valves).joined == 0
    assert planner.visits() == after


def test_the_first_plan_leaves_a_visit_alone_to_which_another_added_work(planner):
    plan = planner.plan("Tanks", items=("visual", "thickness"))
    planner.accept(planner.solve(plan))
    planner.accept(planner.solve(planner.plan("Valves", items=("service_equipment",))))
    before = planner.visits()
    planner.accept(planner.solve(plan))
    assert planner.visits() == before


def test_what_has_begun_stays_and_the_rest_of_a_version_is_accepted(planner):
    version = planner.solve(planner.plan("Year"))
    planner.accept(version)
    before = planner.visits()
    (car, month), (key, *_) = next(iter(before.items()))
    with beforehand(sessions(planner.engine)) as db:
        visits.step(db, key, "sent", STAMP.today, STAMP)
    done = planner.accept(version, "Call first.")
    assert (done.planned, done.cancelled) == (len(before) - 1, len(before) - 1)
    assert planner.visits()[car, month] == before[car, month]
    told = unfit(planner, version)
    assert [what for _, what in told] == [
        "is in a shop or on its way there: what has begun stays as it is"
    ]


def unfit(planner: Planner, version: int) -> list[tuple[str, str]]:
    with beforehand(sessions(planner.engine)) as db:
        return plans.unfit(db, plans.opened(db, version))


def test_work_that_was_done_since_is_not_ordered_again(planner):
    version = planner.solve(planner.plan("Year"))
    wanted = planner.wanted(version)
    at, (_, work) = next(iter(wanted.items()))
    done = min(work)
    with beforehand(sessions(planner.engine)) as db:
        events.record_event(db, at[0], NewEvent(DAY, (done,), facility=NORTH), STAMP)
    planner.accept(version)
    ordered = {place: items for place, (_, _, items) in planner.visits().items()}
    left = {at: work - {done}} if work != {done} else {}
    others = {place: items for place, (_, items) in wanted.items() if place != at}
    assert ordered == others | left


def test_visits_that_clash_are_all_told_and_nothing_is_planned(planner):
    version = planner.solve(planner.plan("Year"))
    at = planner.opened(version)
    cars_ = at.content.cars
    first, second = at.draft.visits[:2]
    with beforehand(sessions(planner.engine)) as db:
        for visit in (first, second):
            month = date.fromisoformat(f"{at.draft.problem.month(visit.month)}-01")
            other = visits.Planning("Third Invented Shop", month, ("air_brake",), 5)
            visits.plan(db, cars_[visit.car], other, STAMP)
    stood = planner.visits()
    with pytest.raises(Conflict) as conflict:
        planner.accept(version)
    for visit in (first, second):
        assert f"{visit.car} has a visit to Third Invented Shop" in str(conflict.value)
        assert str(conflict.value).count(f"{visit.car} ") == 1  # what follows of it is not told
        assert visit.car in {who for who, _ in unfit(planner, version)}
    assert planner.visits() == stood


def test_a_car_that_left_the_record_is_named_with_what_to_do(planner):
    version = planner.solve(planner.plan("Year"))
    at = planner.opened(version)
    name = at.draft.visits[0].car
    with beforehand(sessions(planner.engine)) as db:
        cars.change_standing(
            db, at.content.cars[name], NewStanding("scrapped", from_on=STAMP.at.date()), STAMP
        )
    with pytest.raises(Conflict, match=f"{name} is scrapped. Take its visits out"):
        planner.accept(version)


def test_a_visit_that_stands_takes_all_its_days_whatever_the_plan_is_about(planner):
    planner.basis = replace(BASIS, shops=(PlanShop(NORTH, SKILLS, 10, {}, 1400),))
    plan = planner.plan("Valves", items=("relief_device",))
    with beforehand(sessions(planner.engine)) as db:
        car = planning.fleet(db, replace(plans.SELECTION.validate_python(
            {"first_month": "2027-01", "months": 12})), {}, {}).keys["ZQKX 7001"]  # fmt: skip
        visits.plan(
            db, car, visits.Planning(NORTH, date(2027, 3, 1), ("lining", "visual"), 20), STAMP
        )
    at = planner.opened(planner.solve(plan))
    # Eight days of lining work and two of the inspection, of which this plan is not about.
    assert at.content.problem.shops[0].capacity_days[2] == 0
    assert not accepting.faults(at.draft.problem, at.draft.visits)


def test_a_version_whose_days_others_took_since_is_not_accepted(planner):
    planner.basis = replace(BASIS, shops=(PlanShop(NORTH, SKILLS, 15, {}, 1400),))
    version = planner.solve(planner.plan("Year"))
    at = planner.opened(version)
    visit = at.draft.visits[-1]
    month = at.draft.problem.month(visit.month)
    with beforehand(sessions(planner.engine)) as db:
        other = visits.Planning(
            NORTH, date.fromisoformat(f"{month}-01"), ("tank_retest", "lining"), 5
        )
        visits.plan(db, _another_car(db), other, STAMP)
    with pytest.raises(
        Conflict, match=f"{NORTH} has [0-9.]+ days left in {month}, and this version takes"
    ):
        planner.accept(version)


def _another_car(db) -> int:
    return add(db, "ZQKX", 7099, date(2026, 6, 1))


def test_what_falls_due_within_the_month_after_the_last_is_planned_in_the_last(planner):
    """The cars' items fall due from 15 April 2027 on, a month apart: the last whole month of the first is March."""
    plan = planner.plan("Quarter", months=3, items=("visual",))
    (car,) = planner.opened(planner.solve(plan)).content.problem.cars
    assert (car.name, [(job.name, job.latest) for job in car.jobs]) == (
        "ZQKX 7001",
        [("visual", 2)],
    )


def test_a_cancelled_visit_whose_work_has_another_since_is_not_planned_again(planner):
    planner.basis = replace(BASIS, shops=tuple(replace(shop, days=90) for shop in BASIS.shops))
    version = planner.solve(planner.plan("Year"))
    planner.accept(version)
    before = planner.visits()
    visit = planner.opened(version).draft.visits[0]
    at = planner.opened(version).content.cars[visit.car]
    planner.change(version, Change("move", visit.car, visit.month, SOUTH, visit.month + 1))
    planner.accept(version)
    later = planner.opened(version).draft.problem.month(visit.month + 1)
    gone = next(
        key for key, *_ in before.values() if key not in {each[0] for each in planner.visits().values()}
    )  # fmt: skip
    told = rf"has another visit since, to {SOUTH} in {later}"
    with beforehand(sessions(planner.engine)) as db, pytest.raises(Conflict, match=told):
        visits.undo(db, gone, "cancelled", "By mistake", STAMP)
    assert (at, later) in planner.visits()


def test_days_that_a_released_visit_used_up_are_not_there_a_second_time(planner):
    planner.basis = replace(BASIS, shops=(PlanShop(NORTH, SKILLS, 10, {}, 1400),))
    plan = planner.plan("Valves", items=("relief_device",), first_month="2026-12")
    with beforehand(sessions(planner.engine)) as db:
        car = _another_car(db)
        planned = visits.Planning(NORTH, date(2026, 12, 1), ("visual", "thickness"), 20)
        visit = visits.plan(db, car, planned, STAMP).id
    assert _room(planner, plan) == 10 - 4
    with beforehand(sessions(planner.engine)) as db:
        visits.step(db, visit, "sent", DAY, STAMP)
        event = NewEvent(DAY, ("visual", "thickness"), facility=NORTH)
        events.record_event(db, car, event, STAMP)
        assert visit_work.open_and_done(db, [visit])[visit] == ((), ("visual", "thickness"))
    assert _room(planner, plan) == 10 - 4
    with beforehand(sessions(planner.engine)) as db:
        visits.step(db, visit, "released", DAY, STAMP)
    # Released in the month before, so it used days of that one.
    assert _room(planner, plan) == 10
    assert _room(planner, planner.plan("Now", first_month=f"{DAY:%Y-%m}")) <= 10 - 4


def _room(planner: Planner, plan: int) -> float:
    """The days that the first month of a plan has left, as its problem is put together."""
    with beforehand(sessions(planner.engine)) as db:
        row = planning.plan_or_raise(db, plan)
        asked = plans.problem_now(db, plans.selection_of(row), planner.basis, plan)
    return asked.problem.shops[0].capacity_days[0]


def test_what_was_written_for_every_visit_is_offered_again(planner):
    version = planner.solve(planner.plan("Year"))
    car = planner.opened(version).draft.visits[0].car
    planner.change(version, Change("note", car, text="Mind the invented valve."))
    planner.accept(version, "Call before noon.")
    with beforehand(sessions(planner.engine)) as db:
        offered = accepting.instructions_before(db, plans.opened(db, version))
    assert offered == "Call before noon."
    assert planner.accept(version, offered).planned == 0


def test_a_version_that_the_standards_of_today_do_not_let_be_is_not_accepted(planner):
    """Each of them kept after it was made; nothing is planned, and the page of the fleet says the same."""
    version = planner.solve(planner.plan("Year"))
    north, south = BASIS.shops
    days = {item: replace(held, days=held.days * 30) for item, held in BASIS.standards.items()}
    for now, told in (
        (replace(BASIS, shops=(replace(north, days=2), south)), f"{NORTH} has 2 days left in "),
        (
            replace(BASIS, shops=(replace(north, does=("valve",)), south)),
            f"done at {NORTH} in 2027-.* any more: by the standards that shop does no tank work",
        ),
        (replace(BASIS, shops=(south,)), f"cannot go to {NORTH} .*: the standards name no such"),
        (replace(BASIS, standards=days), f"{NORTH} has 40 days left in .*this version takes"),
    ):
        with beforehand(sessions(planner.engine)) as db:
            standards(db, now)
        with pytest.raises(Conflict, match=told):
            planner.accept(version)
        assert any(re.search(told, f"{who} {what}") for who, what in unfit(planner, version))
    assert not planner.visits()
    with beforehand(sessions(planner.engine)) as db:
        standards(db)
    assert planner.accept(version).planned


def test_a_plan_of_some_items_knows_the_last_service_day_as_well(planner):
    plan = planner.plan("Valves", items=("relief_device",), months=120)
    with beforehand(sessions(planner.engine)) as db:
        add(db, "ZQKX", 7098, date(1980, 6, 1))
        row = planning.plan_or_raise(db, plan)
        found = planning.fleet(db, plans.selection_of(row), {}, {})
    items = {due.item for car in found.cars for due in car.due}
    assert items - NO_WORK == {"relief_device"}
    assert "age_limit" in items

"""From due items to jobs: the last month in date, what is late already, what is done together, what stands already."""

from calendar import monthrange
from datetime import date, timedelta

import pytest
from dateutil.relativedelta import relativedelta
from hypothesis import given
from hypothesis import strategies as st

from app.core.plan.basis import FIRST, Basis, CarFacts, Move, PlanShop, Standard
from app.core.plan.contradictions import contradictions
from app.core.plan.demand import (
    DueItem,
    FleetCar,
    PlannedVisit,
    Selection,
    demand,
    differences,
    first_of_next,
    items_of,
    latest_month,
    months_of,
)

WORKS = "Invented Works"
PLAIN = Basis(
    standards={
        "visual": Standard("tank", 2, 1200),
        "thickness": Standard("tank", 3, 2400, 50),
        "relief_device": Standard("valve", 1, 600),
    },
    shops=(PlanShop(WORKS, ("tank", "valve"), 30, {"2027-02": 0}, 900),),
    moves=(Move("Gulf", WORKS, 400),),
    cleaning_cost=1000,
    days_away=10,
    earning_per_day=20,
)
YEAR = Selection("2027-01", 12)


def dated(item: str, day: date, months: int = 120, state: str = "dated") -> DueItem:
    return DueItem(item, state, day, months)


def planned(*due: DueItem, basis: Basis = PLAIN, region: str = "Gulf", visits=(), selection=YEAR):
    """The car's part of the problem, and what is to be known."""
    car = FleetCar("ZQKX 1", region, due, visits)
    problem, remarks = demand(selection, basis, [car], {})
    return (problem.cars[0] if problem.cars else None), [each.kind for each in remarks]


@pytest.mark.parametrize(
    ("due_on", "latest"),
    [
        (date(2027, 5, 31), "2027-05"),  # in date through the last day of the month
        (date(2027, 5, 30), "2027-04"),  # not on the 31st
        (date(2027, 5, 1), "2027-04"),
        (date(2028, 2, 29), "2028-02"),  # a leap month whole
        (date(2028, 2, 28), "2028-01"),
        (date(2027, 1, 1), "2026-12"),  # over the year's end
    ],
)
def test_the_latest_month_is_in_date_to_its_last_day(due_on, latest):
    number = latest_month(due_on)
    assert f"{number // 12}-{number % 12 + 1:02}" == latest


@given(st.dates(date(2000, 1, 1), date(2100, 1, 1)))
def test_the_last_day_of_the_latest_month_is_in_date_and_that_of_the_next_is_not(due_on):
    number = latest_month(due_on)
    first = date(number // 12, number % 12 + 1, 1)
    # Counted by python-dateutil: the day before the first of the next month.
    assert first + relativedelta(months=1) - timedelta(days=1) <= due_on
    assert first + relativedelta(months=2) - timedelta(days=1) > due_on


def test_work_of_one_skill_due_in_one_month_is_one_job_with_its_days_and_costs_together():
    car, _ = planned(dated("visual", date(2027, 6, 30)), dated("thickness", date(2027, 6, 30), 60))
    (job,) = car.jobs
    assert (job.name, job.skill, job.days, job.latest) == ("visual+thickness", "tank", 5, 5)
    assert job.early_cost == 1200 / 120 + 2400 / 60
    assert job.late_cost is None  # one of the two may not be late
    assert items_of([job.name]) == ("visual", "thickness")


def test_work_of_another_skill_or_month_is_a_job_of_its_own():
    car, _ = planned(
        dated("visual", date(2027, 6, 30)),
        dated("relief_device", date(2027, 6, 30)),
        dated("thickness", date(2027, 7, 31)),
    )
    assert [(job.name, job.latest) for job in car.jobs] == [
        ("visual", 5), ("relief_device", 5), ("thickness", 6),
    ]  # fmt: skip
    assert car.jobs[2].late_cost == 50


@pytest.mark.parametrize(
    ("due", "kind"),
    [
        (dated("visual", date(2026, 3, 1)), "overdue"),
        (dated("visual", date(2027, 1, 20)), "overdue"),  # inside the first month
        (dated("visual", date(2026, 12, 1), state="owed"), "overdue"),
    ],
)
def test_what_is_late_already_may_be_done_at_any_time_and_costs_what_the_car_does_not_earn(
    due, kind
):
    car, kinds = planned(due)
    assert kinds == [kind]
    assert (car.jobs[0].latest, car.jobs[0].late_cost) == (-1, 30 * 20)


@pytest.mark.parametrize(
    ("due", "kinds"),
    [
        (DueItem("visual", "unknown", None, None), ["undated"]),
        (DueItem("visual", "not_required", None, None), []),
        (dated("visual", date(2028, 6, 30)), []),  # past the months of the plan
        (dated("service_end", date(2027, 6, 30)), ["last_day"]),
        (dated("lining", date(2027, 6, 30)), ["standard"]),
    ],
)
def test_what_cannot_be_planned_is_no_job_and_is_told(due, kinds):
    assert planned(due) == (None, kinds)


def test_a_visit_costs_cleaning_and_the_days_without_earning_of_that_very_car():
    due = dated("visual", date(2027, 6, 30))
    car, _ = planned(due)
    assert (car.visit_cost, dict(car.move_cost)) == (1000 + 10 * 20, {WORKS: 400})
    own = Basis(
        PLAIN.standards,
        PLAIN.shops,
        PLAIN.moves,
        (CarFacts("ZQKX 1", 70, "2027-03"),),
        1000,
        10,
        20,
    )
    car, _ = planned(due, basis=own, region="Prairie")
    assert (car.visit_cost, dict(car.move_cost), car.earliest) == (1000 + 700, {WORKS: 900}, 2)


def test_a_region_that_no_shop_takes_is_told():
    only = Basis(PLAIN.standards, (PlanShop(WORKS, ("tank",), 30),), PLAIN.moves)
    assert planned(dated("visual", date(2027, 6, 30)), basis=only, region="Prairie")[1] == ["reach"]


def test_days_that_are_closed_or_taken_by_other_cars_are_not_there():
    problem, _ = demand(YEAR, PLAIN, [], {(WORKS, "2027-01"): 12.0, (WORKS, "2027-03"): 99.0})
    assert problem.shops[0].capacity_days == (18, 0, 0, *[30] * 9)


def test_a_planned_visit_stands_with_its_work_and_one_that_began_takes_its_work_away():
    due = (dated("visual", date(2027, 6, 30)), dated("relief_device", date(2027, 8, 31)))
    stands = PlannedVisit(WORKS, "2027-05", ("visual",), False)
    car, _ = planned(*due, visits=(stands,))
    assert [(each.shop, each.month, each.jobs) for each in car.fixed] == [(WORKS, 4, ("visual",))]
    begun = PlannedVisit(WORKS, "", ("visual",), True)
    car, kinds = planned(*due, visits=(begun,))
    assert [job.name for job in car.jobs] == ["relief_device"]
    assert (car.earliest, kinds) == (1, ["away"])


def test_a_planned_visit_to_a_shop_that_is_unknown_is_left_out_and_told():
    stands = PlannedVisit("Gone Works", "2027-05", ("visual",), False)
    car, kinds = planned(dated("visual", date(2027, 6, 30)), visits=(stands,))
    assert (car.fixed, kinds) == ((), ["fixed"])


def test_two_planned_visits_in_one_month_are_refused_by_name():
    twice = [PlannedVisit(WORKS, "2027-05", (item,), False) for item in ("visual", "thickness")]
    due = (dated("visual", date(2027, 6, 30)), dated("thickness", date(2027, 7, 31)))
    problem, _ = demand(YEAR, PLAIN, [FleetCar("ZQKX 1", "Gulf", due, twice)], {})
    assert any("one of 2 in that month" in told for _, told in contradictions(problem))


def test_days_lowered_under_what_is_planned_are_refused_by_name():
    small = Basis(PLAIN.standards, (PlanShop(WORKS, ("tank",), 1, {}, 1),))
    visits = [PlannedVisit(WORKS, "2027-05", ("visual",), False)]
    car = FleetCar("ZQKX 1", "", [dated("visual", date(2027, 6, 30))], visits)
    problem, _ = demand(YEAR, small, [car], {})
    assert any("needs more than its capacity" in told for _, told in contradictions(problem))


def test_what_changed_since_a_plan_was_made_is_told_by_car():
    def problem(*due: DueItem):
        return demand(YEAR, PLAIN, [FleetCar("ZQKX 1", "Gulf", due)], {})[0]

    before = problem(dated("visual", date(2027, 6, 30)), dated("relief_device", date(2027, 8, 31)))
    after = problem(dated("visual", date(2027, 4, 30)), dated("thickness", date(2027, 8, 31)))
    assert {told for _, told in differences(before, after)} == {
        "Visual inspection falls due earlier: by 2027-04",
        "Relief device no longer falls due as it was planned",
        "Thickness falls due and is not in the plan",
    }
    assert not list(differences(before, before))
    assert list(differences(before, problem())) == [
        ("ZQKX 1", "has nothing to be planned any more")
    ]


@given(st.dates(date(2020, 1, 1), date(2040, 12, 31)))
def test_the_month_after_a_day_is_that_of_dateutil(day):
    assert first_of_next(day) == f"{day + relativedelta(months=1):%Y-%m}"
    assert monthrange(day.year, day.month)[1] >= day.day


def test_months_are_named_one_after_the_other():
    assert list(months_of(Selection("2027-11", 4))) == ["2027-11", "2027-12", "2028-01", "2028-02"]


def test_the_standards_to_begin_with_have_no_fault():
    assert FIRST.faults() == []

"""From due items to jobs: the last month in date, what is late already, what is done together, what stands already."""

from calendar import monthrange
from dataclasses import replace
from datetime import date, timedelta

import pytest
from dateutil.relativedelta import relativedelta
from hypothesis import given
from hypothesis import strategies as st

from app.core.plan.basis import FIRST, Basis, CarFacts, Move, PlanShop, Standard
from app.core.plan.choices import least_change
from app.core.plan.contradictions import contradictions
from app.core.plan.demand import (
    DueItem,
    FleetCar,
    Selection,
    demand,
    first_of_next,
    items_of,
    latest_month,
    months_of,
)
from app.core.plan.problem import Visit
from app.core.plan.since import Now, cannot_be, differences
from app.core.plan.standing import PlannedVisit

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
    problem, remarks = demand(selection, basis, [car])
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


@pytest.mark.parametrize(
    ("room", "jobs"),
    [
        (5, ["visual+thickness"]),
        (4.5, ["visual", "thickness"]),
        (1, ["visual", "thickness"]),
    ],
)
def test_work_for_which_together_no_month_in_time_has_days_is_parted(room, jobs):
    due = [dated("visual", date(2027, 3, 31)), dated("thickness", date(2027, 3, 31))]
    # From April on there were days, but that is too late.
    shop = PlanShop(WORKS, ("tank", "valve"), 30, {f"2027-0{at}": room for at in (1, 2, 3)}, 900)
    car, _ = planned(*due, basis=replace(PLAIN, shops=(shop,)))
    assert [job.name for job in car.jobs] == jobs


def test_a_large_month_among_small_ones_holds_no_work_together_that_these_have_room_for():
    due = [dated("visual", date(2027, 6, 30)), dated("thickness", date(2027, 6, 30))]
    small = {f"2027-0{at}": 3 for at in (1, 2, 3, 5, 6)}
    shop = PlanShop(WORKS, ("tank", "valve"), 30, small | {"2027-04": 9}, 900)
    car, _ = planned(*due, basis=replace(PLAIN, shops=(shop,)))
    assert [job.name for job in car.jobs] == ["visual", "thickness"]


def test_work_whose_skill_no_shop_has_is_told():
    only = replace(PLAIN, shops=(PlanShop(WORKS, ("valve",), 30, {}, 900),))
    car, kinds = planned(dated("visual", date(2027, 6, 30)), basis=only)
    assert [job.name for job in car.jobs] == ["visual"]
    assert kinds == ["skill"]


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
        (DueItem("visual", "owed", None, 120), "overdue"),  # by an event, without a day
        (dated("visual", date(2029, 1, 1), state="owed"), "overdue"),  # whatever its day
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


@pytest.mark.parametrize(
    ("last_day", "jobs"),
    [
        (date(2027, 8, 31), ["relief_device"]),  # the thickness falls due after it
        (date(2027, 9, 30), ["relief_device"]),  # on the very day
        (date(2027, 10, 1), ["relief_device", "thickness"]),
        (date(2027, 5, 1), []),
        (date(2036, 1, 1), ["relief_device", "thickness"]),
    ],
)
def test_what_falls_due_after_the_last_service_day_is_not_planned(last_day, jobs):
    car, _ = planned(
        dated("relief_device", date(2027, 6, 30)),
        dated("thickness", date(2027, 9, 30)),
        dated("age_limit", last_day),
    )
    assert ([job.name for job in car.jobs] if car else []) == jobs


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


def standing(month: str, *items: str, shop: str = WORKS, begun: bool = False) -> PlannedVisit:
    return PlannedVisit(shop, month, items, begun)


def test_days_that_are_closed_or_taken_by_visits_that_stand_are_not_there():
    others = [
        *[standing("2027-01", "visual")] * 6,
        *[standing("2027-03", "thickness", "lining")] * 33,
        standing("", "visual", begun=True),
    ]
    problem, remarks = demand(YEAR, PLAIN, [], others)
    assert problem.shops[0].capacity_days == (18, 0, 0, *[30] * 9)
    (over,) = remarks
    assert (over.kind, over.cars) == ("overfull", (WORKS,))
    assert over.text.startswith("visits that stand take 99 days in 2027-03, 30 there are")


TWO = (dated("visual", date(2027, 6, 30)), dated("relief_device", date(2027, 8, 31)))


def test_what_has_its_visit_is_planned_no_second_time_and_its_visit_may_be_joined():
    car, kinds = planned(*TWO, visits=(standing("2027-05", "visual"),))
    assert [job.name for job in car.jobs] == ["relief_device"]
    assert [(each.shop, each.month, each.jobs) for each in car.fixed] == [(WORKS, 4, ())]
    assert kinds == []


def test_of_work_done_together_only_the_part_without_a_visit_is_planned():
    """Both are tank work of one month, so without the visit they would be one job."""
    due = (dated("visual", date(2027, 6, 30)), dated("thickness", date(2027, 6, 30)))
    car, _ = planned(*due, visits=(standing("2027-05", "thickness"),))
    assert [(job.name, job.days) for job in car.jobs] == [("visual", 2)]


@pytest.mark.parametrize(
    ("visit", "kinds"),
    [
        (standing("2026-12", "visual"), ["before"]),
        (standing("2028-01", "visual"), ["late_visit"]),  # after the months, and after the due day
        (standing("2027-06", "visual"), []),
        (standing("2027-07", "visual"), ["late_visit"]),
        (standing("2027-05", "visual", shop="Gone Works"), ["fixed"]),
    ],
)
def test_work_is_covered_by_its_visit_wherever_that_is_and_it_is_told(visit, kinds):
    car, told = planned(*TWO, visits=(visit,))
    assert [job.name for job in car.jobs] == ["relief_device"]
    assert told == kinds


def test_in_the_month_of_a_visit_out_of_reach_the_car_goes_nowhere_else():
    car, _ = planned(*TWO, visits=(standing("2027-05", "visual", shop="Gone Works"),))
    assert car.fixed == ()
    assert [car.may_go(WORKS, month) for month in (3, 4, 5)] == [True, False, True]
    assert "Gone Works" not in car.move_cost


def test_a_visit_that_began_takes_its_work_away_and_the_car_until_it_is_over():
    car, kinds = planned(*TWO, visits=(standing("", "visual", begun=True),))
    assert [job.name for job in car.jobs] == ["relief_device"]
    assert (car.earliest, kinds) == (1, ["away"])
    car, _ = planned(*TWO, visits=(standing("2027-02", "visual", begun=True),))
    assert car.earliest == 2


def test_an_earliest_month_counts_for_new_visits_beside_one_that_stands():
    basis = replace(PLAIN, cars=(CarFacts("ZQKX 1", None, "2027-07"),))
    car, _ = planned(*TWO, basis=basis, visits=(standing("2027-05", "visual"),))
    assert (car.earliest, car.fixed) == (6, ())


def test_two_visits_in_one_month_are_told_and_planning_goes_on():
    visits = [standing("2027-05", item) for item in ("visual", "thickness")]
    car, kinds = planned(*TWO, dated("thickness", date(2027, 7, 31)), visits=visits)
    assert [job.name for job in car.jobs] == ["relief_device"]
    assert kinds == ["twice"]


def test_days_lowered_under_what_stands_are_told_by_shop_and_month_and_planning_goes_on():
    small = replace(PLAIN, shops=(PlanShop(WORKS, ("tank", "valve"), 1, {}, 1),), moves=())
    car = FleetCar("ZQKX 1", "", TWO, [standing("2027-05", "visual")])
    problem, (over,) = demand(YEAR, small, [car])
    assert contradictions(problem) == []
    (shop,) = problem.shops
    assert (shop.capacity_days[4], shop.short(4), shop.short(3)) == (0, 1, 0)
    assert over.text == (
        "visits that stand take 2 days in 2027-05, 1 there are: "
        "cancel one of them, or give the shop more days"
    )


@given(st.integers(0, 12), st.integers(0, 12))
def test_the_days_that_are_said_to_lack_are_just_enough(days, standing_visits):
    """A day less, and the work still has no place."""
    others = [standing("2027-05", "visual")] * standing_visits
    car = FleetCar("ZQKX 1", "", [dated("visual", date(2027, 5, 31))])

    def asked(more: float):
        shop = PlanShop(WORKS, ("tank",), days + more, {}, 1)
        problem, _ = demand(
            Selection("2027-05", 1), replace(PLAIN, shops=(shop,), moves=()), [car], others
        )
        (one,) = problem.cars
        return least_change(problem, one, one.jobs[0], (), {})

    told = asked(0)
    if told.startswith("Place it"):
        return
    lacking = float(told.split()[0])
    assert lacking == 2 + 2 * standing_visits - days
    assert asked(lacking).startswith("Place it")
    assert not asked(lacking - 1).startswith("Place it")


@pytest.mark.parametrize(
    ("due", "visits", "told"),
    [
        (dated("relief_device", date(2027, 3, 31), 6), (), ["again"]),
        (dated("relief_device", date(2027, 3, 31), 10), (), []),  # next in 2028-01
        (dated("relief_device", date(2027, 3, 31), 9), (), ["again"]),  # next in 2027-12
        (dated("relief_device", date(2026, 1, 31), 11), (), ["overdue", "again"]),
        (
            dated("relief_device", date(2027, 3, 31), 9),
            (standing("2027-03", "relief_device"),),
            ["again"],
        ),
    ],
)
def test_work_that_falls_due_again_within_the_months_is_told(due, visits, told):
    assert planned(due, visits=visits)[1] == told


def since(*due: DueItem, visits=(), basis: Basis = PLAIN):
    return demand(YEAR, basis, [FleetCar("ZQKX 1", "Gulf", due, visits)])[0]


def now(*due: DueItem, visits=(), basis: Basis = PLAIN) -> Now:
    return Now(since(*due, visits=visits, basis=basis), basis)


def test_what_changed_since_a_plan_was_made_is_told_by_car():
    was = dated("visual", date(2027, 6, 30)), dated("relief_device", date(2027, 8, 31))
    before = since(*was)
    after = now(dated("visual", date(2027, 4, 30)), dated("thickness", date(2027, 8, 31)))
    assert {told for _, told in differences(before, (), after)} == {
        "Visual inspection falls due earlier: by 2027-04",
        "Relief device no longer falls due as it was planned",
        "Thickness falls due and is not in the plan",
    }
    assert not list(differences(before, (), now(*was)))
    assert list(differences(before, (), now())) == [
        ("ZQKX 1", "has nothing to be planned any more")
    ]
    assert list(differences(before, (), now(), {"ZQKX 1"})) == [
        ("ZQKX 1", "is in a shop or on its way there: what has begun stays as it is")
    ]


def test_visits_that_stand_where_the_shop_has_not_the_skill_are_told_by_shop_and_month():
    """Their days are counted all the same; what is under way is the shop's affair."""
    stand = [
        standing("2027-05", "visual", "relief_device"),
        standing("2027-06", "relief_device"),
        standing("2027-07", "thickness", begun=True),
    ]
    car = FleetCar("ZQKX 1", "Gulf", TWO, stand)
    elsewhere = [standing("2027-05", "thickness"), standing("2026-05", "thickness")]
    _, remarks = demand(YEAR, shops(does=("valve",)), [car], elsewhere)
    (told,) = (each for each in remarks if each.kind == "unskilled")
    assert told.cars == (WORKS,)
    assert told.text.startswith("visits that stand in 2027-05 are for tank work, which it does not")
    assert not [each for each in demand(YEAR, PLAIN, [car])[1] if each.kind == "unskilled"]


def shops(**otherwise) -> Basis:
    return replace(PLAIN, shops=(replace(PLAIN.shops[0], **otherwise),))


def takes(**otherwise) -> Basis:
    visual = replace(PLAIN.standards["visual"], **otherwise)
    return replace(PLAIN, standards={**PLAIN.standards, "visual": visual})


UNSKILLED = (
    f"ZQKX 1 cannot have Visual inspection done at {WORKS} in 2027-05 any more: "
    "by the standards that shop does no "
)
GOES = f"ZQKX 1 cannot go to {WORKS} in 2027-05 any more"


@pytest.mark.parametrize(
    ("after", "told"),
    [
        (now(*TWO), []),
        (
            now(*TWO, visits=[standing("2027-05", "air_brake", shop="Gone Works")]),
            [f"{GOES}: another visit stands then"],
        ),
        (now(*TWO, visits=[standing("2027-05", "air_brake")]), []),  # to be joined
        # The standards changed: days, a closure, skills, shops, moves, what the work takes.
        (
            now(*TWO, basis=shops(days=1)),
            [f"{WORKS} has 1 day left in 2027-05, and this version takes 2"],
        ),
        (
            now(*TWO, basis=shops(months={"2027-05": 0})),
            [f"{WORKS} has 0 days left in 2027-05, and this version takes 2"],
        ),
        (
            now(*TWO, basis=shops(does=("valve",))),
            [UNSKILLED + "tank work"],
        ),
        (
            now(*TWO, basis=takes(skill="paint")),
            [UNSKILLED + "paint work"],
        ),
        (now(*TWO, basis=shops(code="Other Works")), [f"{GOES}: the standards name no such shop"]),
        (
            now(*TWO, basis=replace(shops(move_cost=None), moves=())),
            [f"{GOES}: by the standards it is out of reach"],
        ),
        (
            now(*TWO, basis=replace(PLAIN, cars=(CarFacts("ZQKX 1", None, "2027-06"),))),
            [f"{GOES}: the car is not free before 2027-06"],
        ),
        (
            now(*TWO, basis=takes(days=31)),
            [f"{WORKS} has 30 days left in 2027-05, and this version takes 31"],
        ),
        (now(*TWO, basis=takes(days=30)), []),
        (
            now(
                *TWO,
                basis=replace(PLAIN, standards={"relief_device": PLAIN.standards["relief_device"]}),
            ),
            [
                "ZQKX 1 Visual inspection no longer falls due as it was planned",
                f"ZQKX 1 goes to {WORKS} in 2027-05 for Visual inspection, for which there is no standard any more",
            ],
        ),
        # It falls due earlier than the visit, and may or may not be late.
        (
            now(dated("visual", date(2027, 4, 30)), TWO[1]),
            [
                "ZQKX 1 Visual inspection falls due earlier: by 2027-04",
                f"ZQKX 1 goes to {WORKS} in 2027-05 too late: Visual inspection is to be done by 2027-04",
            ],
        ),
        (
            now(dated("visual", date(2027, 4, 30)), TWO[1], basis=takes(late_cost=5)),
            ["ZQKX 1 Visual inspection falls due earlier: by 2027-04"],
        ),
    ],
)  # fmt: skip
def test_a_visit_that_no_longer_has_its_place_is_told(after, told):
    visits = (Visit("ZQKX 1", WORKS, 4, ("visual",)),)
    asked = since(*TWO), visits, after
    found = [*differences(*asked), *cannot_be(*asked)]
    assert [f"{who} {what}" for who, what in found] == told


def test_of_a_visit_whose_work_is_done_since_nothing_is_told():
    """The other item is still to be done, in a visit that can be; the shop lost the skill for the first."""
    visits = (Visit("ZQKX 1", WORKS, 4, ("visual",)), Visit("ZQKX 1", WORKS, 6, ("relief_device",)))
    after = now(TWO[1], basis=shops(does=("valve",), days=1))
    assert not list(cannot_be(since(*TWO), visits, after))


def test_months_without_room_are_told_in_their_order():
    full = now(*TWO, basis=shops(days=0))
    visits = [Visit("ZQKX 1", WORKS, 6, ("relief_device",)), Visit("ZQKX 1", WORKS, 2, ("visual",))]
    told = [what.partition(",")[0] for _, what in cannot_be(since(*TWO), visits, full)]
    assert told == ["has 0 days left in 2027-03", "has 0 days left in 2027-07"]


@given(st.dates(date(2020, 1, 1), date(2040, 12, 31)))
def test_the_month_after_a_day_is_that_of_dateutil(day):
    assert first_of_next(day) == f"{day + relativedelta(months=1):%Y-%m}"
    assert monthrange(day.year, day.month)[1] >= day.day


def test_months_are_named_one_after_the_other():
    assert list(months_of(Selection("2027-11", 4))) == ["2027-11", "2027-12", "2028-01", "2028-02"]


def test_the_standards_to_begin_with_have_no_fault():
    assert FIRST.faults() == []

"""Shop plans on the pages: from the standards to a plan that is accepted, changed by hand in between."""

import re
from dataclasses import replace
from datetime import date
from urllib.parse import quote

import pytest

from app.actions import directives, plans
from app.actions.directives import NewDirective, Term
from app.core.plan.basis import PlanShop
from app.core.plan.check import faults
from app.core.plan.demand import in_words
from app.core.plan.forecast import Need, needs
from app.core.plan.problem import ordinal
from app.core.plan.revise import Change
from app.core.plan.soonest import Soonest
from app.pages import plan_view
from app.store import forecasting
from app.store.forecasting import ForecastFilter
from app.store.plans import PlanChange, VisitPlan, VisitWork
from app.store.tables import Party
from app.store.visits import Visit
from tests.fixtures.web import NOW, TestClient
from tests.pages.fleet_cast import QUILLON, STAMP, add
from tests.pages.plans_cast import (
    BASIS,
    CARS,
    NORTH,
    SKILLS,
    SOUTH,
    Planner,
    fleet,
    planner,
    standards,
)
from tests.pages.reading import Page, csv_rows, xlsx_rows


@pytest.fixture
def at_work(web_app, client, record) -> Planner:
    return planner(web_app, client, record)


def opened(record, version):
    return record(lambda db: plans.opened(db, version))


def first_visit(record, version):
    at = opened(record, version)
    visit = min(at.draft.visits, key=lambda each: each.car)
    return at, visit, at.draft.problem.month(visit.month), at.content.cars[visit.car]


def test_with_nothing_planned_the_page_says_what_to_do_first(client: TestClient):
    page = Page(client.get("/plans").text).words
    assert "Begin with the standards" in page
    assert "There is no plan yet." in page


def test_a_new_plan_says_what_it_would_be_about(at_work: Planner):
    page = Page(at_work.client.get("/plans/new?first_month=2027-01&months=12").text).words
    assert f"Cars {CARS}" in page


@pytest.mark.parametrize(
    ("form", "told"),
    [
        ({"name": ""}, "Want a name"),
        (
            {"name": "a" * 5000},
            "A name of 5000 characters; want a name for the plan, of at most 200",
        ),
        ({"first_month": "soon"}, "want a month such as 2027-01"),
        ({"months": "0"}, "want a number of months"),
        ({"months": "9999"}, "want a number of months"),
        ({"months": "1" * 5000}, "want a number of months"),
        ({"first_month": "0000-01"}, "want a month such as 2027-01"),
        ({"first_month": "9999-12"}, "want a month such as 2027-01"),
        ({"first_month": f"{NOW.year + 11}-01"}, f"want a month until {NOW.year + 10}-12"),
        (
            {"first_month": "2030-01", "months": "1", "item": "lining"},
            "Nothing falls due within these months",
        ),
    ],
)
def test_a_plan_that_cannot_be_is_refused_with_what_was_typed(at_work: Planner, form, told):
    sent = {"name": "Spring", "first_month": "2027-01", "months": "12", "seconds": "20"} | form
    answer = at_work.client.post("/plans", data=sent)
    assert answer.status_code == 422
    assert told in answer.text, Page(answer.text).words
    assert "There is no plan yet." in at_work.client.get("/plans").text


@pytest.mark.parametrize(
    ("asked", "told"),
    [("months=0", "want a number of months"), ("first_month=2026-13", "want a month such as")],
)
def test_what_cannot_be_counted_is_told_and_shops_that_are_there_are_not_missed(
    at_work: Planner, asked: str, told: str
):
    page = Page(at_work.client.get(f"/plans/new?{asked}").text).words
    assert told in page
    assert "No shop is known yet" not in page


def test_without_a_shop_a_plan_is_refused_and_told_where_to_put_one(client, record):
    record(fleet)
    answer = client.post("/plans", data={"name": "A", "first_month": "2027-01", "months": "12"})
    assert answer.status_code == 422
    assert "name no shop yet" in answer.text


def test_a_plan_places_every_car_in_time_and_shows_it_by_shop_and_month(at_work: Planner, record):
    version = at_work.plan()
    at = opened(record, version)
    assert len({visit.car for visit in at.draft.visits}) == CARS
    assert not any(faults(at.draft.problem, at.draft.visits))
    page = Page(at_work.page(version)).words
    assert f"of {CARS} cars" in page
    assert NORTH in page
    assert at.content.solved.cost <= at.content.soonest.cost


def test_soonest_due_first_is_compared_in_per_cent_where_it_leaves_as_much(
    at_work: Planner, record
):
    at = opened(record, at_work.plan())
    told = plan_view.figures(at)
    alike = replace(told, soonest=Soonest(told.done / 0.8 + told.left * told.unplaced, told.left))
    assert alike.saving == pytest.approx(20)
    less = replace(alike, soonest=replace(alike.soonest, left=told.left + 1))
    assert less.saving is None
    assert less.soonest_done == pytest.approx(told.done / 0.8 - told.unplaced)


def test_the_estimate_of_a_day_is_not_told_of_a_plan_that_was_changed_since(at_work, record):
    version = at_work.plan()
    at, visit, month, _ = first_visit(record, version)
    code, number = visit.shop, visit.month
    priced = dict.fromkeys(at.content.solved.prices, (9.0,) * at.draft.problem.months)
    solved = replace(at.content.solved, prices=priced)
    at = replace(at, content=replace(at.content, solved=solved))
    assert plan_view.price_at(plan_view.prices(at), code, number) == 9.0
    changed = replace(at, changes=(Change("lock", visit.car, number),))
    assert plan_view.price_at(plan_view.prices(changed), code, number) == 0.0
    at_work.change(version, "lock", car=visit.car, month=month)
    page = at_work.page(version, f"/month?shop={quote(code)}&month={month}")
    assert "changed by hand since" in Page(page).words


def test_moving_a_visit_answers_with_what_it_did_to_the_cost(at_work: Planner, record):
    version = at_work.plan()
    at, visit, month, car_id = first_visit(record, version)
    page = at_work.page(version, f"/cars/{car_id}")
    assert "Why there and then" in page
    assert "The next best for this car, while all others stay" in page
    answer = at_work.change(
        version, "move", car=visit.car, month=month, shop=SOUTH, to_month="2027-03"
    )
    assert "more than before the change" in Page(answer.text).words
    moved = opened(record, version).draft.of_car(visit.car)
    assert [(each.shop, each.month) for each in moved if visit.jobs == each.jobs] == [(SOUTH, 2)]
    assert (
        f"{visit.car}: moved from {month} to {SOUTH} in 2027-03"
        in Page(at_work.page(version)).words
    )
    at_work.change(version, "undo")
    assert opened(record, version).draft.visits == at.draft.visits
    assert record(lambda db: db.query(PlanChange).count()) == 2  # the undone one stays on record


@pytest.mark.parametrize(
    ("kind", "form", "told"),
    [
        ("move", {"shop": SOUTH, "to_month": "2099-01"}, "outside the months of this plan"),
        ("move", {"shop": "Nowhere", "to_month": "2027-01"}, "out of reach"),
        ("move", {"shop": "", "to_month": ""}, "Choose the shop and the month"),
        ("place", {"shop": SOUTH, "to_month": "2027-01", "job": "moon"}, "has no such work"),
        ("forbid", {"shop": ""}, "Choose the shop"),
        ("forbid", {"shop": "Nowhere Shop"}, "No shop of this plan is named Nowhere Shop"),
    ],
)
def test_a_change_that_cannot_be_is_refused_in_words_and_changes_nothing(
    at_work, record, kind, form, told
):
    version = at_work.plan()
    at, visit, month, _ = first_visit(record, version)
    answer = at_work.change(version, kind, car=visit.car, month=month, **form)
    assert answer.status_code == 409
    assert told in answer.text
    assert opened(record, version).draft == at.draft


def test_a_locked_visit_stays_where_it_is_when_solved_again(at_work: Planner, record):
    version = at_work.plan()
    _, visit, month, _ = first_visit(record, version)
    at_work.change(version, "move", car=visit.car, month=month, shop=SOUTH, to_month="2027-02")
    at_work.change(version, "lock", car=visit.car, month="2027-02")
    again = at_work.solve(f"/plans/versions/{version}/solve", name="Around it")
    stands = opened(record, again).draft.of_car(visit.car)
    assert (SOUTH, 1) in [(each.shop, each.month) for each in stands]
    assert (visit.car, 1) in opened(record, again).draft.locked
    plan_id = opened(record, version).plan.id
    page = Page(
        at_work.client.get(f"/plans/{plan_id}/compare?before={version}&after={again}").text
    ).words
    assert "Two versions compared" in page
    one_alone = at_work.client.get(f"/plans/{plan_id}/compare?before={version}")
    assert one_alone.url.path == f"/plans/{plan_id}"
    refused = at_work.change(
        version, "move", car=visit.car, month="2027-02", shop=NORTH, to_month="2027-02"
    )
    assert "is locked. Unlock it first." in refused.text


def test_a_locked_visit_is_planned_when_its_version_is_accepted(at_work: Planner, record):
    version = at_work.plan()
    _, visit, month, car_id = first_visit(record, version)
    at_work.change(version, "lock", car=visit.car, month=month)
    again = at_work.solve(f"/plans/versions/{version}/solve")
    at_work.client.post(f"/plans/versions/{again}/accept", data={"instructions": ""})
    planned = record(
        lambda db: [f"{row.month:%Y-%m}" for row in db.query(VisitPlan) if row.car_id == car_id]
    )
    assert month in planned


def test_instructions_for_one_car_stand_behind_those_for_all(at_work: Planner, record):
    version = at_work.plan()
    _, visit, _, car_id = first_visit(record, version)
    at_work.change(version, "note", car=visit.car, text="Mind the invented valve.")
    assert "Mind the invented valve." in at_work.page(version, f"/cars/{car_id}")
    at_work.client.post(f"/plans/versions/{version}/accept", data={"instructions": "Call first."})
    written = record(lambda db: {row.car_id: row.instructions for row in db.query(Visit)})
    assert written[car_id] == "Call first.\nMind the invented valve."
    assert {text for key, text in written.items() if key != car_id} == {"Call first."}


def test_a_forbidden_shop_is_left_when_solved_again(at_work: Planner, record):
    version = at_work.plan()
    _, visit, *_ = first_visit(record, version)
    other = SOUTH if visit.shop == NORTH else NORTH
    at_work.change(version, "forbid", car=visit.car, shop=visit.shop)
    again = at_work.solve(f"/plans/versions/{version}/solve")
    assert {each.shop for each in opened(record, again).draft.of_car(visit.car)} == {other}


def test_a_version_that_is_over_the_days_cannot_be_accepted(web_app, client, record):
    small = replace(
        BASIS,
        shops=(
            PlanShop(NORTH, SKILLS, 20, {}, 1400),
            PlanShop(SOUTH, SKILLS, 0, {"2027-01": 1}, 1900),
        ),
    )
    at_work = planner(web_app, client, record, small)
    version = at_work.plan()
    _, visit, month, _ = first_visit(record, version)
    answer = at_work.change(
        version, "move", car=visit.car, month=month, shop=SOUTH, to_month="2027-01"
    )
    assert "What this version breaks" in answer.text
    accepted = client.post(f"/plans/versions/{version}/accept", data={"instructions": ""})
    assert accepted.status_code == 409
    assert "cannot be accepted" in accepted.text


def test_a_visit_moved_past_its_due_month_is_told_in_words_and_its_cost_not_compared(
    at_work: Planner, record
):
    """The work may not be late, so being late costs nothing: the cost alone would look better."""
    version = at_work.plan()
    at, visit, month, _ = first_visit(record, version)
    assert "% apart" in Page(at_work.page(version)).words
    answer = at_work.change(
        version, "move", car=visit.car, month=month, shop=visit.shop, to_month="2027-12"
    )
    accepted = at_work.client.post(f"/plans/versions/{version}/accept", data={"instructions": ""})
    listed = at_work.client.get(f"/plans/{at.plan.id}")
    work = in_words(visit.jobs[0])
    for page in (Page(each.text).words for each in (answer, accepted)):
        assert f"{visit.car}: {visit.shop} in 2027-12 is too late for {work}" in page
        assert "not to be compared: this version breaks something" in page
        assert "before the change" not in page
        assert "% apart" not in page
    assert "not known" in Page(listed.text).words
    at_work.change(version, "lock", car=visit.car, month="2027-12")
    refused = at_work.client.post(f"/plans/versions/{version}/solve", data={"seconds": "20"})
    assert f"is too late for {work}, latest" in Page(refused.text).words
    both = f"before={version}&after={version}"
    compared = Page(at_work.client.get(f"/plans/{at.plan.id}/compare?{both}").text).words
    assert "so its cost is not to be compared" in compared


def test_a_directive_is_planned_by_its_standard_and_its_visit_is_accepted(at_work: Planner, record):
    """About one car, within the months; other cars have none."""

    def order(db):
        new = NewDirective(
            party_id=db.query(Party).filter(Party.name == QUILLON).one().id, ordered_by="authority",
            orderer="Invented Authority", number="7", title="Look at the frame", what="Look.",
            ordered_on=date(2026, 10, 1), as_of=STAMP.today, term=Term(due_on=date(2027, 5, 31)),
            condition={"built_from": "2017-04-15", "built_to": "2017-04-15"},
        )  # fmt: skip
        directives.freeze(db, new, replace(STAMP, at=NOW))

    record(order)
    version = at_work.plan(item="directive")
    at = opened(record, version)
    (car,) = at.draft.problem.cars
    (job,) = car.jobs
    standard = BASIS.standards["directive"]
    assert (job.name, job.skill, job.days) == ("directive", standard.skill, standard.days)
    assert at.draft.problem.month(job.latest) == "2027-05"
    falling = record(
        lambda db: forecasting.falling(db, ForecastFilter(item="directive"), date(2026, 11, 1))
    )
    need = Need(1, standard.days, standard.cost)
    assert needs(falling, BASIS, ordinal("2026-11"), 120) == {ordinal("2027-05"): need}
    page = Page(at_work.page(version)).words
    assert "has no standard" not in page
    answer = at_work.client.post(f"/plans/versions/{version}/accept", data={"instructions": ""})
    assert answer.status_code == 200
    assert record(lambda db: [row.item for row in db.query(VisitWork)]) == ["directive"]


def test_work_for_which_there_is_no_room_says_why_and_what_would_have_to_change(
    web_app, client, record
):
    none = replace(BASIS, shops=(PlanShop(NORTH, SKILLS, 3, {}, 1400),))
    at_work = planner(web_app, client, record, none)
    version = at_work.plan()
    page = Page(at_work.page(version)).words
    assert "Work without a visit" in page
    assert re.search(r"more shop days? at North Invented Shop in 2027-\d\d would do", page)


def test_of_a_visit_taken_out_by_hand_it_is_said_that_placing_its_work_would_cost_less(
    at_work: Planner, record
):
    version = at_work.plan()
    _, visit, month, car_id = first_visit(record, version)
    at_work.change(version, "take_out", car=visit.car, month=month)
    for page in (at_work.page(version), at_work.page(version, f"/cars/{car_id}")):
        words = Page(page).words
        assert re.search(r"It was taken out by hand, though .* costs [\d,.]+ less than", words)
        assert "Leaving it costs" not in words


def test_accepting_plans_the_visits_with_their_work(at_work: Planner, record):
    version = at_work.plan()
    at = opened(record, version)
    answer = at_work.client.post(
        f"/plans/versions/{version}/accept", data={"instructions": "Call before noon."}, follow_redirects=False
    )  # fmt: skip
    assert answer.status_code == 303
    planned = record(
        lambda db: [(row.car_id, row.month, row.version_id) for row in db.query(VisitPlan)]
    )
    assert len(planned) == len(at.draft.visits)
    assert {row[2] for row in planned} == {version}
    items = record(lambda db: {row.item for row in db.query(VisitWork)})
    assert "visual" in items
    # Accepting once more changes nothing but the written instructions, which make other visits.
    page = at_work.page(version, "/accept")
    assert f"{len(planned)} visits of this plan kept as planned" in Page(page).words
    at_work.client.post(f"/plans/versions/{version}/accept", data={"instructions": ""})
    assert record(lambda db: db.query(VisitPlan).count()) == 2 * len(planned)
    at_work.client.post(f"/plans/versions/{version}/accept", data={"instructions": ""})
    assert record(lambda db: db.query(VisitPlan).count()) == 2 * len(planned)


def test_changes_by_hand_after_a_version_was_accepted_are_said_not_to_be_in_the_visits(
    at_work: Planner, record
):
    version = at_work.plan()
    at, visit, month, _ = first_visit(record, version)
    of = {"car": visit.car, "month": month}

    def by_hand(*kinds: str, **form: str) -> str:
        """What the pages of the version and of its plan say once these changes are made."""
        for kind in kinds:
            at_work.change(version, kind, **of, **form)
        plan = Page(at_work.client.get(f"/plans/{at.plan.id}").text).words
        return f"{Page(at_work.page(version)).words} {plan}"

    by_hand("note", text="Mind the invented valve.")  # there already when it is accepted
    at_work.client.post(f"/plans/versions/{version}/accept", data={"instructions": ""})
    said = by_hand("lock")
    assert "Its visits are under Visits" in said
    assert "after that" not in said
    said = by_hand("unlock") + by_hand("move", shop=SOUTH, to_month="2027-03")
    assert "1 change by hand came after that, and is not in the visits" in said
    assert "1 change after that, not in the visits: accept it once more" in said
    assert "Its visits are under Visits" in by_hand("undo")
    # Undone to before the acceptance: what it accepted is no longer there.
    assert "1 change by hand came after that" in by_hand("undo", "undo", "undo")
    at_work.client.post(f"/plans/versions/{version}/accept", data={"instructions": ""})
    assert "Its visits are under Visits" in by_hand()


def test_what_has_its_visit_is_planned_no_second_time_by_another_plan(at_work: Planner, record):
    """One plan takes the tank work; what another has to place may join those visits, and takes none of them away."""
    version = at_work.plan(name="Tanks", item="visual")
    at_work.client.post(f"/plans/versions/{version}/accept", data={"instructions": ""})
    places = {(each.car, each.shop, each.month) for each in opened(record, version).draft.visits}
    again = at_work.plan(name="Summer")
    at = opened(record, again)
    assert places <= {(each.car, each.shop, each.month) for each in at.draft.visits}
    assert not any("visual" in job for each in at.draft.visits for job in each.jobs)
    visit = next(each for each in at.draft.visits if (each.car, each.shop, each.month) in places)
    month = at.draft.problem.month(visit.month)
    for kind, form in (
        ("take_out", {"month": month}),
        ("forbid", {"shop": visit.shop}),
        ("forbid", {"shop": visit.shop, "to_month": month}),
    ):
        refused = at_work.change(again, kind, car=visit.car, **form)
        assert refused.status_code == 409
        assert "was planned before this plan" in refused.text
    page = Page(at_work.page(again, f"/cars/{at.content.cars[visit.car]}")).words
    assert "Visits that stood before this plan" in page
    assert "days before it" in Page(at_work.page(again)).words.replace("day before", "days before")
    answer = at_work.client.post(
        "/plans", data={"name": "Tanks again", "first_month": "2027-01", "months": "12", "item": "visual"}
    )  # fmt: skip
    assert (
        "Nothing falls due within these months for these cars that has no visit yet" in answer.text
    )


def test_a_bound_is_withdrawn_once_something_it_rests_on_is_lifted(at_work: Planner, record):
    version = at_work.plan()
    _, visit, *_ = first_visit(record, version)
    at_work.change(version, "forbid", car=visit.car, shop=visit.shop)
    again = at_work.solve(f"/plans/versions/{version}/solve")
    assert "% apart" in Page(at_work.page(again)).words
    at_work.change(again, "allow", car=visit.car, shop=visit.shop)
    page = Page(at_work.page(again)).words
    assert "% apart" not in page
    assert "solve again to know" in page
    plan_id = opened(record, again).plan.id
    assert "not known" in Page(at_work.client.get(f"/plans/{plan_id}").text).words
    at_work.change(again, "undo")
    assert "% apart" in Page(at_work.page(again)).words


def test_solving_anew_takes_over_what_is_locked_forbidden_and_written(at_work: Planner, record):
    version = at_work.plan()
    at, visit, month, _ = first_visit(record, version)
    at_work.change(version, "lock", car=visit.car, month=month)
    at_work.change(version, "note", car=visit.car, text="Mind the invented valve.")
    other = next(each for each in at.draft.visits if each.car != visit.car)
    at_work.change(version, "forbid", car=other.car, shop=other.shop)
    plan_id = at.plan.id
    assert "Take over what is locked" in at_work.client.get(f"/plans/{plan_id}").text
    anew = opened(record, at_work.solve(f"/plans/{plan_id}/solve", carry=str(version))).draft
    assert (visit.car, visit.month) in anew.locked
    assert visit in anew.visits
    assert anew.notes[visit.car] == "Mind the invented valve."
    assert {each.shop for each in anew.of_car(other.car)} != {other.shop}
    none = opened(record, at_work.solve(f"/plans/{plan_id}/solve", carry="")).draft
    assert not none.locked
    assert not none.notes
    strange = at_work.plan(name="Other")
    refused = at_work.client.post(f"/plans/{plan_id}/solve", data={"carry": str(strange)})
    assert "not of this plan" in refused.text


def test_where_leaving_work_is_cheap_the_standards_and_a_new_plan_say_so(web_app, client, record):
    cheap = planner(web_app, client, record, replace(BASIS, unplaced_cost=0))
    for address in ("/plans/standards", "/plans/new"):
        assert "costs no more than" in Page(client.get(address).text).words
    version = cheap.plan()
    page = Page(cheap.page(version, "/accept")).words
    assert "have no visit in this version" in page
    assert "see which, and why" in page


def test_with_all_costs_zero_everything_is_placed_all_the_same(web_app, client, record):
    free = {
        item: replace(standard, cost=0, late_cost=0) for item, standard in BASIS.standards.items()
    }
    shops = tuple(replace(shop, move_cost=0) for shop in BASIS.shops)
    nothing = replace(
        BASIS, standards=free, shops=shops, cleaning_cost=0, earning_per_day=0, unplaced_cost=0
    )
    at_work = planner(web_app, client, record, nothing)
    version = at_work.plan()
    assert "Work without a visit 0" in Page(at_work.page(version)).words


def test_a_fleet_that_changed_since_is_told_of(at_work: Planner, record):
    version = at_work.plan()
    assert "Everything that falls due is as this version has it." in at_work.page(version, "/fleet")
    record(lambda db: add(db, "ZQKX", 7099, date(2017, 6, 1)))
    page = Page(at_work.page(version, "/fleet")).words
    assert "ZQKX 7099 is to be planned and is not in the plan" in page


def test_standards_that_changed_since_are_told_on_every_page_of_a_version(at_work: Planner, record):
    version = at_work.plan()
    mine = f"/plans/versions/{version}/standards"
    assert "Made by these standards" in (same := Page(at_work.page(version)).words)
    assert "those of today" not in same
    assert "The standards of today are the same." in at_work.page(version, "/standards")
    north, south = BASIS.shops
    third = PlanShop("Third Invented Shop", SKILLS, 5, {}, 10)
    visual = replace(BASIS.standards["visual"], days=6)
    now = replace(
        BASIS, cleaning_cost=2400, standards={**BASIS.standards, "visual": visual},
        shops=(replace(north, does=("valve",)), south, third),
    )  # fmt: skip
    record(lambda db: standards(db, now))
    shown = Page(at_work.page(version)).words
    assert "those of today differ at 4 places" in shown
    assert "What cannot be as planned by the standards of today" in shown
    for page in (
        shown,
        *(Page(at_work.page(version, f"/{at}")).words for at in ("fleet", "accept")),
    ):
        assert f"done at {NORTH} in 2027-" in page
        assert "any more: by the standards that shop does no tank work" in page
    assert mine in at_work.page(version, "/fleet")
    assert "Accept, and plan" not in at_work.page(version, "/accept")
    made_by = Page(at_work.page(version, "/standards"))
    assert "differ at 4 places, marked" in made_by.words
    rows = {row[0]: row for row in made_by.rows}
    assert rows["Cleaning, each visit"] == ["Cleaning, each visit", "1200 now 2400"]
    assert rows["Visual inspection"][2] == "2 now 6"
    assert rows[NORTH][1] == "tank, lining, valve, running gear now valve"
    assert rows[SOUTH][3] == "2027-07 0"
    assert "Third Invented Shop: named" in made_by.words
    # Another version, by the standards of today, beside this one.
    plan_id = opened(record, version).plan.id
    again = at_work.solve(f"/plans/{plan_id}/solve")
    both = f"before={version}&after={again}"
    compared = Page(at_work.client.get(f"/plans/{plan_id}/compare?{both}").text)
    assert "the costs below are not of the same measure" in compared.words
    rows = {row[0]: row[1:] for row in compared.rows}
    assert rows["Cleaning, each visit"] == ["1200", "2400"]
    assert rows["Cost"][2] == "not of the same measure"
    assert rows["Overdue risk: due items without a visit"][2] == "the same"
    itself = at_work.client.get(f"/plans/{plan_id}/compare?before={again}&after={again}").text
    assert "Made by different standards" not in itself


def test_the_price_of_a_day_is_found_by_solving_again(at_work: Planner, record):
    version = at_work.plan()
    answer = at_work.client.post(
        f"/plans/versions/{version}/price",
        data={"shop": NORTH, "month": "2027-02", "seconds": "20"}, follow_redirects=False,
    )  # fmt: skip
    page = Page(at_work.done(answer.headers["location"])).words
    assert "saved by one shop day more at North Invented Shop in 2027-02" in page
    assert "the figure is exact" in page


def test_where_standing_visits_take_more_days_than_there_are_the_load_is_shown_and_no_day_priced(
    at_work: Planner, record
):
    """The shop has 1 day a month once its visits are planned, and none in the month of one of them."""
    tanks = at_work.plan(name="Tanks", item="visual")
    at_work.client.post(f"/plans/versions/{tanks}/accept", data={"instructions": ""})
    at = opened(record, tanks)
    one, closed = at.draft.visits[:2]
    shut, month = (at.draft.problem.month(each.month) for each in (closed, one))
    fewer = PlanShop(NORTH, SKILLS, 1, {shut: 0}, 1400)
    record(lambda db: standards(db, replace(BASIS, shops=(fewer,))))
    days = dict(plan_view.days_of(at.accounts))[one.shop, one.month]
    later = at_work.plan(name="Valves", item="relief_device")
    page = Page(at_work.page(later)).words
    assert f"{days:g} of 1 1 car, {days:g} days before it, over" in page
    assert re.search(r"\d of 0 1 car, \d days before it, closed, over", page), page
    shown = Page(at_work.page(later, f"/month?shop={quote(NORTH)}&month={month}")).words
    assert f"{days:g} of 1 shop days taken: {days - 1:g} more than there are" in shown
    assert "a day more there gives this plan nothing" in shown
    refused = at_work.client.post(
        f"/plans/versions/{later}/price", data={"shop": NORTH, "month": month, "seconds": "20"}
    )
    assert refused.status_code == 409
    assert f"take {days - 1:g} shop days more than {NORTH} has in {month}" in refused.text


def test_the_price_of_a_day_is_that_of_the_same_locks_with_it_and_without(web_app, client, record):
    """A visit is locked, and the cheaper shop is short of days: both searches go around the lock."""
    tight = replace(BASIS, shops=(
        PlanShop(NORTH, SKILLS, 0, {"2027-03": 3.5}, 1400), PlanShop(SOUTH, SKILLS, 40, {}, 1900),
    ))  # fmt: skip
    at_work = planner(web_app, client, record, tight)
    version = at_work.plan()
    _, visit, month, _ = first_visit(record, version)
    at_work.change(version, "lock", car=visit.car, month=month)
    answer = client.post(
        f"/plans/versions/{version}/price",
        data={"shop": NORTH, "month": "2027-03", "seconds": "20"}, follow_redirects=False,
    )  # fmt: skip
    page = Page(at_work.done(answer.headers["location"])).words
    figures = re.sub(r"(?<=\d)[\s\u202f](?=\d{3}\b)", "", page)
    found = re.search(r"(\d+) saved by one shop day", figures)
    assert found, page
    again = at_work.solve(f"/plans/versions/{version}/solve")
    without = opened(record, again).content.solved
    costs = re.search(r"costs (\d+) without the day and (\d+) with it", figures)
    assert costs, page
    assert int(costs[1]) == round(without.cost)
    assert int(costs[1]) - int(costs[2]) == pytest.approx(int(found[1]), abs=1)
    assert "Around what is locked and forbidden" in page


@pytest.mark.parametrize("month", ["abc2027-01", "2027-01x", "0000-01", "9999-12"])
def test_an_address_with_no_month_is_refused(at_work: Planner, month):
    version = at_work.plan()
    answer = at_work.client.get(
        f"/plans/versions/{version}/month", params={"shop": NORTH, "month": month}
    )
    assert answer.status_code == 422
    assert at_work.client.get(f"/plans/versions/{version}/cars/1?was=inf").status_code == 200


def test_a_plan_is_taken_away_as_csv_and_xlsx_with_the_same_rows(at_work: Planner):
    version = at_work.plan()
    one = csv_rows(at_work.client.get(f"/plans/versions/{version}.csv").content)
    other = xlsx_rows(at_work.client.get(f"/plans/versions/{version}.xlsx").content)
    assert len(one) == len(other) >= CARS
    assert [row["car"] for row in one] == [row["car"] for row in other]


def test_a_search_is_stopped_by_whoever_asked_and_keeps_the_best(at_work: Planner, record):
    answer = at_work.client.post(
        "/plans", data={"name": "A", "first_month": "2027-01", "months": "12", "seconds": "600"},
        follow_redirects=False,
    )  # fmt: skip
    job = answer.headers["location"]
    at_work.client.post(f"{job}/stop")
    assert "A plan was found" in at_work.done(job)

"""Planned visits on the pages: what stands out, closing by inspections, work orders, calendar files, lists as files."""

import re
from collections.abc import Iterator
from datetime import date

import pytest
from icalendar import Calendar
from sqlalchemy import select

from app.actions import cars, visits
from app.actions.changes import NewStanding
from app.actions.visits import Planning
from app.store.db import write_session
from app.store.tables import Party
from tests.access.parties import (
    MARK,
    OTHER_SHOP,
    OWNER,
    SHOP,
    STAMP,
    asks,
)
from tests.fixtures.store import Stocked
from tests.pages.reading import Page, csv_rows, xlsx_rows
from tests.pages.visits_cast import NAME, NOTHING, Shared, sharing, stock, words

__all__ = ["stock"]  # what `stocked` copies


@pytest.fixture
def shared(stocked: Stocked) -> Iterator[Shared]:
    with sharing(stocked) as shared:
        yield shared


WORK = ("visual", "lining")


def planned(
    shared: Shared, month: date = date(2027, 2, 1), shop: str = SHOP, told: str = "Mind the lining."
) -> int:
    """A visit planned with 20 days out of service."""
    with write_session(shared.app.state.sessions) as db:
        owner = db.scalars(select(Party).where(Party.name == OWNER)).one()
        session = asks(db, owner, "planner", "plan")
        return visits.plan(session, shared.car, Planning(shop, month, WORK, 20, told), STAMP).id


def note(shared: Shared, visit: int, step: str, on: str) -> None:
    answer = shared.planner.post(f"/visits/{visit}/{step}", data={"on": on}, follow_redirects=False)
    assert answer.status_code == 303, answer.text


def inspect(shared: Shared, on: str, *items: str) -> None:
    form = {"happened_on": on, "items": list(items), "outcome": "pass", "facility": SHOP}
    answer = shared.planner.post(f"/cars/{shared.car}/events", data=form)
    assert "Recorded" in Page(answer.text).words


def test_a_planned_visit_is_listed_for_the_owner_and_hidden_from_the_shop(shared):
    planned(shared)
    page = Page(shared.planner.get("/visits").text)
    assert page.rows[0][:6] == [
        NAME, SHOP, OWNER, "2027-02", "– planned 20",
        "visual inspection, lining Mind the lining.",
    ]  # fmt: skip
    assert "late" not in page.rows[0][6]
    assert NAME not in words(shared.shop, "/visits")


def test_the_car_s_page_says_for_which_month_and_work_a_visit_is_planned(shared):
    planned(shared)
    assert "Planned for 2027-02: visual inspection, lining" in words(
        shared.planner, f"/cars/{shared.car}"
    )


def test_a_visit_whose_month_is_past_and_that_is_not_sent_is_late(shared):
    planned(shared, date(2026, 10, 1))
    shown = shared.planner.get("/visits").text
    assert "late its month is past, and it is not sent" in Page(shown).words
    # A word, a shape and a colour.
    assert re.search(r'class="status status-overdue">\s*<svg class="shape"', shown)


def test_a_visit_planned_for_after_its_work_is_due_says_so(shared):
    planned(shared, date(2040, 1, 1))
    assert "planned after its due date" in words(shared.planner, "/visits")


def test_a_visit_whose_work_was_done_elsewhere_says_when_it_falls_due_now(shared):
    planned(shared)
    assert "due otherwise now" not in words(shared.planner, "/visits")
    inspect(shared, "2026-11-10", "visual")
    shown = words(shared.planner, "/visits")
    assert re.search(
        r"due otherwise now visual inspection by 20\d\d-\d\d-\d\d: cancel it", shown
    ), shown


def test_a_visit_of_a_car_that_can_go_nowhere_any_more_says_so(shared):
    planned(shared)
    with write_session(shared.app.state.sessions) as db:
        owner = db.scalars(select(Party).where(Party.name == OWNER)).one()
        session = asks(db, owner, "compliance", "keep_record")
        gone = NewStanding("scrapped", from_on=STAMP.at.date())
        cars.change_standing(session, shared.car, gone, STAMP)
    assert "the car is scrapped cancel it" in words(shared.planner, "/visits")


def test_a_car_that_is_away_for_longer_than_planned_is_late(shared):
    visit = planned(shared)
    note(shared, visit, "sent", "2026-11-05")
    assert "late" not in Page(shared.planner.get("/visits").text).rows[0][7]
    shared.planner.post(f"/visits/{visit}/undo/sent", data={"reason": "Earlier."})
    note(shared, visit, "sent", "2026-11-04")
    note(shared, visit, "arrived", "2026-11-06")
    page = Page(shared.planner.get("/visits?state=in_shop").text)
    assert page.rows[0][8] == "late away 21 days, planned 20"


def test_an_inspection_recorded_in_the_shop_closes_its_work(shared):
    visit = planned(shared)
    note(shared, visit, "sent", "2026-11-04")
    inspect(shared, "2026-11-10", "visual")
    shown = words(shared.planner, f"/visits/{visit}")
    assert "done 2026-11-10" in shown
    assert "Work done" not in shown
    inspect(shared, "2026-11-11", "lining")
    assert "Work done. All that the visit was planned for has passed" in words(
        shared.planner, f"/visits/{visit}"
    )
    assert "work done" in words(shared.planner, "/visits")


def test_a_release_with_work_left_says_what_goes_back_into_planning(shared):
    visit = planned(shared)
    note(shared, visit, "sent", "2026-11-04")
    inspect(shared, "2026-11-10", "visual")
    form = words(shared.planner, f"/visits/{visit}/released")
    assert "Not done yet: lining inspection. If the car is released so" in form
    note(shared, visit, "released", "2026-11-20")
    shown = words(shared.planner, f"/visits/{visit}?saved=released")
    assert "Released with work left: lining. It stays open" in shown
    [row] = csv_rows(shared.planner.get("/visits.csv").content)
    assert (row["work"], row["work_left"]) == ("visual;lining", "lining")


def test_days_out_of_service_are_told_per_shop_planned_against_real(shared):
    visit = planned(shared)
    note(shared, visit, "sent", "2026-10-01")
    note(shared, visit, "released", "2026-10-11")
    visit = shared.send(sent_on="2026-10-12")
    note(shared, visit, "released", "2026-11-01")
    page = Page(shared.planner.get("/visits").text)
    assert page.rows[-1] == [SHOP, "2", "15.0", "15.0", "1", "20.0", "10.0", "20.0", "10.0"]


def test_a_planned_visit_is_cancelled_with_a_reason_on_a_form(shared):
    visit = planned(shared)
    address = f"/visits/{visit}/cancel"
    assert "go back into planning" in words(shared.planner, address)
    assert shared.planner.post(address, data={"reason": ""}).status_code == 422
    shared.planner.post(address, data={"reason": "No room."})
    assert "No visit is planned" not in words(shared.planner, "/visits")
    shown = words(shared.planner, f"/visits/{visit}")
    assert "cancelled" in shown
    assert "No room." in shown
    assert shared.planner.post(address, data={"reason": "No room."}).status_code == 422
    assert shared.ask(OWNER, "inspector").get(address).status_code == 403


def test_the_files_hold_the_rows_of_the_list_alike(shared):
    planned(shared)
    taken = csv_rows(shared.planner.get("/visits.csv?state=planned").content)
    assert [
        (row["state"], row["mark"], row["month"], row["days_out_planned"]) for row in taken
    ] == [("planned", MARK, "2027-02", "20")]
    assert xlsx_rows(shared.planner.get("/visits.xlsx").content) == taken
    assert csv_rows(shared.planner.get("/visits.csv?state=sent").content) == []


# What is asked, and whether the visit planned for 2027-02 is listed; None: it cannot be read.
FILTERS = [
    ("shop=Made-up+Car+Shop", True),
    ("month=2027-02", True),
    ("month=2027-03", False),
    ("state=in_shop", False),
    ("state=gone", None),
    ("month=soon", None),
    ("shop=Nobody", None),
    ("car=1", None),
]


@pytest.mark.parametrize(("asked", "listed"), FILTERS)
def test_a_filter_in_the_address_lists_what_answers_to_it(shared, asked, listed):
    planned(shared)
    answer = shared.planner.get(f"/visits?{asked}")
    assert answer.status_code == (422 if listed is None else 200)
    assert (NAME in Page(answer.text).words) is bool(listed)
    if listed is None:
        assert shared.planner.get(f"/visits.csv?{asked}").status_code == 422


def test_a_work_order_holds_what_the_shop_needs(shared):
    visit = planned(shared)
    shown = words(shared.planner, f"/visits/{visit}/order")
    for told in (
        f"Work order {visit}: {NAME}", SHOP, "2027-02", "20 days out of service", OWNER,
        "DOT 111A100W5", "Hydrochloric acid", "Mind the lining.", "Visual inspection Due",
        "180.509", "Built-in steps", "confined space", "lock-out", "purging", "fall protection",
        "The rule in force, the owner’s written instructions and the qualified shop decide",
    ):  # fmt: skip
        assert told in shown, told


def test_the_work_orders_of_a_shop_and_month_are_printed_together(shared):
    planned(shared)
    planned(shared, date(2027, 3, 1))
    planned(shared, date(2027, 4, 1), OTHER_SHOP)
    shop = f"shop={SHOP.replace(' ', '+')}"
    assert "2 work orders" in words(shared.planner, f"/visits/orders?{shop}")
    one = words(shared.planner, f"/visits/orders?{shop}&month=2027-03")
    assert one.count(f": {NAME}") == 1
    assert "work orders, each" not in one
    assert "No work orders" in words(shared.planner, f"/visits/orders?{shop}&month=2028-03")
    assert shared.planner.get("/visits/orders").status_code == 422


WICKED = "Look.\r\nEND:VEVENT\r\nBEGIN:VEVENT\rSUMMARY:Free beer; a, b\\n\x07"


def test_a_shop_s_calendar_reads_back_with_whole_days_and_steady_names(shared):
    visit = planned(shared, told=WICKED)
    planned(shared, date(2027, 5, 1), OTHER_SHOP)
    address = f"/visits/calendar.ics?shop={SHOP.replace(' ', '+')}"

    def event():
        answer = shared.planner.get(address)
        assert answer.headers["content-type"].startswith("text/calendar")
        [found] = Calendar.from_ical(answer.content).walk("VEVENT")
        return found

    first = event()
    assert (first["dtstart"].dt, first["dtend"].dt) == (date(2027, 2, 1), date(2027, 3, 1))
    assert str(first["summary"]) == f"{NAME}: visual inspection, lining inspection"
    assert str(first["location"]) == SHOP
    assert str(first["status"]) == "TENTATIVE"
    assert "Free beer; a, b" in str(first["description"])
    note(shared, visit, "sent", "2026-11-20")
    then = event()
    assert then["uid"] == first["uid"]
    assert (then["dtstart"].dt, then["dtend"].dt) == (date(2026, 11, 20), date(2026, 12, 11))
    assert str(then["status"]) == "CONFIRMED"
    note(shared, visit, "released", "2026-11-24")
    assert Calendar.from_ical(shared.planner.get(address).content).walk("VEVENT") == []
    assert shared.planner.get("/visits/calendar.ics").status_code == 422


def test_who_does_not_reach_the_car_finds_no_visit_order_or_calendar(shared):
    visit = planned(shared)
    for path in (f"/visits/{visit}", f"/visits/{visit}/order"):
        assert shared.shop.get(path).status_code == 404
        assert shared.shop.get(path.replace(str(visit), str(NOTHING))).status_code == 404
    assert shared.shop.get(f"/visits/calendar.ics?shop={SHOP.replace(' ', '+')}").status_code == 422
    note(shared, visit, "sent", "2026-11-20")
    assert f"Work order {visit}" in words(shared.shop, f"/visits/{visit}/order")
    assert shared.shop.get(f"/visits/{visit}/cancel").status_code == 403


def test_the_form_for_sending_a_planned_car_names_its_shop(shared):
    planned(shared)
    form = shared.planner.get(f"/cars/{shared.car}/visits/new").text
    assert f'value="{SHOP}"' in form
    assert "Mind the lining." in form


def test_the_record_of_change_tells_of_planning_in_words(shared):
    visit = planned(shared)
    shared.planner.post(f"/visits/{visit}/cancel", data={"reason": "No room."})
    told = words(shared.planner, "/changes")
    assert "planned a visit to a shop" in told
    assert "cancelled a planned visit to a shop" in told


def test_a_work_order_with_a_thickness_test_lists_the_zones_to_be_measured(shared):
    visit = planned(shared)
    assert "Zones to be measured" not in words(shared.planner, f"/visits/{visit}/order")
    with write_session(shared.app.state.sessions) as db:
        owner = db.scalars(select(Party).where(Party.name == OWNER)).one()
        planning = Planning(SHOP, date(2027, 6, 1), ("thickness",), 20)
        session = asks(db, owner, "planner", "plan")
        visit = visits.plan(session, shared.car, planning, STAMP).id
    page = Page(shared.planner.get(f"/visits/{visit}/order").text)
    assert "Zones to be measured" in page.words
    zone = next(row for row in page.rows if row[0] == "Shell bottom")
    assert zone[5] == ""

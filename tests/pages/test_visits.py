"""A car in a shop, on the pages and by the API: for its owner, for the shop, and for nobody else."""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from html import unescape

import pytest
from fastapi import FastAPI
from icalendar import Calendar
from sqlalchemy import select, update

from app.actions import visits
from app.actions.visits import Planning
from app.main import create_app
from app.settings import Settings
from app.store.db import write_session
from app.store.people import Membership
from app.store.tables import Party
from tests.access.parties import (
    MARK,
    NUMBER,
    OTHER_SHOP,
    OWNER,
    SHOP,
    STAMP,
    asks,
    browser,
    companies,
    lined_car,
    signed_in,
)
from tests.fixtures.web import NOW, TestClient
from tests.pages.reading import Page, csv_rows, xlsx_rows

NAME = f"{MARK} {NUMBER}"
NOTHING = 987654
SENDING = {"shop": SHOP, "sent_on": "2026-11-02", "instructions": "Look at the lining."}


@dataclass
class Shared:
    """One car of one company, and the people of two shops."""

    app: FastAPI
    car: int

    def ask(self, party: str, role: str) -> TestClient:
        return browser(self.app, party, role)

    @property
    def planner(self) -> TestClient:
        return self.ask(OWNER, "planner")

    @property
    def shop(self) -> TestClient:
        return self.ask(SHOP, "shop")

    def send(self, **form: str) -> int:
        answer = self.planner.post(
            f"/cars/{self.car}/visits", data=SENDING | form, follow_redirects=False
        )
        assert answer.status_code == 303, answer.text
        return int(self.planner.get("/api/v1/visits").json()["rows"][0]["id"])

    def release(self, visit: int, client: TestClient | None = None) -> None:
        answer = (client or self.planner).post(
            f"/visits/{visit}/released", data={"on": "2026-11-20"}, follow_redirects=False
        )
        assert answer.status_code == 303, answer.text


@pytest.fixture
def shared(migrated_url: str) -> Iterator[Shared]:
    app = create_app(Settings(database_url=migrated_url), clock=lambda: NOW)
    with write_session(app.state.sessions) as db:
        party = companies(db, OWNER, SHOP, OTHER_SHOP)
        for role in ("planner", "inspector"):
            signed_in(db, party[OWNER], role)
        for name in (SHOP, OTHER_SHOP):
            for role in ("planner", "shop"):
                signed_in(db, party[name], role)
        car = lined_car(db, party[OWNER]).id
    yield Shared(app, car)
    app.state.engine.dispose()


def words(client: TestClient, address: str, status: int = 200) -> str:
    answer = client.get(address)
    assert answer.status_code == status, address
    return Page(answer.text).words


FINDING = (
    f"/fleet?q={MARK}+{NUMBER}", "/fleet", "/fleet.csv", "/due", "/due.csv", "/visits",
    "/api/v1/cars", f"/api/v1/cars?search={MARK}{NUMBER}", "/api/v1/due", "/api/v1/visits",
)  # fmt: skip
OF_THE_CAR = (
    "/cars/{car}", "/cars/{car}/worked-out", "/cars/{car}/events/new", "/api/v1/cars/{car}",
    "/api/v1/cars/{car}/due", "/api/v1/cars/{car}/events", "/api/v1/cars/{car}/visits",
    f"/api/v1/cars/{MARK}/{NUMBER}/loading", f"/loading?car={MARK}+{NUMBER}",
)  # fmt: skip


def finds(client: TestClient, address: str) -> bool:
    answer = client.get(address)
    assert answer.status_code == 200, address
    rows = answer.json()["rows"] if address.startswith("/api") else None
    if rows is not None:
        return any((row["mark"], row["number"]) == (MARK, NUMBER) for row in rows)
    return f"/cars/{1}" in answer.text or f"{MARK},{NUMBER}" in answer.text


def stands_for_nothing(client: TestClient, address: str, car: int) -> bool:
    """Whether the car is answered exactly as one that there never was."""
    said = []
    for key in (car, NOTHING):
        answer = client.get(address.format(car=key))
        said.append((answer.status_code, unnamed(answer, key)))
    return said[0] == said[1] and said[0][0] == 404


def unnamed(answer, key: int) -> str:
    """What an answer says but for the request's number and the car's key."""
    plain = re.sub(r"Number of this request: \S+", "", answer.text)
    return re.sub(rf"(/cars/|the key ){key}\b", "KEY", plain)


def test_the_shop_s_people_find_the_car_only_between_sent_and_released(shared):
    def found() -> set[bool]:
        whole = {
            shared.shop.get(each.format(car=shared.car)).status_code == 200 for each in OF_THE_CAR
        }
        return whole | {finds(shared.shop, each) for each in FINDING}

    assert found() == {False}
    visit = shared.send()
    assert found() == {True}
    assert {finds(shared.ask(OTHER_SHOP, "shop"), each) for each in FINDING} == {False}
    shared.release(visit, shared.shop)
    assert found() == {False}
    for address in OF_THE_CAR:
        if "{car}" in address:
            assert stands_for_nothing(shared.shop, address, shared.car), address


def test_after_the_release_what_was_sent_before_is_answered_as_what_does_not_exist(shared):
    visit = shared.send()
    shared.release(visit)
    event = shared.planner.get(f"/api/v1/cars/{shared.car}/events").json()["rows"][0]["id"]
    inspection = {"on": "2026-11-24", "items": ["visual"]}
    for address, body in (
        (f"/api/v1/cars/{shared.car}/events", inspection),
        (f"/api/v1/events/{event}/correction", inspection),
        (f"/api/v1/visits/{visit}/release", {"on": "2026-11-24"}),
    ):
        answer = shared.shop.post(address, json=body)
        assert answer.status_code == 404, answer.text


def test_the_shop_s_people_record_their_work(shared):
    shared.send()
    form = {"happened_on": "2026-11-10", "items": "visual", "outcome": "pass", "facility": SHOP}
    answer = shared.shop.post(f"/cars/{shared.car}/events", data=form)
    assert answer.status_code == 200
    assert "Recorded" in Page(answer.text).words
    assert f"shop at {SHOP}" in words(shared.planner, f"/cars/{shared.car}")


# What a shop is refused: the role for what it may nowhere (403), its planner for this car alone (404).
REFUSED = [
    ("shop", "GET", "/cars/{car}/facts/lading", 403),
    ("shop", "GET", "/cars/{car}/trial", 403),
    ("shop", "GET", "/cars/{car}/visits/new", 403),
    ("shop", "POST", "/cars/{car}/visits", 403),
    ("planner", "GET", "/cars/{car}/facts/lading", 404),
    ("planner", "POST", "/cars/{car}/facts/owner", 404),
    ("planner", "GET", "/cars/{car}/visits/new", 404),
    ("planner", "POST", "/cars/{car}/visits", 404),
]


@pytest.mark.parametrize(("role", "method", "address", "status"), REFUSED)
def test_a_shop_cannot_change_try_or_send_on_what_was_sent_to_it(
    shared, role, method, address, status
):
    shared.send()
    asked = shared.ask(SHOP, role)
    data = SENDING if method == "POST" else None
    assert asked.request(method, address.format(car=shared.car), data=data).status_code == status


def test_the_car_s_page_offers_a_shop_nothing_that_it_may_not_do(shared):
    shared.send()
    page = shared.shop.get(f"/cars/{shared.car}").text
    for address in re.findall(
        rf'href="(/(?:cars/{shared.car}|visits|events|installations|facts)/[^"#]*)"', page
    ):
        assert shared.shop.get(address).status_code == 200, address
    assert "/facts/" not in page
    assert "/trial" not in page


def test_the_owner_s_page_shows_the_visit_and_then_its_history(shared):
    visit = shared.send()
    shown = words(shared.planner, f"/cars/{shared.car}")
    assert f"In a shop Sent to {SHOP} on 2026-11-02" in shown
    assert "To be done: Look at the lining." in shown
    shared.release(visit)
    shown = words(shared.planner, f"/cars/{shared.car}")
    assert "In a shop" not in shown.replace("In the shops", "")
    assert f"Visits to shops {SHOP} To be done: Look at the lining. Sent 2026-11-02" in shown
    assert "Released 2026-11-20" in shown


def test_a_step_noted_by_mistake_is_undone_with_a_reason_and_stays_to_be_seen(shared):
    visit = shared.send()
    shared.release(visit)
    undo = f"/visits/{visit}/undo/released"
    assert "Undo the release" in words(shared.planner, f"/cars/{shared.car}")
    assert shared.planner.get(undo).status_code == 200
    assert shared.planner.post(undo, data={"reason": ""}).status_code == 422
    shared.planner.post(undo, data={"reason": "Still on the track."})
    shown = words(shared.planner, f"/cars/{shared.car}")
    assert f"In a shop Sent to {SHOP}" in shown
    assert f"undone by planner at {OWNER}: Still on the track." in shown
    assert finds(shared.shop, "/fleet")
    # Once is enough: the same again is told on the form, which keeps what was typed.
    again = shared.planner.post(undo, data={"reason": "Typed once more."})
    assert again.status_code == 422
    assert "nothing to undo" in again.text
    assert "Typed once more." in again.text


# The form, and the words beside its field.
WRONG_FORMS = [
    ({"shop": ""}, "Shop"),
    ({"sent_on": "2026-11-26"}, "lies in the future"),
    ({"sent_on": "soon"}, "soon"),
]


@pytest.mark.parametrize(("form", "said"), WRONG_FORMS)
def test_a_wrong_form_says_why_and_keeps_what_was_typed(shared, form, said):
    answer = shared.planner.post(f"/cars/{shared.car}/visits", data=SENDING | form)
    assert answer.status_code == 422
    assert said in Page(answer.text).words
    assert "Look at the lining." in answer.text
    assert shared.planner.get("/api/v1/visits").json()["rows"] == []


def test_a_second_sending_is_told_on_the_form(shared):
    shared.send()
    answer = shared.planner.post(f"/cars/{shared.car}/visits", data=SENDING)
    assert answer.status_code == 422
    assert "is not released. Release it first." in Page(answer.text).words


def test_the_form_suggests_shops_of_former_visits_alone(shared):
    form = f"/cars/{shared.car}/visits/new"
    assert SHOP not in shared.planner.get(form).text
    shared.release(shared.send())
    assert f'<option value="{SHOP}">' in shared.planner.get(form).text
    assert OTHER_SHOP not in shared.planner.get(form).text


def test_an_inspector_of_the_owner_notes_steps_and_sends_no_car(shared):
    visit = shared.send()
    inspector = shared.ask(OWNER, "inspector")
    assert inspector.get(f"/cars/{shared.car}/visits/new").status_code == 403
    assert inspector.get(f"/visits/{visit}/arrived").status_code == 200
    shared.release(visit, inspector)


def test_the_list_of_those_away_is_told_in_words(shared):
    assert "No car is away" in words(shared.planner, "/visits")
    shared.send()
    page = Page(shared.planner.get("/visits?state=sent").text)
    assert page.rows[0][:7] == [
        NAME, SHOP, OWNER, "–", "2026-11-02", "23 not planned", "Look at the lining.",
    ]  # fmt: skip
    assert "Undo sending" in page.words
    # The shop releases it; the sending is its owner's.
    assert "Undo" not in words(shared.shop, "/visits")


TYPED = {
    "happened_on": "2026-11-10", "items": "visual", "outcome": "pass", "facility": SHOP,
    "notes": "Typed for a quarter of an hour & more.", "form_key": "k-held",
}  # fmt: skip


def holds(answer, address: str, form: dict[str, str]) -> bool:
    """Whether the page shows what was typed and can send it whole to the same address."""
    sent = re.findall(r'<input type="hidden" name="([^"]*)" value="([^"]*)">', answer.text)
    shown = Page(answer.text).words
    return (
        f'action="{address}"' in answer.text
        and {name: unescape(value) for name, value in sent} == form
        and form["notes"] in shown
        and "k-held" not in shown
    )


def test_a_form_that_is_open_when_the_car_is_released_is_not_lost(shared):
    visit = shared.send()
    address = f"/cars/{shared.car}/events"
    shared.release(visit)
    lost = shared.shop.post(address, data=TYPED)
    assert lost.status_code == 404
    assert holds(lost, address, TYPED)
    # Nothing in it tells the car from one that there never was.
    never = shared.shop.post(f"/cars/{NOTHING}/events", data=TYPED)
    assert unnamed(lost, shared.car) == unnamed(never, NOTHING)
    # Sent again from there once the car is back, it is recorded.
    shared.send(sent_on="2026-11-21")
    assert shared.shop.post(address, data=TYPED).status_code == 200


def test_a_form_that_is_open_when_the_role_ends_is_not_lost(shared):
    shared.send()
    address = f"/cars/{shared.car}/events"
    with write_session(shared.app.state.sessions) as db:
        shop = Membership.role == "shop"
        db.execute(update(Membership).where(shop).values(role="loading_rack"))
    lost = shared.shop.post(address, data=TYPED)
    assert lost.status_code == 403
    assert holds(lost, address, TYPED)
    with write_session(shared.app.state.sessions) as db:
        rack = Membership.role == "loading_rack"
        db.execute(update(Membership).where(rack).values(role="shop"))
    assert shared.shop.post(address, data=TYPED).status_code == 200


def test_what_came_from_another_site_or_holds_nothing_typed_is_not_held(shared):
    elsewhere = {"Origin": "http://evil.example"}
    foreign = shared.shop.post(f"/cars/{shared.car}/events", data=TYPED, headers=elsewhere)
    empty = shared.shop.post(f"/cars/{NOTHING}/events", data={"form_key": "k-held"})
    for answer, status in ((foreign, 403), (empty, 404)):
        assert answer.status_code == status
        assert "Send again" not in answer.text


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


def test_a_visit_whose_month_is_past_and_that_is_not_sent_is_late(shared):
    planned(shared, date(2026, 10, 1))
    shown = shared.planner.get("/visits").text
    assert "late its month is past, and it is not sent" in Page(shown).words
    # A word, a shape and a colour.
    assert re.search(r'class="status status-overdue">\s*<svg class="shape"', shown)


def test_a_visit_planned_for_after_its_work_is_due_says_so(shared):
    planned(shared, date(2040, 1, 1))
    assert "planned after its due date" in words(shared.planner, "/visits")


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
    assert "1 work order," in words(shared.planner, f"/visits/orders?{shop}&month=2027-03")
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

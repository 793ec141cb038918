"""A car in a shop, on the pages and by the API: for its owner, for the shop, and for nobody else."""

import re
from collections.abc import Iterator
from html import unescape

import pytest
from sqlalchemy import update

from app.store.db import write_session
from app.store.people import Membership
from tests.access.parties import (
    MARK,
    NUMBER,
    OTHER_SHOP,
    OWNER,
    SHOP,
)
from tests.fixtures.store import Stocked
from tests.fixtures.web import TestClient
from tests.pages.reading import Page
from tests.pages.visits_cast import NAME, NOTHING, SENDING, Shared, sharing, stock, words

__all__ = ["stock"]  # what `stocked` copies


@pytest.fixture
def shared(stocked: Stocked) -> Iterator[Shared]:
    with sharing(stocked) as shared:
        yield shared


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

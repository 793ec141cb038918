"""The loading rack's page: one question, one answer, and nothing else of the register."""

from collections.abc import Iterator
from datetime import date

import pytest
from fastapi import FastAPI

from app import api, pages
from app.actions import cars, events
from app.actions.changes import CarDetails, NewCar, NewEvent, NewName, NewOwnership, NewService
from app.main import create_app
from app.settings import Settings
from app.store.db import write_session
from app.web.admission import needed_by
from tests.access.parties import BUYER, OWNER, STAMP, asks, browser, companies, signed_in
from tests.fixtures.web import NOW, TestClient
from tests.pages.reading import Page

WHOLE = ("visual", "structural_integrity", "safety_systems", "thickness", "service_equipment",
         "relief_device", "leakage")  # fmt: skip


def add(
    db, party, number: int, inspected_on: date | None, mark: str = "ZQAX", **service: object
) -> int:
    """A car of an invented mild lading, inspected in full on a day or never since it was built."""
    asks(db, party, "planner", "record_facts")
    car = cars.add_car(
        db,
        NewCar(
            NewName(mark, number), NewOwnership(party.name), CarDetails("DOT 111A100W1", built_on=date(2005, 3, 1)),
            service=NewService(
                "Invented mild lading", hazard_class="9", packing_group="III", corrosive_or_reactive=False, **service
            ),
        ),
        STAMP,
    )  # fmt: skip
    if inspected_on:
        events.record_event(db, car.id, NewEvent(inspected_on, WHOLE), STAMP)
    return car.id


@pytest.fixture(scope="module")
def rack_app(sqlite_template, tmp_path_factory) -> Iterator[FastAPI]:
    import shutil

    path = tmp_path_factory.mktemp("rack") / "store.db"
    shutil.copyfile(sqlite_template, path)
    app = create_app(Settings(database_url=f"sqlite:///{path}"), clock=lambda: NOW)
    with write_session(app.state.sessions) as db:
        party = companies(db, OWNER, BUYER)
        signed_in(db, party[OWNER], "loading_rack")
        signed_in(db, party[OWNER], "planner")
        add(db, party[OWNER], 1, date(2024, 5, 6))
        add(db, party[OWNER], 2, None)
        add(db, party[BUYER], 3, date(2024, 5, 6))
    yield app
    app.state.engine.dispose()


@pytest.fixture
def rack(rack_app: FastAPI) -> TestClient:
    return browser(rack_app, OWNER, "loading_rack")


# What is typed, and what a person reads. The rule: 49 CFR 173.31(a)(2), 180.509, 2019 edition.
ASKED = [
    ("ZQAX 1", "ZQAX 1 · DOT 111A100W1 · Invented mild lading"),
    ("zqax-000001", "ZQAX 1 · DOT 111A100W1"),
    ("ZQAX,1", "ZQAX 1 · DOT 111A100W1"),
    ("ZQAX 2", "May not be loaded"),
]


@pytest.mark.parametrize(("typed", "said"), ASKED)
def test_a_car_is_answered_in_a_word_with_reasons_and_the_caution(rack, typed, said):
    answer = rack.get("/loading", params={"car": typed})
    assert answer.status_code == 200
    words = Page(answer.text).words.replace("\xa0", " ")
    assert said in words
    assert "2026-11-25" in words
    assert 'class="loading-shape"' in answer.text


# What is typed, and why there is no answer; never a word that could pass for one.
UNANSWERED = [
    ("ZQAX", "is not a mark and number"),
    ("1", "is not a mark and number"),
    ("ZQAX 99", "There is no car ZQAX 99 in the register"),
    # Another company's car is no other than one that does not exist.
    ("ZQAX 3", "There is no car ZQAX 3 in the register"),
    ("%%%", "is not a mark and number"),
    ("ZQAX 0", "is not a mark and number"),
    ("<b>", "is not a mark and number"),
]


@pytest.mark.parametrize(("typed", "said"), UNANSWERED)
def test_no_answer_is_told_beside_the_field_which_keeps_what_was_typed(rack, typed, said):
    answer = rack.get("/loading", params={"car": typed})
    assert answer.status_code == 404
    words = Page(answer.text).words
    assert said in words
    assert "loading-shape" not in answer.text
    assert "May be loaded" not in words
    assert "<b>" not in answer.text.split("f-car")[2] if typed == "<b>" else True


def test_the_page_asks_first(rack):
    answer = rack.get("/loading")
    assert answer.status_code == 200
    assert "loading-shape" not in answer.text


def test_a_car_on_hold_may_not_be_loaded_whatever_its_dates_say_until_it_is_released(
    rack_app, rack
):
    planner = browser(rack_app, OWNER, "planner")

    def asked() -> str:
        return Page(rack.get("/loading", params={"car": "ZQAX 1"}).text).words

    free = asked()
    assert "May not be loaded" not in free
    since = {"from_on": "2026-11-25"}
    planner.post("/cars/1/facts/hold", data=since | {"held": "yes", "reason": "Valve weeps."})
    assert "May not be loaded On hold since 2026-11-25: Valve weeps." in asked()
    told = rack.get("/api/v1/cars/ZQAX/1/loading").json()["loading"]
    assert (told["verdict"], told["reasons"][0]["text"]) == (
        "may_not_load", "On hold since 2026-11-25: Valve weeps.",
    )  # fmt: skip
    before = rack.get("/api/v1/cars/ZQAX/1/loading", params={"on": "2026-11-24"}).json()
    assert before["loading"]["verdict"] != "may_not_load"
    planner.post("/cars/1/facts/hold", data=since | {"held": "no", "reason": "Valve changed."})
    assert asked() == free
    history = Page(planner.get("/cars/1").text).words
    assert "Valve weeps." in history
    assert "Valve changed." in history


@pytest.mark.parametrize(
    ("typed", "said"), [({"held": "yes"}, "Nothing was entered"), ({"reason": "x"}, "Nothing was")]
)
def test_a_hold_says_what_and_why(rack_app, typed, said):
    answer = browser(rack_app, OWNER, "planner").post("/cars/1/facts/hold", data=typed)
    assert answer.status_code == 422
    assert said in Page(answer.text).words


def test_home_sends_a_rack_to_its_question(rack):
    answer = rack.get("/", follow_redirects=False)
    assert (answer.status_code, answer.headers["location"]) == (303, "/loading")


def test_a_rack_is_offered_its_question_and_no_way_into_the_register(rack):
    text = rack.get("/loading", params={"car": "ZQAX 1"}).text
    for address in ("/fleet", "/due", "/visits", "/cars/", "/record", "/rulebook"):
        assert f'href="{address}' not in text.split("<footer")[0], address
    assert 'action="/fleet"' not in text


def test_a_planner_is_led_from_the_answer_to_the_car(rack_app):
    text = browser(rack_app, OWNER, "planner").get("/loading", params={"car": "ZQAX 1"}).text
    assert 'href="/cars/1"' in text


def _routes() -> list[str]:
    return [
        route.path
        for routers in (pages.ROUTERS, api.ROUTERS)
        for router in routers
        for route in router.routes
        if "GET" in route.methods and needed_by(route.endpoint) == "read" and "{" not in route.path
    ]


@pytest.mark.parametrize("path", _routes())
def test_a_rack_reads_nothing_else(rack, path):
    prefixes = ("", "/api/v1")
    statuses = {rack.get(prefix + path, follow_redirects=False).status_code for prefix in prefixes}
    # 405 where the address beside it takes changes alone.
    assert statuses <= {303, 403, 404, 405}
    assert statuses & {303, 403}


API_ASKED = [
    ("ZQAX/1", 200, ""), ("zqax/1", 200, ""), ("ZQAX/3", 404, "There is no car ZQAX 3"),
    ("ZQAX/99", 404, "There is no car ZQAX 99"), ("ZQAX/0", 422, ""), ("Z/1", 422, ""), ("ZQAX/one", 422, ""),
]  # fmt: skip


@pytest.mark.parametrize(("name", "status", "said"), API_ASKED)
def test_a_program_at_the_rack_asks_by_mark_and_number(rack, name, status, said):
    answer = rack.get(f"/api/v1/cars/{name}/loading")
    assert answer.status_code == status
    if status == 200:
        told = answer.json()
        assert (told["car"], told["on"]) == ("ZQAX 1", "2026-11-25")
        assert set(told["loading"]) == {"verdict", "reasons", "caution"}
        assert set(told) - {"loading"} == {
            "car", "on", "lading", "through", "soon", "warnings", "moving",
        }  # fmt: skip
    else:
        assert said in answer.json()["error"]["message"]


def test_the_api_answers_for_another_day(rack):
    """Inspected in full on 6 May 2024: in date, and ten years on no longer. 49 CFR 180.509(d), 2019 edition."""
    address = "/api/v1/cars/ZQAX/1/loading"
    later = rack.get(address, params={"on": "2034-05-07"}).json()
    assert later["on"] == "2034-05-07"
    assert later["loading"]["verdict"] == "may_not_load"
    assert rack.get(address, params={"on": "2001-01-01"}).status_code == 404


def test_the_page_and_the_api_say_the_same(rack):
    for number in (1, 2):
        verdict = rack.get(f"/api/v1/cars/ZQAX/{number}/loading").json()["loading"]["verdict"]
        text = rack.get("/loading", params={"car": f"ZQAX {number}"}).text
        assert f"loading-{verdict}" in text


def test_two_companies_cars_of_one_name_are_not_guessed_between(rack_app):
    """A shop to which both sent theirs is asked which of the two it is."""
    with write_session(rack_app.state.sessions) as db:
        from app.actions import visits
        from app.store.tables import Party

        shop = Party(name="Made-up Twin Shop")
        db.add(shop)
        db.flush()
        signed_in(db, shop, "shop")
        for owner in (OWNER, BUYER):
            party = db.query(Party).filter_by(name=owner).one()
            car = add(db, party, 77, date(2024, 5, 6), "ZQTX")
            visits.send(db, car, visits.Sending("Made-up Twin Shop", date(2026, 11, 20)), STAMP)
    asking = browser(rack_app, "Made-up Twin Shop", "shop")
    answer = asking.get("/loading", params={"car": "ZQTX 77"})
    assert answer.status_code == 404
    assert "Two cars are in record as ZQTX 77" in Page(answer.text).words
    assert asking.get("/api/v1/cars/ZQTX/77/loading").status_code == 409
    assert (
        browser(rack_app, OWNER, "loading_rack").get("/api/v1/cars/ZQTX/77/loading").status_code
        == 200
    )

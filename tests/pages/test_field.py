"""Work at a car without scripts: finding it, what is due and how it is done, recording one item; code labels."""

import re
from collections.abc import Iterator
from datetime import date

import pytest
import segno
from fastapi import FastAPI

from app.actions import instructions, qualifications
from app.actions.instructions import NewInstruction, NewStep
from app.actions.people import Office
from app.actions.qualifications import NewQualification
from app.main import create_app
from app.settings import Settings
from app.store.db import write_session
from tests.access.parties import (
    LINER,
    OWNER,
    SHOP,
    browser,
    companies,
    lined_car,
    signed_in,
)
from tests.fixtures.fleet import Listed
from tests.fixtures.people import beforehand, let_in
from tests.fixtures.web import NOW, TODAY, TestClient, asking
from tests.pages.fleet_cast import QUILLON, fleet
from tests.pages.reading import Page
from tests.store.cast import stamp

FORM = {
    "outcome": "pass",
    "happened_on": "2026-11-20",
    "facility": "Invented Works",
    "inspector": "Ada",
}


@pytest.fixture
def at_work(web_app: FastAPI) -> Iterator[tuple[TestClient, dict[str, int]]]:
    with beforehand(web_app.state.sessions) as db:
        keys = fleet(db)
        let_in(db)
    with asking(web_app) as client:
        yield client, keys


def words(client: TestClient, address: str, status: int = 200) -> str:
    answer = client.get(address)
    assert answer.status_code == status, answer.text
    return Page(answer.text).words


def status(client: TestClient, car: int, item: str) -> str:
    due = client.get(f"/api/v1/cars/{car}/due").json()["items"]
    return next(each["status"] for each in due if each["item"] == item)


@pytest.mark.parametrize(
    ("query", "found", "not_found"),
    [
        ("ZQKX", ["1001", "1002"], ["2000"]),
        ("zqax-2", ["2000", "2001", "2002"], ["1001"]),
        ("100", ["1001", "1002"], ["2000"]),
        ("ZQZZ", ["No car here begins so"], ["1001"]),
        ("???", ["is no mark and number"], ["1001"]),
    ],
)
def test_a_car_is_found_by_a_beginning_of_mark_or_number(listed: Listed, query, found, not_found):
    told = words(listed.client, f"/field/today?q={query}")
    assert all(each in told for each in found)
    assert not any(each in told for each in not_found)


def test_own_work_is_what_is_due_now_overdue_or_soon(listed: Listed):
    told = words(listed.client, "/field/today")
    late, soon = told.split("Due soon")
    assert "1001 visual" in late.replace("\xa0", " ")
    assert "2000" in soon
    assert "2001 visual" not in told.replace("\xa0", " ")


def test_the_first_page_starts_the_program_and_holds_todays_work_where_no_script_runs(
    listed: Listed,
):
    text = listed.client.get("/field").text
    beside = re.search(r"<body.*?<noscript>(.*?)</noscript>", text, re.DOTALL)
    assert beside
    assert "Find a car" in beside[1]
    assert "/field/cars/" in beside[1]
    assert "data-field" in text


@pytest.mark.parametrize("path", ["/field/today", "/field/cars/1", "/field/cars/1/thickness"])
def test_the_pages_need_no_script(listed: Listed, path):
    assert "<script" not in listed.client.get(path).text


def test_a_car_shows_its_items_with_their_reasons_and_what_can_be_recorded(listed: Listed):
    key = listed.keys["overdue"]
    text = listed.client.get(f"/field/cars/{key}").text
    told = Page(text).words
    assert "49 CFR 180.509(d)" in told
    assert f'href="/field/cars/{key}/visual"' in text
    assert "age limit" in told.lower()
    assert f"/field/cars/{key}/age_limit" not in text  # a last day is counted, never inspected


def test_an_item_shows_its_cautions_its_steps_and_who_usually_does_it(listed: Listed):
    told = words(listed.client, f"/field/cars/{listed.keys['overdue']}/thickness")
    assert "Before anybody enters the tank" in told
    assert "The gauge on a block of known thickness" in told
    assert "49 CFR 180.509(f)(1)" in told
    assert "Thickness test asks for UT level II (common practice, no source)" in told


def test_the_owner_s_steps_stand_behind_the_built_in_ones(at_work, web_app):
    client, keys = at_work
    with beforehand(web_app.state.sessions) as db:
        weld = NewStep("The invented weld", caution="mind the step")
        instructions.record(
            db, NewInstruction(QUILLON, "visual", TODAY, "QP 7", steps=(weld,)), stamp()
        )
        vt = NewQualification("VT", "III", date(2027, 1, 1))
        qualifications.record(db, Office(None, "x"), 1, vt, stamp())
    told = words(client, f"/field/cars/{keys['overdue']}/visual")
    assert told.index("Shell, heads and their welds from outside") < told.index("The invented weld")
    assert f"With the steps of {QUILLON}, QP 7" in told
    assert "mind the step" in told
    assert "asks for" not in told
    assert "The invented weld" not in words(client, f"/field/cars/{keys['soon']}/visual")


def test_one_item_is_recorded_with_its_readings_and_moves_its_date(at_work):
    client, keys = at_work
    car = keys["overdue"]
    assert status(client, car, "thickness") == "overdue"
    reading = {"zone": "shell_bottom", "inches": "0.421", "extent": "general"}
    form = FORM | {f"readings.0.{name}": value for name, value in reading.items()}
    answer = client.post(f"/field/cars/{car}/thickness", data=form)
    assert answer.status_code == 200
    assert "Recorded" in answer.text
    assert "/correct" in answer.text
    assert status(client, car, "thickness") == "in_date"
    [event] = client.get(f"/api/v1/cars/{car}/events").json()["rows"]
    assert (event["items"], event["inspector"]) == (["thickness"], "Ada")
    assert event["readings"][0]["inches"] == 0.421


@pytest.mark.parametrize(
    ("item", "wrong", "said"),
    [
        ("visual", {"happened_on": ""}, "this is needed"),
        ("visual", {"happened_on": "2031-01-01"}, "lies in the future"),
        ("thickness", {"readings.0.zone": "head_a", "readings.0.inches": "4.21"}, "did you mean 0.421"),
        ("thickness", {"readings.0.inches": "0.4"}, "No zone is chosen"),
    ],
)  # fmt: skip
def test_what_is_wrong_is_said_and_nothing_typed_is_lost(at_work, item, wrong, said):
    client, keys = at_work
    extent = {"readings.0.extent": "general"} if item == "thickness" else {}
    answer = client.post(f"/field/cars/{keys['overdue']}/{item}", data=FORM | extent | wrong)
    assert answer.status_code == 422
    assert said in Page(answer.text).words
    assert 'value="Invented Works"' in answer.text
    assert client.get(f"/api/v1/cars/{keys['overdue']}/events").json()["rows"] == []


def test_more_rows_record_nothing_yet(at_work):
    client, keys = at_work
    address = f"/field/cars/{keys['overdue']}/thickness"
    before = client.get(address).text.count('aria-label="Reading ')
    answer = client.post(address, data=FORM | {"more": "readings", "readings.5.extent": "general"})
    assert answer.text.count('aria-label="Reading ') == before + 2
    assert client.get(f"/api/v1/cars/{keys['overdue']}/events").json()["rows"] == []


@pytest.mark.parametrize("item", ["age_limit", "lining_applied", "rupture_disc", "nothing"])
def test_what_is_not_inspected_on_a_car_has_no_page(listed: Listed, item):
    address = f"/field/cars/{listed.keys['overdue']}/{item}"
    assert listed.client.get(address).status_code == 404
    assert listed.client.post(address, data=FORM).status_code == 404


def test_a_shop_sees_the_cars_in_it_and_who_answers_for_a_part_sees_that(migrated_url):
    app = create_app(Settings(database_url=migrated_url), clock=lambda: NOW)
    with write_session(app.state.sessions) as db:
        party = companies(db, OWNER, SHOP, LINER)
        for name, role in ((OWNER, "planner"), (SHOP, "shop"), (LINER, "inspector")):
            signed_in(db, party[name], role)
        car = lined_car(db, party[OWNER], lining_owner=LINER).id
    shop, liner = browser(app, SHOP, "shop"), browser(app, LINER, "inspector")
    assert shop.get(f"/field/cars/{car}").status_code == 404
    sending = {"shop": SHOP, "sent_on": "2026-11-02", "instructions": "Look at the lining."}
    browser(app, OWNER, "planner").post(f"/cars/{car}/visits", data=sending)
    assert "Look at the lining." in words(shop, "/field/today")
    assert "Look at the lining." in words(shop, f"/field/cars/{car}")
    assert liner.get(f"/field/cars/{car}/lining").status_code == 200
    assert "Look at the lining." not in words(liner, f"/field/cars/{car}")
    assert liner.get(f"/field/cars/{car}/visual").status_code == 404
    app.state.engine.dispose()


# Code labels -------------------------------------------------------------------------------------------------------


def drawn(address: str) -> str:
    return segno.make(address, error="m", micro=False).svg_inline(
        border=4, omitsize=True, svgclass=None, lineclass=None
    )


def test_a_label_says_where_the_car_is_on_a_tablet(listed: Listed):
    key = listed.keys["overdue"]
    text = listed.client.get(f"/cars/{key}/label").text
    address = f"http://testserver/field#/car/{key}"
    assert drawn(address) in text
    assert address in text
    assert "ZQKX 1001" in Page(text).words
    assert f'href="/cars/{key}/label"' in listed.client.get(f"/cars/{key}").text


def test_a_label_names_the_public_address_where_one_is_set(sqlite_url):
    settings = Settings(database_url=sqlite_url, public_url="http://register.example.invalid")
    app = create_app(settings, clock=lambda: NOW)
    with beforehand(app.state.sessions) as db:
        key = fleet(db)["overdue"]
        let_in(db)
    text = asking(app).get(f"/cars/{key}/label", headers={"Host": "testserver"}).text
    assert drawn(f"http://register.example.invalid/field#/car/{key}") in text
    app.state.engine.dispose()


def test_a_sheet_of_labels_is_filtered_as_the_fleet_is(listed: Listed):
    text = listed.client.get("/fleet/labels?q=ZQAX").text
    assert text.count('class="label-code"') == 3
    assert "ZQKX" not in Page(text).words
    assert listed.client.get("/fleet/labels?bogus=1").status_code == 422
    assert 'href="/fleet/labels?q=ZQAX"' in listed.client.get("/fleet?q=ZQAX").text

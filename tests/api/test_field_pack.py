"""What a tablet takes along: all that the contract names, of the cars that are reached, in few queries."""

from datetime import date
from decimal import Decimal

import pytest
from fastapi import FastAPI

from app.actions import components, events, facilities, instructions, qualifications
from app.actions.facilities import NewFacility
from app.actions.instructions import NewInstruction, NewStep
from app.actions.people import Office
from app.actions.qualifications import NewQualification
from app.core.facts import EVENT_ITEMS
from app.main import create_app
from app.settings import Settings
from app.store.db import write_session
from tests.access.parties import (
    FITTER,
    LINER,
    OWNER,
    SHOP,
    browser,
    companies,
    lined_car,
    signed_in,
)
from tests.fixtures.people import beforehand, let_in
from tests.fixtures.web import NOW, TODAY, TestClient, asked_meanwhile, asking
from tests.pages.fleet_cast import QUILLON, fleet, many
from tests.store.cast import measured, relief_valve, stamp, visual

PACK = "/api/v1/field/pack"


@pytest.fixture
def any_app(migrated_url: str) -> FastAPI:
    app = create_app(Settings(database_url=migrated_url), clock=lambda: NOW)
    yield app
    app.state.engine.dispose()


@pytest.fixture
def filled(any_app: FastAPI) -> tuple[TestClient, dict[str, int]]:
    with beforehand(any_app.state.sessions) as db:
        keys = fleet(db)
        let_in(db)
    return asking(any_app), keys


def packed(client: TestClient, query: str = "") -> dict:
    answer = client.get(f"{PACK}?{query}")
    assert answer.status_code == 200, answer.text
    return answer.json()


def test_a_car_goes_along_with_its_items_lines_and_ranges(filled, any_app):
    client, keys = filled
    with beforehand(any_app.state.sessions) as db:
        readings = (measured("0.44"), measured("0.43"), measured("0.45", "head_a"))
        events.record_event(db, keys["overdue"], visual(date(2019, 1, 2)), stamp())
        report = visual(date(2021, 3, 4), items=("thickness",), readings=readings)
        events.record_event(db, keys["overdue"], report, stamp())
        valve = relief_valve(set_psig=Decimal(75), tested_on=date(2018, 1, 2))
        components.install(db, keys["overdue"], valve, stamp())
    [car] = packed(client, f"car={keys['overdue']}")["cars"]
    assert (car["mark"], car["number"], car["owner"]) == ("ZQKX", "1001", QUILLON)
    assert (car["regime"], car["lined"], car["visit"]) == ("fusion_welded", False, None)
    due = {each["item"]: each for each in car["due"]}
    # 49 CFR 180.509(d): ten years from the inspection of 2019-01-02
    assert (due["visual"]["status"], due["visual"]["next"]) == ("in_date", "2029-01-02")
    assert any(each["citation"] == "49 CFR 180.509(d)" for each in due["visual"]["reasons"])
    zones = {each["zone"]: each for each in car["zones"]}
    # 180.509(g), figure A: a 7/16 in shell marked for 100 psig, bottom allowance 1/16 in
    assert [zones["shell_bottom"][line] for line in "cde"] == ["0.40625", "0.375", "0.3125"]
    assert [zones["shell_top"][line] for line in "cde"] == ["0.375", "0.3125", "0.25"]
    assert (zones["sump"]["judged_by"], zones["sump"]["c"]) == ("owner", None)
    assert [each["inches"] for each in car["last"]["shell_bottom"]] == ["0.44", "0.43"]
    assert car["asks"]["design"]["head_b"] == "0.4375"
    [valve] = car["parts"]
    # 49 CFR 179.15(b): 3 psi either way up to 100 psig; vapor tight at 80 percent
    assert valve["bench"]["opens"] == {"least": "72", "most": "78"}
    assert valve["bench"]["vapor_tight"] == {"least": "60", "most": None}
    assert car["version"] > 0


def test_what_stands_beside_the_cars_comes_with_every_page(filled, any_app):
    client, _ = filled
    with beforehand(any_app.state.sessions) as db:
        facilities.record(db, NewFacility(QUILLON, "Invented Works", "1 Lane", "ZQ01"), stamp())
        ut = NewQualification("UT", "II", date(2027, 5, 31))
        qualifications.record(db, Office(None, "x"), 1, ut, stamp())
    found = packed(client)
    assert (found["total"], found["cars"], found["instructions"]) == (0, [], {})
    assert found["facilities"][0]["station_code"] == "ZQ01"
    assert found["qualifications"] == [{"method": "UT", "level": "II", "valid_until": "2027-05-31"}]
    assert {each["when"] for each in found["cautions"]} == {"entry", "loosening", "pressure"}
    assert found["needs"]["thickness"] == [{"method": "UT", "level": "II"}]
    assert found["taken_at"].startswith("2026-11-25T14:00")


def test_each_car_goes_by_the_steps_of_its_owner(filled, any_app):
    client, keys = filled
    with beforehand(any_app.state.sessions) as db:
        weld = (NewStep("The invented weld", caution="mind the step"),)
        beside = NewInstruction(QUILLON, "visual", TODAY, "QP 7", steps=weld)
        instructions.record(db, beside, stamp())
        instead = NewInstruction(QUILLON, "thickness", TODAY, "", True, weld)
        instructions.record(db, instead, stamp())
    found = packed(client, f"car={keys['overdue']}&car={keys['soon']}")
    theirs, own = found["cars"]
    items = {each["item"] for each in own["due"]} & set(EVENT_ITEMS)
    assert set(own["instructions"]) == set(theirs["instructions"]) == items
    visual_ = found["instructions"][own["instructions"]["visual"]]
    assert (visual_["owner"], visual_["edition"]) == (QUILLON, "QP 7")
    assert visual_["steps"][0]["id"] == "visual.outside"
    assert visual_["steps"][-1]["look_at"] == "The invented weld"
    thickness = found["instructions"][own["instructions"]["thickness"]]
    assert [each["caution"] for each in thickness["steps"]] == ["mind the step"]
    assert theirs["instructions"]["visual"] == "visual.built-in"


@pytest.mark.parametrize(
    ("query", "numbers"),
    [
        ("list=", []),
        ("list=status%3Doverdue%26item%3Dvisual", ["1001"]),
        ("list=%3Fq%3DZQAX%26cars%3Dall%26item%3Dvisual", ["2000", "2001", "2002"]),
        ("list=from%3D2026-11-25%26to%3D2026-11-25", ["1002"]),
        ("car=987654321", []),
        ("visit=987654321", []),
        ("shop=Nowhere", []),
    ],
)
def test_cars_are_chosen_in_one_of_several_ways(filled, query, numbers):
    found = packed(filled[0], query)
    if query == "list=":
        assert found["total"] == 4  # every dated item of cars in service
    else:
        assert [each["number"] for each in found["cars"]] == numbers
        assert found["total"] == len(numbers)


@pytest.mark.parametrize(
    ("query", "said"),
    [
        ("car=1&visit=2", "one way"),
        ("list=bogus%3D1", "list.bogus"),
        ("list=q%3D%3F%3F%3F", "no mark and number"),
        ("list=from%3Dyesterday", "list.from"),
        ("car=x", "car.0"),
        ("after=nonsense", "damaged"),
        ("bogus=1", "bogus"),
    ],
)
def test_what_cannot_be_read_is_refused(filled, query, said):
    answer = filled[0].get(f"{PACK}?{query}")
    assert answer.status_code == 422
    assert said in answer.text


def test_pages_of_fifty_follow_each_other_and_more_cars_ask_no_more_queries(filled, any_app):
    client, _ = filled
    with beforehand(any_app.state.sessions) as db:
        many(db, 60, 3001)
    query = "list=q%3DZQKX"
    with asked_meanwhile(any_app) as few:
        packed(client, "car=1")
    with asked_meanwhile(any_app) as seen:
        first = packed(client, query)
    # Only where there are more pages it is asked how many cars there are.
    assert len(seen) <= len(few) + 1 <= 40
    second = packed(client, f"{query}&after={first['next']}")
    numbers = [each["number"] for page in (first, second) for each in page["cars"]]
    assert (first["total"], len(first["cars"]), second["next"]) == (62, 50, None)
    assert numbers == sorted(numbers, key=int)
    assert len(set(numbers)) == 62


@pytest.fixture
def shared(any_app: FastAPI) -> tuple[FastAPI, int]:
    with write_session(any_app.state.sessions) as db:
        party = companies(db, OWNER, SHOP, LINER, FITTER)
        for name in (OWNER, SHOP, LINER, FITTER):
            signed_in(db, party[name], "inspector")
        signed_in(db, party[OWNER], "planner")
        car = lined_car(db, party[OWNER], lining_owner=LINER, equipment_owner=FITTER).id
        report = visual(date(2021, 3, 4), readings=(measured("0.44"),))
        events.record_event(db, car, report, stamp())
    return any_app, car


def test_a_shop_takes_a_car_along_while_it_is_there(shared):
    app, car = shared
    shop, planner = browser(app, SHOP, "inspector"), browser(app, OWNER, "planner")
    assert packed(shop, f"car={car}")["cars"] == []
    form = {"shop": SHOP, "sent_on": "2026-11-02", "instructions": "Look at the lining."}
    assert planner.post(f"/cars/{car}/visits", data=form, follow_redirects=False).status_code == 303
    [there] = packed(shop, f"shop={SHOP.replace(' ', '+')}")["cars"]
    assert there["visit"]["instructions"] == "Look at the lining."
    assert packed(shop, f"visit={there['visit']['id']}")["total"] == 1
    assert there["last"]["shell_bottom"]


@pytest.mark.parametrize(
    ("party", "items", "kinds"),
    [
        (LINER, {"lining"}, set()),
        (FITTER, {"service_equipment", "relief_device", "leakage"}, {"relief_valve"}),
    ],
)
def test_who_answers_for_a_part_takes_that_part_along(shared, party, items, kinds):
    app, car = shared
    [found] = packed(browser(app, party, "inspector"), f"car={car}")["cars"]
    assert {each["item"] for each in found["due"]} <= items
    assert set(found["instructions"]) <= items
    assert {each["kind"] for each in found["parts"]} == kinds
    told = (found["lading"], found["built_on"], found["zones"], found["last"], found["visit"])
    assert told == ("", None, [], {}, None)
    assert found["asks"]["design"] == {}

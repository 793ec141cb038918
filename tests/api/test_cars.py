"""Cars by HTTP: added with all that is known, listed by key, shown with facts, dates and reasons."""

from collections.abc import Iterator
from datetime import date
from typing import Any

import pytest

from app.actions import cars as actions
from app.actions import components
from app.actions.changes import NewComponent, NewInstallation, NewName
from app.actions.stamp import Stamp
from app.api.cars import NEW_CAR
from app.store import cars
from app.store.db import make_engine, sessions, write_session
from tests.api.conftest import NOON, added
from tests.fixtures.web import asked_meanwhile

FULL: dict[str, Any] = {
    "mark": "ZQAX",
    "number": 7,
    "specification": "DOT 111A100W5",
    "built_on": "2012-06",
    "rebuilt_on": "2019-02-01",
    "tank": {
        "material": "A516-70",
        "inside_diameter_in": 119.25,
        "joint_efficiency": 0.9,
        "head_shape": "2:1",
        "jacketed": False,
        "built_to": "CPC-1232",
        "required_thickness_in": {"shell_top": 0.4375, "head_a": 0.45},
    },
    "lining": {"kind": "rubber", "applied_on": "2019-02-20", "owner_interval_months": 60},
    "service": {
        "commodity": "Hydrochloric acid",
        "un": "UN1789",
        "hazardous": True,
        "hazard_class": "8",
        "packing_group": "II",
        "corrosive_or_reactive": True,
        "corrosion_rate_mil_per_year": 2.6,
    },
    "relief_device": {
        "kind": "combination",
        "set_psig": 165,
        "tested_on": "2021-03-04",
        "installed_on": "2021-05",
        "protected_in_storage": True,
        "owner_interval_months": 60,
    },
    "service_equipment": {"owner_interval_months": 96},
    "reflective_sheeting": {"installed_on": "2019-02-20", "method": "comparator"},
    "stencil": {"marked_on": "2019-03-01", "due": {"visual": "2029", "lining": "2024-02-20"}},
    "approvals": [
        {"item": "visual", "interval_months": 60, "reference": "DOT-A 1", "stenciled": False}
    ],
}


def contained(part: Any, whole: Any) -> bool:
    if isinstance(part, dict):
        return all(key in whole and contained(value, whole[key]) for key, value in part.items())
    if isinstance(part, list):
        return len(part) == len(whole) and all(map(contained, part, whole))
    return bool(part == whole)


def test_every_fact_of_a_new_car_comes_back_as_it_was_stated(any_client) -> None:
    answer = any_client.post("/api/v1/cars", json=FULL | {"owner": "Invented Owner"})
    assert answer.status_code == 201, answer.text
    shown = any_client.get(answer.headers["Location"]).json()
    assert shown == answer.json()
    # A month that only the relief device's rule needs as such is kept; else its first day counts.
    assert contained(FULL | {"built_on": "2012-06-01"}, shown["facts"])
    assert (shown["owner"], shown["standing"]) == ("Invented Owner", "in_service")


def test_the_facts_of_a_car_give_the_same_dates_without_the_register(client) -> None:
    key = added(client, **FULL)
    shown = client.get(f"/api/v1/cars/{key}").json()
    answer = client.post("/api/v1/due-dates", json={"as_of": "2026-11-25", "car": shown["facts"]})
    assert answer.json()["items"] == shown["due"]
    assert answer.json() == client.get(f"/api/v1/cars/{key}/due").json()


def test_only_mark_number_specification_and_owner_are_needed(client) -> None:
    bare = {"mark": "zqax", "number": 1, "specification": "DOT 105J300W", "owner": "Invented Owner"}
    shown = client.post("/api/v1/cars", json=bare).json()
    assert (shown["mark"], shown["facts"]["service"]["hazardous"]) == ("ZQAX", True)
    statuses = {item["item"]: item["status"] for item in shown["due"]}
    assert statuses["visual"] == "unknown"


@pytest.mark.parametrize(
    ("facts", "paths"),
    [
        ({"owner": None}, ["owner"]),
        ({"owner": ""}, ["owner"]),
        ({"owner": "   "}, ["owner"]),
        ({"colour": "black"}, ["colour"]),
        ({"number": 1_000_000}, ["number"]),
        ({"mark": "ZQKXX"}, ["mark"]),
        ({"specification": "DOT 999"}, ["specification"]),
        ({"built_on": "2026-11-26", "service_from": None}, ["built_on"]),  # in the future
        ({"built_on": "2008-03-15", "rebuilt_on": "2007-01-01"}, ["rebuilt_on"]),
        ({"tank": {"material": "TIN"}}, ["tank.material"]),
        ({"tank": {"inside_diameter_in": -3}}, ["tank.inside_diameter_in"]),
        ({"tank": {"inside_diameter_in": 119.0000001}}, ["tank.inside_diameter_in"]),
        ({"tank": {"required_thickness_in": {"sump": 0.4}}}, ["tank.required_thickness_in.sump"]),
        ({"service": {"hazardous": False}}, ["service.commodity"]),
        ({"service_from": "2027-01-01"}, ["service_from"]),
        ({"stencil": {"due": {"visual": "soon"}}}, ["stencil.due.visual"]),
        ({"stencil": {"marked_on": "2027-01-01"}}, ["stencil.marked_on"]),
        ({"reflective_sheeting": {"installed_on": "2027-01-01"}},
         ["reflective_sheeting.installed_on"]),
        ({"approvals": [{"item": "age", "interval_months": 12}]}, ["approvals.0.item"]),
        ({"relief_device": {"kind": "valve", "tested_on": "2027-01-01"}},
         ["relief_device.tested_on"]),
        ({"lining": {"applied_on": "1999-01-01"}}, ["lining.applied_on"]),  # before built
    ],
)  # fmt: skip
def test_a_fault_is_told_at_the_place_where_the_request_states_it(
    client, facts: dict[str, Any], paths: list[str]
) -> None:
    answer = client.post("/api/v1/cars", json=NEW_CAR | facts)
    assert answer.status_code == 422, answer.text
    assert [fault["path"] for fault in answer.json()["error"]["faults"]] == paths
    assert client.get("/api/v1/cars").json()["rows"] == []


def test_a_second_car_under_the_same_name_is_a_conflict(client, car: int) -> None:
    answer = client.post("/api/v1/cars", json=NEW_CAR)
    assert answer.status_code == 409
    assert "ZQKX 104512 is in the register already" in answer.json()["error"]["message"]


@pytest.mark.parametrize("address", ["", "/due", "/events"])
@pytest.mark.parametrize(("key", "status"), [("99", 404), ("0", 404), ("x", 422), ("9" * 30, 404)])
def test_a_car_that_is_not_there_is_told(client, address: str, key: str, status: int) -> None:
    answer = client.get(f"/api/v1/cars/{key}{address}")
    assert answer.status_code == status
    assert answer.json()["error"]["message"]


def names(client, **asked: Any) -> Iterator[str]:
    """All pages of a list, by cursor."""
    while True:
        page = client.get("/api/v1/cars", params=asked).json()
        yield from (f"{row['mark']} {row['number']}" for row in page["rows"])
        if page["next_after"] is None:
            return
        asked = asked | {"after": page["next_after"]}


@pytest.fixture
def fleet(client) -> None:
    for mark, number, owner in (
        ("ZQBX", 3, "Invented Owner A"),
        ("ZQAX", 100, "Invented Owner A"),
        ("ZQAX", 20, "Invented Owner B"),
        ("ZQAX", 10045, "Invented Owner B"),
    ):
        added(client, mark=mark, number=number, owner=owner, region=owner[-1])


@pytest.mark.parametrize("limit", [1, 2, 3, 50])
def test_pages_follow_by_cursor_and_miss_no_car(client, fleet, limit: int) -> None:
    assert list(names(client, limit=limit)) == ["ZQAX 20", "ZQAX 100", "ZQAX 10045", "ZQBX 3"]


@pytest.mark.parametrize(
    ("asked", "found"),
    [
        ({"search": "zqax-100"}, ["ZQAX 100", "ZQAX 10045"]),
        ({"owner": "Invented Owner A"}, ["ZQAX 100", "ZQBX 3"]),
        ({"region": "B"}, ["ZQAX 20", "ZQAX 10045"]),
        ({"standing": "stored"}, []),
        ({"standing": "all", "search": "ZQB"}, ["ZQBX 3"]),
        ({"specification_class": "111", "search": "3"}, ["ZQBX 3"]),
        ({"commodity": "Vegetable oil", "owner": "Invented Owner B"}, ["ZQAX 20", "ZQAX 10045"]),
    ],
)
def test_a_filter_keeps_what_it_says(client, fleet, asked: dict[str, str], found) -> None:
    assert list(names(client, **asked)) == found


def test_a_car_is_found_by_a_name_it_had_as_on_the_page(client, fleet, sqlite_url: str) -> None:
    with write_session(sessions(make_engine(sqlite_url))) as db:
        name = NewName("ZQHX", 33, date(2020, 1, 1))
        key = cars.by_name(db, "ZQBX", 3).id
        actions.re_mark(db, key, name, Stamp("somebody", NOON, NOON.date()))
    assert list(names(client, search="ZQBX 3")) == ["ZQHX 33"]
    assert list(names(client, search="ZQHX 33")) == ["ZQHX 33"]
    page = client.get("/fleet", params={"q": "ZQBX 3"}).text
    assert "or once called so" in page
    assert "ZQHX" in page


@pytest.mark.parametrize(
    ("asked", "path"),
    [
        ({"owner": "Nobody"}, "owner"),
        ({"limit": 0}, "limit"),
        ({"limit": 501}, "limit"),
        ({"limit": "many"}, "limit"),
        ({"standing": "lost"}, "standing"),
        ({"ownr": "Invented Owner A"}, "ownr"),  # misspelt: refused, not ignored
        ({"region": "\x00"}, "region"),
        ({"after": "\x00"}, "after"),
    ],
)
@pytest.mark.parametrize("address", ["/api/v1/cars", "/api/v1/due"])
def test_a_filter_that_means_nothing_is_422(client, address: str, asked, path: str) -> None:
    if address.endswith("due") and path == "standing":
        asked, path = {"status": "late"}, "status"
    answer = client.get(address, params=asked)
    assert answer.status_code == 422
    assert [fault["path"] for fault in answer.json()["error"]["faults"]] == [path]


@pytest.mark.parametrize("asked", [{"after": "nonsense"}, {"search": "ZQKX 1 AND 2"}])
@pytest.mark.parametrize("address", ["/api/v1/cars", "/api/v1/due"])
def test_a_damaged_cursor_or_name_is_422(client, address: str, asked: dict[str, str]) -> None:
    answer = client.get(address, params=asked)
    assert answer.status_code == 422
    assert answer.json()["error"]["message"]


def test_of_several_relief_devices_the_first_due_speaks_and_any_can_stop_the_loading(
    client, sqlite_url: str
) -> None:
    hazardous = {"commodity": "Invented oil", "hazard_class": "9", "corrosive_or_reactive": False}
    inspected = {"built_on": "2019-04-06", "service": hazardous}
    key = added(client, **inspected, relief_device={"kind": "valve", "tested_on": "2024-05-06"})
    before = client.get(f"/api/v1/cars/{key}/due").json()
    assert before["loading"]["verdict"] == "may_load"
    second = NewInstallation(
        NewComponent("relief_valve", serial="S-2"), position="A end", tested_on=date(2016, 3, 4)
    )
    with write_session(sessions(make_engine(sqlite_url))) as db:
        components.install(db, key, second, Stamp("a test", NOON, NOON.date()))
    after = client.get(f"/api/v1/cars/{key}/due").json()
    item = next(each for each in after["items"] if each["item"] == "relief_device")
    # Ten years from its test, 49 CFR 180.509(c)(2), 2019 edition: overdue since March 2026.
    assert (item["due_on"], item["status"]) == ("2026-03-04", "overdue")
    assert "A end S-2" in " ".join(reason["text"] for reason in item["reasons"])
    assert after["next"] == {"item": "relief_device", "due_on": "2026-03-04"}
    assert after["loading"]["verdict"] == "may_not_load"
    shown = client.get(f"/api/v1/cars/{key}").json()
    assert shown["facts"]["relief_device"]["tested_on"] == "2016-03-04"


@pytest.mark.parametrize("address", ["/api/v1/cars", "/api/v1/due", "/api/v1/cars/1"])
def test_more_cars_need_no_more_queries(client, car: int, address: str) -> None:
    def queries() -> int:
        with asked_meanwhile(client.app) as asked:
            assert client.get(address).status_code == 200
        return len(asked)

    queries()  # whether the store is of this version is asked once
    few = queries()
    for number in range(1, 6):
        added(client, number=number)
    assert queries() == few <= 20

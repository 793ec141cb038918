"""Directives on the pages and by the API: from the order to its report, for its company, a shop and nobody else."""

import re
from collections.abc import Iterator
from datetime import date

import pytest
from sqlalchemy import select

from app.actions import cars, components
from app.actions.changes import NewOwnership
from app.store.db import write_session
from app.store.directives import Directive
from app.store.tables import Installation
from tests.access.parties import BUYER, COMPANIES, OWNER, SHOP, STAMP, browser, companies, signed_in
from tests.actions.test_directives import valve
from tests.fixtures.web import TODAY, TestClient
from tests.pages.reading import Page, csv_rows, xlsx_rows
from tests.store.cast import new_car

FORM = {
    "ordered_by": "maker", "orderer": "Invented Valve Works", "number": "B-7",
    "title": "Springs of lot L12", "what": "Look at the spring.", "caution": "Bench work only.",
    "ordered_on": "2026-11-20", "fleet_on": "2026-11-01", "kind": "relief_valve", "lot": "L12",
    "takes_later": "yes", "takes_by_hand": "yes", "due_on": "2027-02-01",
}  # fmt: skip
CLOSED = {"done_on": "2026-11-24", "result": "mended", "reference": "Report 9"}


@pytest.fixture
def app(web_app):
    """Three cars of one company: a valve of the lot, one of another, one of which no lot is known; and a stranger's."""
    with write_session(web_app.state.sessions) as db:
        parties = companies(db, *COMPANIES)
        for name in (OWNER, BUYER, SHOP):
            for role in ("planner", "compliance", "inspector", "shop"):
                signed_in(db, parties[name], role)
        for number, owner, lot in (
            (1, OWNER, "L12"),
            (2, OWNER, "L13"),
            (3, OWNER, ""),
            (4, BUYER, "L12"),
        ):
            car = cars.add_car(db, new_car(number, owner=owner), STAMP)
            components.install(db, car.id, valve(f"S{number}", lot), STAMP)
    return web_app


@pytest.fixture
def compliance(app) -> Iterator[TestClient]:
    with browser(app, OWNER, "compliance") as client:
        yield client


def made(client: TestClient, **form: str) -> str:
    answer = client.post("/directives", data=FORM | form, follow_redirects=False)
    assert answer.status_code == 303, Page(answer.text).words
    return answer.headers["location"].partition("?")[0]


def words(client: TestClient, address: str, status: int = 200) -> str:
    answer = client.get(address)
    assert answer.status_code == status, answer.text
    return Page(answer.text).words


def matches(client: TestClient, address: str, state: str = "") -> list[str]:
    found = client.get(f"{address}/matches.csv", params={"state": state})
    return [f"{row['mark']} {row['number']}" for row in csv_rows(found.content)]


def closing(client: TestClient, address: str, *names: str, **form: str):
    rows = client.get(f"/api/v1{address}").json()["rows"]
    keys = [each["id"] for each in rows if f"{each['mark']} {each['number']}" in names]
    return client.post(
        f"{address}/close", data=CLOSED | form | {"match": keys}, follow_redirects=False
    )


def test_with_none_the_list_says_what_a_directive_is(compliance):
    assert "No directive is on record." in words(compliance, "/directives")


def test_what_matches_is_told_while_the_condition_is_written(compliance):
    asked = {"kind": "relief_valve", "fleet_on": "2026-11-01"}
    found = words(
        compliance, "/directives/preview?" + "&".join(f"{n}={v}" for n, v in asked.items())
    )
    assert "Match on 2026-11-01 3 To be looked at by hand 0" in found
    closer = compliance.get("/directives/preview", params=asked | {"lot": "l12"})
    told = Page(closer.text).words
    assert "Match on 2026-11-01 1 To be looked at by hand 1" in told
    assert (
        "ZQKX 3 : Relief valve, Brindle Invented Valves, EX-1, top, serial S3 – look by hand"
        in told
    )
    assert "<html" not in closer.text


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        ({}, "Nothing is asked for yet"),
        ({"lot": "L12"}, "Kind of component: say the kind of component whose lot is meant."),
        ({"built_from": "yesterday"}, "Built from: "),
        ({"kind": "valve"}, "Nothing matches as the fleet was on 2026-11-25."),
    ],
)
def test_a_preview_says_what_is_wrong_or_missing(compliance, asked, said):
    answer = compliance.get("/directives/preview", params={"fleet_on": "2026-11-25"} | asked)
    assert answer.status_code == 200
    assert said in Page(answer.text).words


def test_looking_records_nothing_and_keeps_what_was_typed(compliance, record):
    answer = compliance.post("/directives", data=FORM | {"look": "yes"})
    assert answer.status_code == 200
    assert "Match on 2026-11-01 1" in Page(answer.text).words
    assert 'value="Springs of lot L12"' in answer.text
    assert record(lambda db: db.scalar(select(Directive.id))) is None


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ({"title": ""}, "Title : Nothing was entered; this is needed."),
        ({"due_on": ""}, "Due on : Want a day, or a number of days after a car was found"),
        ({"fleet_on": "2027-01-01"}, "The fleet as it was on : 2027-01-01 lies in the future"),
        ({"lot": "", "kind": ""}, "Say what it is about"),
        ({"kind": ""}, "Say the kind of component whose lot is meant."),
        ({"due_days": "-3"}, "Or days after it was found"),
    ],
)
def test_a_faulty_order_is_shown_again_with_what_is_wrong(compliance, record, typed, said):
    answer = compliance.post("/directives", data=FORM | typed)
    assert answer.status_code == 422
    assert said in Page(answer.text).words
    assert "Look at the spring." in answer.text
    assert record(lambda db: db.scalar(select(Directive.id))) is None


def test_a_frozen_directive_is_listed_and_a_due_item_of_its_cars(compliance):
    address = made(compliance)
    page = words(compliance, address)
    assert "Invented Valve Works B-7" in page
    assert "Bench work only." in page
    assert matches(compliance, address) == ["ZQKX 1", "ZQKX 3"]
    assert matches(compliance, address, "by_hand") == ["ZQKX 3"]
    [row] = Page(compliance.get("/directives").text).rows
    assert row[1:6] == ["open", "2027-02-01", "2", "2", "0"]
    listed = Page(compliance.get("/due", params={"item": "directive"}).text).rows
    assert [each[0] for each in listed] == ["ZQKX 1", "ZQKX 3"]
    car = words(compliance, "/cars/1")
    assert "Directives that are about this car" in car
    assert "May be loaded" not in car or "An open directive, Springs of lot L12" in car
    assert "Directive soon 2027-02-01" in car


def test_an_overdue_directive_that_forbids_loading_stops_the_car(compliance):
    made(compliance, due_on="2026-11-24", forbids_loading="yes")
    told = words(compliance, "/loading?car=ZQKX+1")
    assert "May not be loaded" in told
    assert "is overdue since 2026-11-24 and forbids loading until it is closed" in told


def test_what_is_ticked_is_closed_and_can_be_taken_back(compliance):
    address = made(compliance)
    assert closing(compliance, address, "ZQKX 1").status_code == 303
    assert matches(compliance, address, "closed") == ["ZQKX 1"]
    assert matches(compliance, address, "open") == ["ZQKX 3"]
    assert "Found and mended, 2026-11-24 Report 9; by compliance" in words(compliance, address)
    assert "1 of 2 closed" in words(compliance, f"{address}/report")
    back = compliance.post(
        "/closings/1/take-back", data={"reason": "Another car."}, follow_redirects=False
    )
    assert back.headers["location"] == f"{address}?saved=back"
    assert matches(compliance, address, "open") == ["ZQKX 1", "ZQKX 3"]
    again = compliance.post("/closings/1/take-back", data={"reason": "Again."})
    assert again.status_code == 422


@pytest.mark.parametrize(
    ("names", "typed", "said"),
    [
        ((), {}, "Cars : Choose at least one."),
        (("ZQKX 1",), {"done_on": ""}, "Done on : Nothing was entered"),
        (("ZQKX 1",), {"done_on": "2026-11-01"}, "lies before it was ordered"),
        (("ZQKX 1",), {"result": "gone"}, "still on ZQKX 1 by the record"),
    ],
)
def test_a_faulty_closing_keeps_its_ticks_and_what_was_typed(compliance, names, typed, said):
    address = made(compliance)
    answer = closing(compliance, address, *names, **typed)
    assert answer.status_code == 422
    assert said in Page(answer.text).words
    assert ("checked>" in answer.text) is bool(names)
    assert "Report 9" in answer.text
    assert matches(compliance, address, "closed") == []


def test_its_due_day_can_be_changed_and_it_can_be_withdrawn(compliance):
    address = made(compliance)
    assert (
        "this is needed"
        in Page(compliance.post(f"{address}/term", data={"due_on": "2027-05-01"}).text).words
    )
    term = {"due_on": "2027-05-01", "reason": "Extended by letter."}
    assert compliance.post(f"{address}/term", data=term).status_code == 200
    for asked in ("term", "withdraw"):
        shown = compliance.get(f"{address}/{asked}").text
        assert f'<a href="{address}">Back to the directive, recording nothing</a>' in shown
    page = words(compliance, address)
    assert "2027-05-01 ; once overdue, the loading answer asks for a look" in page
    assert "Extended by letter." in page
    assert (
        compliance.post(
            f"{address}/withdraw", data={"reason": "Withdrawn by the maker."}
        ).status_code
        == 200
    )
    assert "Withdrawn by the maker." in words(compliance, address)
    assert Page(compliance.get("/due", params={"item": "directive"}).text).rows == []


def test_the_files_hold_the_rows_of_the_filter(compliance):
    address = made(compliance)
    found = [
        compliance.get(f"{address}/matches.{kind}?state=by_hand").content
        for kind in ("csv", "xlsx")
    ]
    for rows in (csv_rows(found[0]), xlsx_rows(found[1])):
        assert [str(row["number"]) for row in rows] == ["3"]
    assert compliance.get(f"{address}/matches.csv?state=lost").status_code == 422
    assert "is none of the choices" in words(compliance, f"{address}?state=lost", 422)


def test_a_component_that_went_to_another_car_is_told_on_both(compliance, record):
    address = made(compliance)

    def move(db):
        row = db.scalars(select(Installation).where(Installation.car_id == 1)).one()
        components.remove(db, row.id, date(2026, 11, 22), STAMP)
        components.install(db, 2, valve("S1", on=date(2026, 11, 23), beside_another=True), STAMP)

    record(move)
    assert matches(compliance, address) == ["ZQKX 1", "ZQKX 2", "ZQKX 3"]
    assert matches(compliance, address, "elsewhere") == ["ZQKX 1"]
    assert "now on ZQKX 2" in words(compliance, address)
    assert closing(compliance, address, "ZQKX 1", result="gone").status_code == 303
    assert matches(compliance, address, "open") == ["ZQKX 2", "ZQKX 3"]


def test_the_api_tells_it_with_its_cars(compliance):
    address = made(compliance)
    [row] = compliance.get("/api/v1/directives").json()["rows"]
    assert (row["number"], row["matches"], row["open"], row["state"]) == ("B-7", 2, 2, "open")
    whole = compliance.get(f"/api/v1{address}").json()
    assert whole["condition"] == {"kind": "relief_valve", "lot": "L12"}
    assert [(each["number"], each["by_hand"], each["now_on"]) for each in whole["rows"]] == [
        (1, False, ["ZQKX 1"]), (3, True, ["ZQKX 3"]),
    ]  # fmt: skip


def test_the_record_of_change_tells_of_it(compliance):
    address = made(compliance)
    closing(compliance, address, "ZQKX 1")
    told = words(compliance, "/changes")
    assert "froze the cars of a directive" in told
    assert "recorded that a directive was seen to" in told


# Whose it is ------------------------------------------------------------------------------------------------------


def test_another_company_finds_nothing_of_it(app, compliance):
    address = made(compliance)
    stranger = browser(app, BUYER, "compliance")
    assert "No directive is on record." in words(stranger, "/directives")
    for end in ("", "/report", "/matches.csv", "/term", "/withdraw"):
        assert stranger.get(address + end).status_code == 404, end
    assert stranger.get(f"/api/v1{address}").status_code == 404
    assert stranger.post(f"{address}/close", data=CLOSED | {"match": "1"}).status_code == 404


def test_whoever_buys_a_car_finds_its_order_and_closes_it_and_nothing_of_the_others(
    app, compliance, record
):
    address = made(compliance)
    record(lambda db: cars.change_ownership(db, 1, NewOwnership(BUYER, from_on=TODAY), STAMP))
    buyer = browser(app, BUYER, "compliance")
    assert matches(buyer, address) == ["ZQKX 1"]
    assert matches(compliance, address) == ["ZQKX 3"]
    assert "Directive soon 2027-02-01" in words(buyer, "/cars/1")
    assert buyer.get(f"{address}/term").status_code == 404
    assert closing(buyer, address, "ZQKX 1").status_code == 303
    assert Page(buyer.get("/due", params={"item": "directive"}).text).rows == []


def test_a_shop_that_has_the_car_sees_the_order_and_closes_it(app, compliance):
    address = made(compliance)
    shop = browser(app, SHOP, "shop")
    assert shop.get(address).status_code == 404
    compliance.post("/cars/1/visits", data={"shop": SHOP, "sent_on": "2026-11-22"})
    assert matches(shop, address) == ["ZQKX 1"]
    assert closing(shop, address, "ZQKX 1").status_code == 303
    assert matches(compliance, address, "closed") == ["ZQKX 1"]


@pytest.mark.parametrize(
    ("typed", "open_"),
    [({}, ""), ({"built_to": "2001-12-31"}, " open"), ({"built_from": "yesterday"}, " open")],
)
def test_what_few_orders_state_of_cars_is_folded_away_only_while_nobody_states_it(
    compliance, typed, open_
):
    page = compliance.post("/directives", data=FORM | {"look": "yes"} | typed).text
    folded = page.partition(f'<details class="more"{open_}>')[2].partition("</details>")[0]
    assert re.findall(r' name="(\w+)"', folded) == [
        "design", "built_from", "built_to", "material", "lining",
    ]  # fmt: skip

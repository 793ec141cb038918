"""A car sold to another company: the seller hears so and reaches it no longer; the buyer has its whole history."""

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from fastapi import FastAPI

from app.jobs.doing import Doer
from app.main import create_app
from app.pictures import Attachments
from app.settings import Settings
from app.store.db import write_session
from tests.access.parties import (
    BUYER,
    LINER,
    MARK,
    NUMBER,
    OWNER,
    browser,
    companies,
    lined_car,
    signed_in,
)
from tests.fixtures.web import NOW
from tests.pages.reading import Page

SALE = {"owner": BUYER, "region": "", "from_on": "2026-11-20"}


@pytest.fixture
def market(migrated_url: str) -> Iterator[tuple[FastAPI, int]]:
    """Two companies that stand for themselves, and a car of the first."""
    app = create_app(Settings(database_url=migrated_url), clock=lambda: NOW)
    with write_session(app.state.sessions) as db:
        party = companies(db, OWNER, BUYER, LINER)
        for name in party:
            signed_in(db, party[name], "planner")
        car = lined_car(db, party[OWNER]).id
    yield app, car
    app.state.engine.dispose()


def test_the_seller_is_told_that_the_car_is_another_s_now(market):
    app, car = market
    seller = browser(app, OWNER, "planner")
    answer = seller.post(f"/cars/{car}/facts/owner", data=SALE)
    assert answer.status_code == 200
    said = Page(answer.text).words.replace("\xa0", " ")
    assert f"{MARK} {NUMBER} is now in the register of the company that owns it" in said
    assert f'href="/cars/{car}"' not in answer.text
    for address in (
        "/cars/{}",
        "/api/v1/cars/{}",
        "/api/v1/cars/{}/events",
        "/cars/{}/facts/owner",
    ):
        told = []
        for key in (car, 987654):
            gone = seller.get(address.format(key))
            assert gone.status_code == 404
            told.append(
                re.sub(rf"(/cars/|the key ){key}\b|Number of this request: \S+", "", gone.text)
            )
        assert told[0] == told[1]
    assert seller.get("/api/v1/cars").json()["rows"] == []
    assert seller.get("/api/v1/due").json()["rows"] == []


def test_the_buyer_has_the_car_with_its_whole_history(market):
    app, car = market
    seller, buyer = (browser(app, name, "planner") for name in (OWNER, BUYER))
    before = seller.get(f"/api/v1/cars/{car}/events").json()["rows"]
    assert buyer.get(f"/cars/{car}").status_code == 404
    seller.post(f"/cars/{car}/facts/owner", data=SALE)
    assert buyer.get(f"/api/v1/cars/{car}/events").json()["rows"] == before
    page = Page(buyer.get(f"/cars/{car}").text).words
    assert "secret of the owner" in page
    # Facts as they were, the seller's ownership among them.
    assert f"Owner {OWNER}".lower() in page.lower()
    [row] = buyer.get("/api/v1/cars").json()["rows"]
    assert (row["owner"], row["id"]) == (BUYER, car)


def test_a_seller_who_keeps_the_lining_reaches_that(market):
    app, car = market
    seller = browser(app, OWNER, "planner")
    answer = seller.post(f"/cars/{car}/facts/owner", data=SALE | {"lining_owner": OWNER})
    assert answer.status_code == 200
    assert "answers for its lining" in Page(answer.text).words
    assert "Another company owns this car" in Page(seller.get(f"/cars/{car}").text).words


def test_a_correction_gives_a_car_that_was_sold_by_mistake_back(market):
    app, car = market
    seller, buyer = (browser(app, name, "planner") for name in (OWNER, BUYER))
    seller.post(f"/cars/{car}/facts/owner", data=SALE)
    page = buyer.get(f"/cars/{car}").text
    row = re.search(r"/facts/ownership/(\d+)/withdraw", page)[1]
    answer = buyer.post(f"/facts/ownership/{row}/withdraw", data={"reason": "Not bought."})
    assert "is now in the register of the company" in Page(answer.text).words
    assert seller.get(f"/cars/{car}").status_code == 200
    assert buyer.get(f"/cars/{car}").status_code == 404


def test_a_sale_from_a_later_day_on_is_refused_or_leaves_the_car(market):
    """Nothing is dated in the future, so nobody loses a car before the day."""
    app, car = market
    seller = browser(app, OWNER, "planner")
    answer = seller.post(f"/cars/{car}/facts/owner", data=SALE | {"from_on": "2026-12-01"})
    assert answer.status_code == 422
    assert seller.get(f"/cars/{car}").status_code == 200


def test_a_car_added_under_another_company_s_name_stays_with_whoever_adds_it(market):
    """Nobody fills another's register: it makes an owner of that name whose records the adder keeps."""
    app, _ = market
    seller = browser(app, OWNER, "planner")
    new = {"mark": MARK, "number": 7, "specification": "DOT 111A100W1", "owner": BUYER}
    answer = seller.post("/api/v1/cars", json=new)
    assert answer.status_code == 201, answer.text
    assert browser(app, BUYER, "planner").get("/api/v1/cars").json()["rows"] == []
    form = {"mark": MARK, "number": "8", "specification": "DOT 111A100W1", "owner": BUYER}
    assert seller.post("/cars", data=form).status_code == 200
    assert {row["owner"] for row in seller.get("/api/v1/cars").json()["rows"]} == {OWNER, BUYER}


def test_a_seller_does_not_learn_that_the_buyer_has_a_car_of_the_same_name(market):
    app, car = market
    seller, buyer = (browser(app, name, "planner") for name in (OWNER, BUYER))
    same = {"mark": MARK, "number": NUMBER, "owner": BUYER, "specification": "DOT 111A100W1"}
    namesake = buyer.post("/api/v1/cars", json=same)
    assert namesake.status_code == 201
    answer = seller.post(f"/cars/{car}/facts/owner", data=SALE)
    assert answer.status_code == 200
    assert "is now in the register of the company that owns it" in Page(answer.text).words.replace(
        "\xa0", " "
    )
    rows = buyer.get("/api/v1/cars").json()["rows"]
    assert {row["id"] for row in rows} == {car, namesake.json()["id"]}
    # Which of the two stands at the rack nobody but a person can tell.
    assert buyer.get(f"/api/v1/cars/{MARK}/{NUMBER}/loading").status_code == 409


def test_a_name_means_the_company_that_stands_for_itself_though_one_was_kept_under_it(market):
    app, car = market
    seller, liner = browser(app, OWNER, "planner"), browser(app, LINER, "planner")
    kept = {"mark": MARK, "number": NUMBER + 1, "owner": LINER, "specification": "DOT 111A100W1"}
    assert seller.post("/api/v1/cars", json=kept).status_code == 201
    stated = {"owner": OWNER, "region": "", "lining_owner": LINER, "from_on": "2026-11-20"}
    assert seller.post(f"/cars/{car}/facts/owner", data=stated).status_code == 200
    assert liner.get(f"/cars/{car}").status_code == 200
    # The car kept under that name stays whose it is when its owner is stated again.
    [mine] = [row for row in seller.get("/api/v1/cars").json()["rows"] if row["id"] != car]
    again = {"owner": LINER, "region": "Gulf", "from_on": "2026-11-20"}
    assert seller.post(f"/cars/{mine['id']}/facts/owner", data=again).status_code == 200
    assert seller.get(f"/cars/{mine['id']}").status_code == 200


def test_a_packet_made_before_the_sale_is_not_handed_out_after_it(
    market, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    app, car = market
    app.state.attachments = Attachments(tmp_path)
    monkeypatch.setattr("app.actions.packets.AT_ONCE", 0)
    seller = browser(app, OWNER, "planner")
    job = seller.post("/fleet/evidence", follow_redirects=False).headers["location"]
    with Doer(app.state.engine, "UTC", app.state.attachments) as doer:
        doer.do(job.rpartition("/")[2])
    assert seller.get(f"{job}/evidence.zip").headers["content-type"] == "application/zip"
    seller.post(f"/cars/{car}/facts/owner", data=SALE)
    gone = seller.get(f"{job}/evidence.zip")
    assert gone.status_code == 404
    assert "a car that you do not reach any more" in Page(gone.text).words


def test_a_packet_asked_for_before_the_sale_is_not_made_after_it(
    market, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    app, car = market
    monkeypatch.setattr("app.actions.packets.AT_ONCE", 0)
    seller = browser(app, OWNER, "planner")
    job = seller.post("/fleet/evidence", follow_redirects=False).headers["location"]
    seller.post(f"/cars/{car}/facts/owner", data=SALE)
    with Doer(app.state.engine, "UTC", Attachments(tmp_path / "kept")) as doer:
        doer.do(job.rpartition("/")[2])
    told = Page(seller.get(job).text).words
    assert "No packet was made" in told
    assert f"There is no car with the key {car}" in told
    assert not (tmp_path / "kept").exists()

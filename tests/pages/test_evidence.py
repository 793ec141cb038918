"""Evidence packets from the pages: of a car, of a list at once or by a job, and for whom."""

import io
import json
from datetime import UTC, datetime
from zipfile import ZipFile

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from sqlalchemy import select
from sqlalchemy.orm import Session

from app.actions import packets
from app.jobs.doing import Doer
from app.store.derived import Job
from tests.files.packet_reading import Pdf, squashed
from tests.fixtures.desk import PICTURE, Desk, found
from tests.fixtures.fleet import Listed
from tests.fixtures.web import Record
from tests.pages.car_cast import acid_car
from tests.pages.fleet_cast import many
from tests.pages.reading import Page
from tests.pages.test_looking_back import THEN, changed_since
from tests.pictures import shots


def pdf(client: TestClient, address: str) -> Pdf:
    answer = client.get(address)
    assert (answer.status_code, answer.headers["content-type"]) == (200, "application/pdf")
    return Pdf(answer.content)


def members(content: bytes) -> dict[str, bytes]:
    with ZipFile(io.BytesIO(content)) as packed:
        return {name: packed.read(name) for name in packed.namelist()}


# A car ----------------------------------------------------------------------------------------------------------


def test_the_packet_of_a_car_is_as_it_was_known(client: TestClient, record: Record[int]) -> None:
    key = record(changed_since)
    then = pdf(client, f"/cars/{key}/evidence.pdf?{THEN}").words
    now = pdf(client, f"/cars/{key}/evidence.pdf").words
    for words, since in (
        ("ZQKX 104512", False), ("Shop A", False), ("RV-77", False),
        ("ZQBX 7", True), ("Shop B", True), ("Shop C", True), ("RV-99", True), ("No longer counts", True),
    ):  # fmt: skip
        assert (squashed(words) in then) is not since, words
        assert squashed(words) in now or not since, words
    assert squashed("As of 2026-11-21, as known at the end of 2026-11-21 (UTC)") in then
    # What it was before it was corrected stays, with who recorded it and since when it counts no more.
    assert squashed("no longer counts since 2026-11-23 10:15:30 UTC") in now


def test_a_packet_is_asked_for_on_the_page_of_the_car(
    client: TestClient, record: Record[int]
) -> None:
    key = record(acid_car)
    then = THEN.replace("&", "&amp;")
    for query, told in (("", ""), (f"?{THEN}", f"?{then}")):
        assert f'href="/cars/{key}/evidence{told}"' in client.get(f"/cars/{key}{query}").text
        page = client.get(f"/cars/{key}/evidence{query}").text
        assert f'href="/cars/{key}/evidence.zip{told}"' in page
        assert f'href="/cars/{key}/evidence.pdf{told}"' in page
    answer = client.get(f"/cars/{key}/evidence.zip")
    assert 'filename="evidence-ZQKX-104512-2026-11-25.zip"' in answer.headers["content-disposition"]


def test_a_signed_report_is_in_it_with_its_eight_fields_and_its_photograph(desk: Desk) -> None:
    tablet = found(desk)
    desk.send(tablet)
    desk.send_picture(tablet.report)
    address = f"/cars/{desk.car_id}/evidence"
    before = pdf(desk.client, f"{address}.pdf").words
    assert squashed("not signed, so it counts for nothing yet") in before
    assert squashed("ground out") not in before
    desk.send(tablet.sign())
    made = pdf(desk.client, f"{address}.pdf")
    for told in (
        "Field report 1", "Station code of the facility", "Stay out without a permit.", "G-7", "ring 3, 6 o'clock",
        "rust runs", "worn", "manway", "ground out", "3.5", "RV-9", "Signed by I. Nobody", "The gouge",
    ):  # fmt: skip
        assert squashed(told) in made.words, told
    # Taken back before it was signed, so it stands among what no longer counts and nowhere else.
    assert made.words.count(squashed("0.61")) == 1
    gone = made.words.partition(squashed("Corrections and withdrawals"))[2]
    assert squashed("Field report 1: reading") in gone
    assert squashed("0.61") in gone
    alts = [str(each["/Alt"]) for each in made.elements("Figure")]
    assert any(each.startswith("Drawn signature. Signed by I. Nobody") for each in alts)
    assert any(each.startswith("The gouge, of ") for each in alts)
    packed = members(desk.client.get(f"{address}.zip").content)
    [name] = [each for each in packed if each.startswith("photographs/")]
    assert shots.sum_of(packed[name]) == name.removeprefix("photographs/").removesuffix(".jpg")
    assert shots.sum_of(PICTURE) in packed["photographs.csv"].decode()


def test_what_came_later_than_the_moment_is_not_in_it(desk: Desk) -> None:
    tablet = found(desk)
    desk.send(tablet)
    desk.send_picture(tablet.report)
    desk.send(tablet.sign())
    then = pdf(desk.client, f"/cars/{desk.car_id}/evidence.pdf?known=2026-11-25T13:00").words
    assert squashed("Field report 1") not in then
    assert squashed("No photograph is kept of this car.") in then


# The cars of a list ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("address", "cars", "in_words"),
    [
        ("/fleet/evidence", 6, "Cars in the register"),
        ("/fleet/evidence?q=ZQAX", 3, "ZQAX"),
        ("/fleet/evidence?standing=sold", 1, "Cars sold"),
        ("/due/evidence?q=ZQKX", 2, "ZQKX"),
        ("/overdue/evidence?item=visual", 1, "overdue on 2026-11-25"),
        ("/overdue/evidence?as_of=2031-01-01", 4, "2031-01-01"),
    ],
)
def test_a_packet_of_a_list_is_of_its_cars(
    listed: Listed, address: str, cars: int, in_words: str
) -> None:
    page = listed.client.get(address)
    words = Page(page.text).words
    assert page.status_code == 200
    assert f"{cars} car" in words
    assert in_words in words
    where, _, query = address.partition("?")
    assert f'href="{where}.zip' in page.text
    answer = listed.client.get(f"{where}.zip?{query}")
    packed = members(answer.content)
    assert len([name for name in packed if name.startswith("cars/")]) == cars
    assert json.loads(packed["packet.json"])["cars"] == cars


def test_a_list_without_a_car_and_a_filter_that_cannot_be_read_are_told(listed: Listed) -> None:
    page = listed.client.get("/fleet/evidence?q=ZQZZ")
    assert "There is no car to put into a packet." in Page(page.text).words
    assert listed.client.get("/fleet/evidence.zip?q=ZQZZ").status_code == 422
    assert listed.client.get("/fleet/evidence?as_of=soon").status_code == 422
    assert listed.client.get("/due/evidence.zip?item=nothing").status_code == 422


def test_more_cars_than_a_packet_holds_are_refused(
    listed: Listed, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("app.pages.evidence.MOST_CARS", 2)
    monkeypatch.setattr("app.actions.evidence.MOST_CARS", 2)
    for address in ("/fleet/evidence", "/due/evidence"):
        assert "These are more than 2 cars" in Page(listed.client.get(address).text).words
        assert listed.client.post(address).status_code == 422


def test_the_lists_lead_there_with_their_filter(listed: Listed) -> None:
    for address in ("/fleet", "/due", "/overdue"):
        page = listed.client.get(f"{address}?q=ZQKX").text
        assert f'href="{address}/evidence?q=ZQKX"' in page


# By a job -------------------------------------------------------------------------------------------------------


@pytest.fixture
def asked_for(client: TestClient, record: Record[None]) -> str:
    """The address of a job that was asked for a packet of twelve cars."""
    record(lambda db: many(db, 12))
    assert client.get("/fleet/evidence.zip").status_code == 422  # too many to wait for
    assert "Make the packet" in client.get("/fleet/evidence").text
    answer = client.post("/fleet/evidence", follow_redirects=False)
    assert answer.status_code == 303
    return str(answer.headers["location"])


def job_of(db: Session) -> Job:
    return db.scalars(select(Job)).one()


def test_a_packet_of_many_is_made_by_a_job_and_taken_away_by_whoever_asked(
    client: TestClient, stranger: TestClient, web_app: FastAPI, asked_for: str
) -> None:
    assert "Waiting for its turn" in client.get(asked_for).text
    early = client.get(f"{asked_for}/evidence.zip", follow_redirects=False)
    assert (early.status_code, early.headers["location"]) == (303, asked_for)
    with Doer(web_app.state.engine, "UTC") as doer:
        doer.do(asked_for.rpartition("/")[2])
    page = client.get(asked_for).text
    assert "The packet is made" in page
    assert f'href="{asked_for}/evidence.zip"' in page
    answer = client.get(f"{asked_for}/evidence.zip")
    packed = members(answer.content)
    assert len([name for name in packed if name.startswith("cars/")]) == 12
    assert 'filename="evidence-12-cars-2026-11-25.zip"' in answer.headers["content-disposition"]
    assert stranger.get(f"{asked_for}/evidence.zip", follow_redirects=False).status_code == 303


def test_a_packet_is_forgotten_after_its_time_and_says_so(
    client: TestClient, web_app: FastAPI, asked_for: str
) -> None:
    with Doer(web_app.state.engine, "UTC") as doer:
        doer.do(asked_for.rpartition("/")[2])
    kept = web_app.state.attachments
    assert packets.clear_up(kept, datetime.now(UTC)) == 0
    assert packets.clear_up(kept, datetime.now(UTC) + packets.KEPT) == 1
    answer = client.get(f"{asked_for}/evidence.zip")
    assert answer.status_code == 404
    assert "kept no longer: each is for 14 days" in Page(answer.text).words


def test_other_work_has_no_packet(client: TestClient, record: Record[None], asked_for: str) -> None:
    def other(db: Session) -> None:
        job_of(db).kind = "import"

    record(other)
    answer = client.get(f"{asked_for}/evidence.zip", follow_redirects=False)
    assert (answer.status_code, answer.headers["location"]) == (303, asked_for)

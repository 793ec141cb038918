"""The page of a field report: the eight fields of 49 CFR 180.517(b), what lacks, what was found."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import timedelta
from typing import Any

import pytest
from fastapi import FastAPI

from app.actions import cars
from app.actions.changes import CarDetails, NewName
from app.actions.stamp import Stamp
from app.core.field.missing import EIGHT
from tests.field.entries import Tablet
from tests.field.places import NEW_VALVE, placed
from tests.fixtures.people import beforehand, let_in
from tests.fixtures.web import TestClient, asking
from tests.pages.reading import Page
from tests.pictures import shots
from tests.store.cast import stamp

PICTURE = shots.camera()


@dataclass(frozen=True)
class Desk:
    """A person at a browser, who also sends what a tablet recorded at the one car."""

    client: TestClient
    car_id: int
    valve: int

    def send(self, tablet: Tablet) -> list[dict[str, Any]]:
        person = self.client.get("/api/v1/field/who").json()["person"]
        body = {"person": person, "entries": tablet.entries}
        answer = self.client.post("/api/v1/field/entries", json=body)
        assert answer.status_code == 200, answer.text
        results: list[dict[str, Any]] = answer.json()["results"]
        return results

    def send_picture(self, report: str) -> None:
        at = {"at": 0, "bytes": len(PICTURE), "report": report}
        address = f"/api/v1/field/photographs/{shots.sum_of(PICTURE)}"
        answer = self.client.put(address, params=at, content=PICTURE)
        assert answer.json()["whole"], answer.text

    def text(self) -> str:
        answer = self.client.get("/reports/1")
        assert answer.status_code == 200, answer.text
        return answer.text

    def words(self) -> str:
        return Page(self.text()).words


@pytest.fixture
def desk(web_app: FastAPI) -> Iterator[Desk]:
    with beforehand(web_app.state.sessions) as db:
        place = placed(db)
        let_in(db)
        car_id, valve = place.car_id, place.valve
    with asking(web_app) as client:
        yield Desk(client, car_id, valve)


def found(desk: Desk) -> Tablet:
    """Everything that a report can tell of, up to what passed."""
    tablet = Tablet(desk.car_id).begin("visual", "thickness", "relief_device", "lining", "leakage")
    tablet.add(
        "caution", {"caution": "entry", "job": "visual", "words": "Stay out without a permit."}
    )
    tablet.add("gauge_check", {"gauge": "G-7", "standard_in": "0.500", "read_in": "0.501"})
    tablet.reading("0.44", spot="ring 3, 6 o'clock").reading("0.61", zone="head_a")
    tablet.add("withdrawn", {"entry": tablet.last["key"], "why": "read on a weld"})
    tablet.add(
        "step", {"item": "visual", "step": "shell", "outcome": "not_ok", "words": "rust runs"}
    )
    tablet.add(
        "lining", {"area": "B-end head", "condition": "worn", "spark_volts": "9000", "holidays": 2}
    )
    tablet.add("leak_test", {"what": "manway", "medium": "air", "psig": "30", "outcome": "pass"})
    tablet.add("defect", {"defect": "gouge", "place": "A end, left", "length_in": "3.5",
                          "repaired": True, "how_repaired": "ground out"})  # fmt: skip
    tablet.add("photograph", {"digest": shots.sum_of(PICTURE), "bytes": len(PICTURE),
                              "type": "image/jpeg", "words": "The gouge"})  # fmt: skip
    on = NEW_VALVE | {"found_psig": "74", "left_psig": "75", "vapor_tight_psig": "65",
                      "tested_on": "2026-11-20", "protected_in_storage": True}  # fmt: skip
    tablet.add("swap", {"off_installation_id": desk.valve, "position": "top", "on": on})
    for item in ("visual", "thickness", "relief_device", "lining", "leakage"):
        tablet.outcome(item)
    return tablet


TOLD = (
    "Stay out without a permit.", "Gauge G-7 read 0.501 in", "ring 3, 6 o'clock", "1 reading",
    "rust runs", "worn, spark test at 9000 V, 2 holidays found",
    "passed, air at 30 psig", "ground out", "3.5 in long", "The gouge", "RV-9", "protected",
)  # fmt: skip


def test_a_signed_report_tells_the_eight_fields_and_all_that_was_found(desk: Desk) -> None:
    tablet = found(desk)
    assert {each["state"] for each in desk.send(tablet)} == {"stored"}
    desk.send_picture(tablet.report)
    assert {each["state"] for each in desk.send(tablet.sign())} == {"known", "stored"}
    text, words = desk.text(), desk.words()
    for told in (
        *EIGHT.values(),
        *TOLD,
        "Signed by I. Nobody",
        "Recorded in the register",
    ):
        assert told in words, told
    assert 'aria-label="Drawn signature of I. Nobody"' in text
    assert "Lacks" not in words
    assert "0.61" not in words  # what was taken back is told only where the order is
    assert f"/photographs/{shots.sum_of(PICTURE)}/small" in text


def test_a_report_not_signed_says_what_lacks_beside_its_field(desk: Desk) -> None:
    tablet = Tablet(desk.car_id).begin("visual", "thickness", station_code="", facility_address="")
    tablet.add("defect", {"defect": "dent", "repaired": True})
    desk.send(tablet.outcome("visual"))
    words = desk.words()
    assert "Not signed" in words
    for lacking in (
        "thickness: say whether it passed, failed, or was not done",
        "give the address of the facility", "give the station code of the facility",
        "say where the dent is", "say how the dent was repaired", "the inspector has not signed",
    ):  # fmt: skip
        assert lacking in words, lacking


def test_a_photograph_that_has_not_come_is_told(desk: Desk) -> None:
    desk.send(found(desk))
    assert "Has not come from the tablet yet" in desk.words()


def test_the_car_page_lists_its_reports_and_says_which_count(desk: Desk) -> None:
    desk.send(Tablet(desk.car_id).begin("visual").outcome("visual").sign())
    desk.send(Tablet(desk.car_id, "another").begin("visual"))
    words = Page(desk.client.get(f"/cars/{desk.car_id}").text).words
    assert words.count("Report 1") == words.count("Report 2") == 1
    assert "counts for nothing yet" in words


def test_the_report_names_the_car_as_it_was_known_when_it_was_signed(
    desk: Desk, web_app: FastAPI
) -> None:
    desk.send(Tablet(desk.car_id).begin("visual").outcome("visual").sign())
    with beforehand(web_app.state.sessions) as db:
        tomorrow = stamp().today + timedelta(days=1)
        later = Stamp("Ada Nobody", stamp(24 * 60).at, tomorrow)
        cars.re_mark(db, desk.car_id, NewName("ZQKY", 7, tomorrow), later)
        cars.change_construction(db, desk.car_id, CarDetails("DOT 117J100W"), later)
    words = desk.words()
    assert "ZQKX 1045" in words
    assert "DOT 111A100W1" in words
    assert "DOT 117J100W" not in words


def test_what_is_no_report_is_not_found(desk: Desk) -> None:
    assert desk.client.get("/reports/77").status_code == 404

"""The page of a field report: the eight fields of 49 CFR 180.517(b), what lacks, what was found."""

from datetime import timedelta

from fastapi import FastAPI

from app.actions import cars
from app.actions.changes import CarDetails, NewName
from app.actions.stamp import Stamp
from app.core.field.missing import EIGHT
from tests.field.entries import Tablet
from tests.fixtures.desk import PICTURE, Desk, found
from tests.fixtures.people import beforehand
from tests.pages.reading import Page
from tests.pictures import shots
from tests.store.cast import stamp

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
    assert "Missing:" not in words
    stands, _, recorded = words.partition("As it was recorded:")
    assert "0.61" not in stands  # what was taken back is told only where the order is
    assert "1 other that the inspector replaced or took back before signing stands under" in stands
    assert "0.61 in" in recorded
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

"""Wear over the years on pages: of a car zone by zone, and of the fleet in groups that lead to their cars."""

from datetime import date
from decimal import Decimal
from xml.etree import ElementTree

import pytest

from app.actions import events
from app.actions.changes import NewEvent, NewReading
from tests.pages.car_cast import STAMP, acid_car, plain_car
from tests.pages.reading import Page

SVG = "{http://www.w3.org/2000/svg}"


def read_on(db, car_id: int, on: date, bottom: str, *items: str):
    reading = NewReading("shell_bottom", Decimal(bottom))
    new = NewEvent(on, items or ("thickness",), readings=(reading,), facility="Shop A")
    return events.record_event(db, car_id, new, STAMP)


@pytest.fixture
def worn(record):
    """Bottom 0.426, 0.416 and 0.406 in at five years each: at line C now."""

    def made(db):
        car_id = acid_car(db)
        read_on(db, car_id, date(2008, 3, 15), "0.426")
        read_on(db, car_id, date(2013, 3, 15), "0.416")
        return car_id

    return record(made)


def row_of(page: Page, *begins: str) -> list[str]:
    return next(row for row in page.rows if row[: len(begins)] == list(begins))


def test_the_page_tells_rate_interval_and_month_and_that_it_is_an_aid(client, worn):
    page = Page(client.get(f"/cars/{worn}/trend").text)
    assert "An owner’s aid, not the rule." in page.words
    rows = [row for row in page.rows if row[0] == "General" and len(row) == 9]
    bottom = [row for row in rows if row[1] == "3"]
    # 20 mil in ten years by three readings on a line; the formula of the plate asks for more than the table here.
    assert {row[2] for row in bottom} == {"2.00"}
    assert [row[5] for row in bottom] == ["C", "D"]
    assert bottom[0][7].startswith("read there on 20")


def test_a_zone_read_once_has_no_rate_and_says_so(client, worn):
    page = Page(client.get(f"/cars/{worn}/trend").text)
    assert "Read in one thickness test, so there is no rate: it takes two" in page.words


def test_a_reading_that_was_corrected_counts_no_longer(client, record, worn):
    wrong = record(lambda db: read_on(db, worn, date(2022, 3, 15), "0.301").id)
    before = Page(client.get(f"/cars/{worn}/trend").text).words
    assert "0.301" in before
    right = NewEvent(
        date(2022, 3, 15), ("thickness",), facility="Shop A",
        readings=(NewReading("shell_bottom", Decimal("0.401")),),
    )  # fmt: skip
    record(lambda db: events.correct_event(db, wrong, right, STAMP))
    after = Page(client.get(f"/cars/{worn}/trend").text).words
    assert "0.401" in after
    assert "0.301" not in after


def test_looking_back_leaves_out_what_was_read_later(client, worn):
    words = Page(client.get(f"/cars/{worn}/trend?as_of=2014-01-01").text).words
    assert "Read in two thickness tests: a rate, but no interval" in words


def test_a_car_without_readings_is_told_what_to_do_first(client, record):
    key = record(plain_car)
    assert "Nothing measured yet" in client.get(f"/cars/{key}/trend").text
    assert f"/cars/{key}/events/new" in client.get(f"/cars/{key}/trend").text


@pytest.mark.parametrize("zone", ["shell_bottom", "shell_top", "head_a"])
def test_a_zone_is_drawn_without_scripts_and_with_its_lines_named(client, worn, zone):
    answer = client.get(f"/cars/{worn}/trend/{zone}.svg")
    tree = ElementTree.fromstring(answer.content)
    assert not list(tree.iter(f"{SVG}script"))
    written = [text.text or "" for text in tree.iter(f"{SVG}text")]
    assert [text[0] for text in written if text[:2] in ("B ", "C ", "D ")] == ["B", "C", "D"]


def test_what_is_no_zone_has_no_picture(client, worn):
    assert client.get(f"/cars/{worn}/trend/moon.svg").status_code == 404
    assert client.get(f"/cars/{worn}/trend/sump.svg").status_code == 404


def test_the_thickness_on_the_page_of_a_car_leads_there(client, worn):
    assert f'href="/cars/{worn}/trend"' in client.get(f"/cars/{worn}").text

"""The page of the qualification panel: drawn, the same in words, against what was seen, and as files."""

from datetime import date
from io import BytesIO
from xml.etree import ElementTree

import pytest
from pypdf import PdfReader

from app.actions import cars, facilities
from app.actions.changes import CarDetails, NewCar, NewName, NewOwnership, NewStencil
from app.actions.facilities import NewFacility
from tests.pages.car_cast import STAMP, acid_car, with_valves
from tests.pages.reading import Page

SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture
def car(record):
    return record(acid_car)


def written(client, address: str) -> list[str]:
    root = ElementTree.fromstring(client.get(address).content)
    return [text.text or "" for text in root.iter(f"{SVG}text")]


def test_the_drawing_and_the_table_say_the_same(client, car):
    drawn = written(client, f"/cars/{car}/panel.svg")
    rows = {row[0]: row for row in Page(client.get(f"/cars/{car}/panel").text).rows}
    # Tank items of 2018-03-15 for ten years; thickness for five, since it is thin and in acid (180.509(f)).
    for label, dates in (
        ("TANK QUALIFIED", ["03-2018", "03-2028"]),
        ("THICKNESS TEST", ["03-2018", "03-2023"]),
    ):
        at = drawn.index(label)
        assert drawn[at + 2 : at + 4] == dates
        assert [rows[label][3][:7], rows[label][4][:7]] == dates


def test_years_are_drawn_where_they_are_asked_for_and_the_page_says_what_they_lack(client, car):
    assert "2028" in written(client, f"/cars/{car}/panel.svg?form=year")
    assert "A year says less than the due date" in client.get(f"/cars/{car}/panel?form=year").text
    assert client.get(f"/cars/{car}/panel?form=moon").status_code == 422


def test_what_is_common_practice_is_marked_so(client, car):
    words = Page(client.get(f"/cars/{car}/panel").text).words
    assert "letters of 1 in are common practice, no source" in words
    assert "Name of the row: common practice, no source" in words


def test_each_valve_has_its_row(client, record, car):
    record(lambda db: with_valves(db, car))
    drawn = written(client, f"/cars/{car}/panel.svg")
    assert drawn.count("PRD 75 PSIG") == 2


def test_what_was_seen_is_compared_in_words(client, record, car):
    assert "What is painted on the car is not recorded" in client.get(f"/cars/{car}/panel").text
    seen = NewStencil(marked_on=date(2018, 3, 20), visual="2028-03", thickness="2028")
    record(lambda db: cars.mark_stencil(db, car, seen, STAMP))
    words = Page(client.get(f"/cars/{car}/panel").text).words
    assert "Visual inspection: 2028-03 was seen, as it should read" in words
    assert "To paint. Thickness: 2028 was seen, later than it should read: 2023" in words
    assert "5 items differ" in words


def test_the_station_code_of_the_facility_is_drawn(client, record, car):
    shop = NewFacility("Quillon Tank Lines", "Shop A", "1 Invented Lane", "ZQ01")
    record(lambda db: facilities.record(db, shop, STAMP))
    assert "ZQ01" in written(client, f"/cars/{car}/panel.svg")


def test_the_sheet_names_the_car_and_lists_what_differs(client, record, car):
    seen = NewStencil(marked_on=date(2018, 3, 20), thickness="2028")
    record(lambda db: cars.mark_stencil(db, car, seen, STAMP))
    answer = client.get(f"/cars/{car}/panel.pdf")
    assert answer.headers["content-disposition"].startswith('attachment; filename="panel-ZQKX-')
    words = " ".join(
        " ".join(page.extract_text() for page in PdfReader(BytesIO(answer.content)).pages).split()
    )
    assert "Qualification panel of ZQKX 104512" in words
    assert "Thickness: 2028 was seen, later than it should read: 2023" in words


def test_a_tank_whose_dates_are_stamped_has_no_panel(client, record):
    details = CarDetails("DOT 106A500X", built_on=date(2021, 6, 1))
    new = NewCar(NewName("ZQKX", 7), NewOwnership("Quillon Tank Lines"), details)
    key = record(lambda db: cars.add_car(db, new, STAMP).id)
    assert "No panel is drawn for a car of this class" in client.get(f"/cars/{key}/panel").text
    assert client.get(f"/cars/{key}/panel.svg").status_code == 404
    assert client.get(f"/cars/{key}/panel.pdf").status_code == 404


def test_the_facts_of_a_car_lead_there(client, car):
    assert f'href="/cars/{car}/panel"' in client.get(f"/cars/{car}").text

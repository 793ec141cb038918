"""The page of the qualification panel: drawn, the same in words, against what was seen, and as files."""

from dataclasses import replace
from datetime import UTC, date, datetime
from io import BytesIO
from xml.etree import ElementTree

import pytest
from pypdf import PdfReader

from app.actions import cars, events, facilities
from app.actions.changes import CarDetails, NewCar, NewEvent, NewName, NewOwnership, NewStencil
from app.actions.facilities import NewFacility
from app.actions.stamp import Stamp
from app.store import events as rows
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


AFTER = Stamp("Bo Quist", datetime(2026, 11, 23, 10, 15, tzinfo=UTC), date(2026, 11, 23))
THEN = "as_of=2026-11-21&known=2026-11-21"


def changed_since(db) -> int:
    """The acid car as it was told on 2026-11-20; since then its inspection, its stencil and the shop were mended."""
    key = acid_car(db)
    seen = cars.mark_stencil(db, key, NewStencil(date(2018, 3, 20), visual="2028-03"), STAMP)
    shop = NewFacility("Quillon Tank Lines", "Shop A", "1 Invented Lane", "ZQ01")
    facility = facilities.record(db, shop, STAMP)
    [first] = [each.row for each in rows.history(db, key) if each.row.facility == "Shop A"]
    kept = NewEvent(date(2019, 3, 15), ("visual", "structural_integrity"), facility="Shop A")
    events.correct_event(db, first.id, kept, AFTER)
    cars.correct_fact(db, "stencil", seen.id, NewStencil(date(2018, 3, 20), visual="2029"), AFTER)
    facilities.correct(db, facility.id, replace(shop, station_code="ZQ99"), AFTER)
    return key


def test_the_panel_is_drawn_as_it_was_known_and_links_stay_there(client, record):
    key = record(changed_since)
    then = client.get(f"/cars/{key}/panel?{THEN}").text
    words = Page(then).words
    assert "As of 2026-11-21, as known at the end of 2026-11-21 (UTC)." in words
    assert "Visual inspection: 2028-03 was seen, as it should read" in words
    drawn = written(client, f"/cars/{key}/panel.svg?{THEN}")
    at = drawn.index("TANK QUALIFIED")
    assert drawn[at + 2 : at + 4] == ["03-2018", "03-2028"]
    assert ("ZQ01" in drawn, "ZQ99" in drawn) == (True, False)
    for address in (
        f"/cars/{key}?{THEN}",
        f"/cars/{key}/panel.svg?{THEN}",
        f"panel?{THEN}&form=year",
    ):
        assert address.replace("&", "&amp;") in then, address
    assert "/facts/stencil" not in then
    now = written(client, f"/cars/{key}/panel.svg")
    assert ("ZQ01" in now, "ZQ99" in now) == (False, True)
    assert "03-2029" in now
    assert "2029 was seen" in Page(client.get(f"/cars/{key}/panel").text).words


def test_a_sheet_of_then_says_so_and_has_a_name_of_its_own(client, record):
    key = record(changed_since)
    answer = client.get(f"/cars/{key}/panel.pdf?{THEN}")
    assert "2026-11-21-as-known-2026-11-21.pdf" in answer.headers["content-disposition"]
    words = " ".join(PdfReader(BytesIO(answer.content)).pages[0].extract_text().split())
    assert "as of 2026-11-21, as known at the end of 2026-11-21 (UTC)" in words


def test_the_car_as_it_was_leads_to_its_panel_as_it_was(client, car):
    page = client.get(f"/cars/{car}?as_of=2026-11-21").text
    assert f'href="/cars/{car}/panel?as_of=2026-11-21"' in page

"""Home: counts that are links to as many rows, what needs action first, and a beginning when empty."""

import re
from html import unescape

import pytest
from fastapi.testclient import TestClient

from tests.fixtures.fleet import Listed
from tests.pages.reading import Page

# Each number of the panel, as a link to the list it counts.
COUNTS = ["overdue", "due now", "within 30 days", "within 90 days", "within 180 days", "unknown"]


@pytest.mark.parametrize("label", COUNTS)
def test_a_count_is_a_link_to_as_many_rows(listed: Listed, label: str) -> None:
    found = re.search(
        rf'href="([^"]+)" aria-label="[^"]* {label}">([\d\s]+)<', listed.client.get("/").text
    )
    assert found
    told = Page(listed.client.get(unescape(found[1])).text)
    assert len(told.rows) == int(found[2])


@pytest.mark.parametrize(
    ("standing", "cars"), [("in service", 5), ("out of service", 0), ("stored", 1)]
)
def test_the_fleet_is_counted_by_standing(listed: Listed, standing: str, cars: int) -> None:
    found = re.search(
        rf'href="([^"]+)" aria-label="(\d+) cars? {standing}"', listed.client.get("/").text
    )
    assert found
    assert int(found[2]) == cars
    assert len(Page(listed.client.get(found[1]).text).rows) == cars


def test_what_is_overdue_comes_first_each_with_a_reason(listed: Listed) -> None:
    rows = Page(listed.client.get("/").text).rows
    # Visual inspection: ten years from built. Of the others the first air brake test is overdue, due 8 years
    # after built: 49 CFR 232.305(d), 2015 edition.
    assert {row[0][:9] for row in rows} == {"ZQKX 1001", "ZQKX 1002", "ZQAX 2000"}
    assert {row[1] for row in rows if "Air brake" in row[0]} == {"overdue mechanical"}
    visual = next(row for row in rows if row[0] == "ZQKX 1001 Visual inspection")
    assert visual[1] == "overdue"
    assert "at least every 10 years" in visual[3]
    assert visual[3].endswith("from when it was built: nothing later on record")


def test_a_search_in_the_masthead_finds_a_car(listed: Listed) -> None:
    home = listed.client.get("/").text
    assert '<form class="find" action="/find"' in home
    assert 'name="q"' in home
    assert "ZQBX 3" in Page(listed.client.get("/find?q=ZQBX+3").text).words
    assert [row[0] for row in Page(listed.client.get("/find?q=ZQBX").text).rows] == ["ZQBX 3"]


def test_every_page_says_that_its_dates_are_an_aid(listed: Listed) -> None:
    for path in ("/", "/fleet", "/due", "/overdue", "/imports", "/ladings", "/about"):
        told = Page(listed.client.get(path).text).words
        assert "an aid to calculation, not an authority" in told


def test_an_empty_book_leads_to_the_files_and_their_columns(client: TestClient) -> None:
    home = client.get("/").text
    assert "An empty book" in home
    for kind in ("cars", "events", "components"):
        assert f'href="/imports?kind={kind}"' in home
        assert client.get(f"/imports/templates/{kind}.csv").status_code == 200


def test_about_leads_to_how_the_api_is_called(listed: Listed) -> None:
    assert '<a href="/api/v1/docs">' in listed.client.get("/about").text
    assert listed.client.get("/api/v1/docs").status_code == 200


def test_about_leads_to_the_rulebook_and_to_what_is_open(listed: Listed) -> None:
    about = listed.client.get("/about").text
    assert 'href="/rulebook"' in about
    assert 'href="/rulebook/questions"' in about

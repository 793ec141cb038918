"""The due list and the overdue list: what they hold, in which words, and as files."""

import re
from datetime import date
from html import unescape
from urllib.parse import urlencode

import pytest
from fastapi.testclient import TestClient

from app.actions import events
from app.actions.changes import NewEvent
from tests.fixtures.fleet import Listed
from tests.fixtures.web import Queries, Record
from tests.pages.fleet_cast import MARROW, QUILLON, STAMP, fleet, many
from tests.pages.reading import Page, csv_rows, xlsx_rows


def asked(client: TestClient, path: str, **wanted: str) -> Page:
    answer = client.get(f"{path}?{urlencode(wanted)}")
    assert answer.status_code == 200, answer.text
    return Page(answer.text)


def cars_of(page: Page) -> list[str]:
    return [row[0] for row in page.rows]


# Each filter beside item=visual, one row a car; then the cars, soonest first, and the words.
FILTERS = [
    ({}, ["ZQKX 1001", "ZQKX 1002", "ZQAX 2000", "ZQAX 2001"], "Every dated item on 2026-11-25"),
    ({"status": "overdue"}, ["ZQKX 1001"], "Overdue on 2026-11-25"),
    ({"status": "soon"}, ["ZQKX 1002", "ZQAX 2000"], "Due soon on 2026-11-25"),
    ({"status": "in_date"}, ["ZQAX 2001"], "In date on 2026-11-25"),
    ({"status": "unknown"}, ["ZQBX 3"], "Unknown on 2026-11-25"),
    ({"region": "Gulf"}, ["ZQKX 1001", "ZQKX 1002"], "region Gulf"),
    ({"q": "zqax 200"}, ["ZQAX 2000", "ZQAX 2001"], "mark and number beginning ZQAX 200"),
    ({"q": "1002"}, ["ZQKX 1002"], "mark and number beginning 1002"),
    ({"from": "2026-11-25", "to": "2027-05-24"}, ["ZQKX 1002", "ZQAX 2000"], "due until 2027-05-24"),
    # A month later the one of today is overdue as well.
    ({"on": "2026-12-25", "status": "overdue"}, ["ZQKX 1001", "ZQKX 1002"], "Overdue on 2026-12-25"),
    ({"cars": "all", "status": "overdue"}, ["ZQAX 2002", "ZQBX 4", "ZQKX 1001"], "in service or not"),
]  # fmt: skip


@pytest.mark.parametrize(("wanted", "cars", "words"), FILTERS)
def test_a_filter_keeps_its_rows_and_tells_itself_in_words(
    listed: Listed,
    wanted: dict[str, str],
    cars: list[str],
    words: str,
) -> None:
    page = asked(listed.client, "/due", item="visual", **wanted)
    assert cars_of(page) == cars
    assert words in page.words


def test_an_owner_is_chosen_by_key_and_told_by_name(listed: Listed) -> None:
    page = asked(listed.client, "/due", item="visual")
    assert MARROW in page.words
    key = next(key for key in ("1", "2", "3") if owner_told(listed.client, key) == MARROW)
    assert cars_of(asked(listed.client, "/due", item="visual", owner=key)) == [
        "ZQAX 2000",
        "ZQAX 2001",
    ]


def owner_told(client: TestClient, key: str) -> str | None:
    answer = client.get(f"/due?owner={key}")
    told = Page(answer.text).words
    return next((name for name in (MARROW, QUILLON) if f"owner {name}" in told), None)


def test_the_overdue_list_holds_only_what_is_past_or_owed(listed: Listed) -> None:
    page = asked(listed.client, "/overdue", item="visual")
    assert {row[0] for row in page.rows} == {"ZQKX 1001"}
    assert {row[2] for row in page.rows} == {"overdue"}
    assert "Due now or overdue on 2026-11-25, visual, cars in service." in page.words


def test_a_mechanical_item_is_told_apart(listed: Listed) -> None:
    """49 CFR 232.305(d), 2015 edition: the first air brake test within 8 years of built, 2016-11-24."""
    [row] = asked(listed.client, "/overdue", item="air_brake", q="ZQKX 1001").rows
    assert row[2] == "overdue mechanical"
    assert row[3].startswith("2024-11-24")


def test_a_row_shows_date_days_basis_interval_citation_and_owner(listed: Listed) -> None:
    [row] = asked(listed.client, "/overdue", item="visual").rows
    assert row[:4] == ["ZQKX 1001", "Visual inspection", "overdue", "2026-11-24 1 day past"]
    assert row[4] == (
        "2016-11-24 + 120 months from when it was built: nothing later on record 49 CFR 180.509(d)"
    )
    assert row[5] == f"{QUILLON} Gulf"


def test_what_counts_from_a_test_says_nothing_of_when_the_car_was_built(
    client: TestClient, record: Record
) -> None:
    tested = NewEvent(date(2020, 3, 2), ("visual",), facility="Made-up Shop")
    record(lambda db: events.record_event(db, fleet(db)["overdue"], tested, STAMP))
    [row] = asked(client, "/due", item="visual", q="ZQKX 1001").rows
    assert row[4] == "2020-03-02 + 120 months 49 CFR 180.509(d)"


def test_totals_count_every_status_and_lead_to_it(listed: Listed) -> None:
    answer = listed.client.get("/due?item=visual")
    page = Page(answer.text)
    assert "4 items , soonest first" in page.words
    for told in ("overdue 1", "soon 2", "in date 1", "unknown 1"):
        assert told in page.words
    assert 'href="/due?item=visual&amp;status=overdue"' in answer.text


def test_totals_of_a_large_fleet_come_after_the_page(
    listed: Listed, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("app.pages.due.COUNTED_AT_ONCE", 0)
    page = listed.client.get("/overdue?item=visual").text
    assert 'hx-get="/overdue/totals?item=visual"' in page
    assert "overdue 1" in Page(listed.client.get("/overdue/totals?item=visual").text).words
    # Without JavaScript the link asks for the same page with its totals.
    assert 'href="/overdue?item=visual&amp;totals=yes"' in page
    assert "overdue 1" in Page(listed.client.get("/overdue?item=visual&totals=yes").text).words


def test_reasons_unfold_with_their_citation(listed: Listed) -> None:
    part = listed.client.get(
        f"/due/{listed.keys['overdue']}/visual/reasons", headers={"HX-Request": "true"}
    )
    assert "<html" not in part.text
    told = Page(part.text).words
    assert "at least every 10 years" in told
    assert "49 CFR 180.509(d)" in told
    assert "rule text verified" in told


def test_reasons_of_an_item_that_is_no_more_are_told(listed: Listed) -> None:
    assert (
        listed.client.get(f"/due/{listed.keys['overdue']}/tank_retest/reasons").status_code == 404
    )


@pytest.mark.parametrize("path", ["/due", "/overdue"])
@pytest.mark.parametrize("wanted", ["", "?item=visual", "?q=ZQKX&cars=all"])
def test_files_hold_exactly_the_rows_of_the_list(listed: Listed, path: str, wanted: str) -> None:
    shown = [
        (
            row[0],
            row[1].lower().removesuffix(" inspection"),
            row[2].removesuffix(" mechanical"),
            row[3][:10],
        )
        for row in Page(listed.client.get(f"{path}{wanted}").text).rows
    ]
    as_csv = csv_rows(listed.client.get(f"{path}.csv{wanted}").content)
    assert shown == [
        (
            f"{row['mark']} {row['number']}",
            row["item"].replace("_", " "),
            row["status"].replace("_", " "),
            row["due_on"],
        )
        for row in as_csv
    ]
    assert xlsx_rows(listed.client.get(f"{path}.xlsx{wanted}").content) == as_csv


def test_a_file_gives_each_row_its_reasons(listed: Listed) -> None:
    [row] = csv_rows(listed.client.get("/overdue.csv?item=visual").content)
    assert "at least every 10 years (49 CFR 180.509(d))" in row["reasons"]
    assert row["days_left"] == "-1"
    assert row["confidence"] == "verified"


def test_pages_follow_each_other_without_a_row_lost_or_twice(
    client: TestClient, record: Record[None], monkeypatch: pytest.MonkeyPatch
) -> None:
    record(lambda db: many(db, 23))
    monkeypatch.setattr("app.pages.due.PAGE", 10)
    seen: list[str] = []
    address: str | None = "/overdue?item=visual"
    while address:
        text = client.get(address).text
        seen += cars_of(Page(text))
        address = _link(text, "next")
    assert seen == [f"ZQKX {number}" for number in range(1, 24)]


def test_the_previous_page_is_the_one_before(
    client: TestClient, record: Record[None], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("app.pages.due.PAGE", 10)
    record(lambda db: many(db, 23))
    first = client.get("/overdue?item=visual").text
    second = client.get(_link(first, "next") or "").text
    assert cars_of(Page(client.get(_link(second, "prev") or "").text)) == cars_of(Page(first))
    assert _link(first, "prev") is None


def _link(text: str, rel: str) -> str | None:
    found = re.search(rf'href="([^"]+)" rel="{rel}"', text)
    return unescape(found[1]) if found else None


# What is typed, and what is said of it.
WRONG = [
    ({"from": "2026"}, "the year alone does not do here"),
    ({"to": "1/2/2026"}, "2026-01-02 or 2026-02-01"),  # may be read two ways
    ({"q": "ZQKX 12/34 shop"}, "is no mark and number"),
    ({"owner": "99"}, "none of the choices"),
    ({"item": "paint"}, "none of the choices"),
    ({"as_of": "2026"}, "the year alone does not do here"),
    ({"known": "2026-11-26"}, "has not come yet"),
    ({"known": "noon"}, "want a day YYYY-MM-DD, or a minute YYYY-MM-DDTHH:MM"),
]


@pytest.mark.parametrize(("wanted", "said"), WRONG)
def test_a_wrong_filter_is_told_kept_and_lists_nothing(
    listed: Listed, wanted: dict[str, str], said: str
) -> None:
    answer = listed.client.get(f"/due?{urlencode(wanted)}")
    page = Page(answer.text)
    assert answer.status_code == 422
    assert said in page.words
    assert not page.rows
    assert "Nothing is listed until" in page.words
    [typed] = wanted.values()
    assert f'value="{typed}"' in answer.text or next(iter(wanted)) in ("owner", "item")
    assert listed.client.get(f"/due.csv?{urlencode(wanted)}").status_code == 422


def test_a_damaged_page_address_is_told(listed: Listed) -> None:
    answer = listed.client.get("/due?after=nonsense")
    assert answer.status_code == 422
    assert "Open the list anew" in answer.text


def test_an_empty_list_says_so_and_leads_on(client: TestClient) -> None:
    page = asked(client, "/overdue")
    assert "Nothing to show" in page.words


@pytest.mark.parametrize("path", ["/due", "/overdue", "/fleet", "/"])
def test_a_list_asks_as_many_questions_for_many_cars_as_for_few(
    client: TestClient, record: Record[None], queries: Queries, path: str
) -> None:
    record(lambda db: many(db, 3))
    client.get(path)
    with queries() as few:
        client.get(path)
    record(lambda db: many(db, 25, first=4))
    client.get(path)
    with queries() as more:
        client.get(path)
    assert len(more) == len(few)
    # Home also reads the facts behind the reasons that it shows.
    assert len(few) <= 30


@pytest.mark.parametrize("path", ["/due", "/overdue", "/fleet"])
def test_a_list_too_long_for_a_sheet_says_to_take_it_as_csv(
    listed: Listed, path: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("app.files.tables_out.MOST_ROWS", 1)
    answer = listed.client.get(f"{path}.xlsx")
    assert answer.status_code == 422
    assert "Take it as CSV" in Page(answer.text).words
    assert len(csv_rows(listed.client.get(f"{path}.csv").content)) > 1

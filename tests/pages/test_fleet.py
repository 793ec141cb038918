"""The fleet register: found, filtered, told in words, taken away."""

from datetime import date
from urllib.parse import urlencode

import pytest
from fastapi.testclient import TestClient

from tests.fixtures.fleet import Listed
from tests.fixtures.web import Record
from tests.pages.fleet_cast import MARROW, add, fleet, many
from tests.pages.reading import Page, csv_rows, xlsx_rows


def shown(client: TestClient, **wanted: str) -> Page:
    answer = client.get(f"/fleet?{urlencode(wanted)}")
    assert answer.status_code == 200
    return Page(answer.text)


# The filter, the cars in their order, and the words.
FILTERS = [
    (
        {},
        ["ZQAX 2000", "ZQAX 2001", "ZQAX 2002", "ZQBX 3", "ZQKX 1001", "ZQKX 1002"],
        "Cars in the register.",
    ),
    ({"q": "ZQKX"}, ["ZQKX 1001", "ZQKX 1002"], "mark and number beginning ZQKX"),
    ({"q": "zqkx-001002"}, ["ZQKX 1002"], "mark and number beginning ZQKX 1002"),
    ({"q": "200"}, ["ZQAX 2000", "ZQAX 2001", "ZQAX 2002"], "mark and number beginning 200"),
    ({"standing": "stored"}, ["ZQAX 2002"], "Cars stored."),
    ({"standing": "sold"}, ["ZQBX 4"], "Cars sold."),
    ({"region": "Gulf"}, ["ZQKX 1001", "ZQKX 1002"], "region Gulf"),
    ({"class": "105"}, ["ZQAX 2001"], "class 105"),
    ({"q": "ZQBX", "standing": "all"}, ["ZQBX 3", "ZQBX 4"], "Every car ever registered"),
    ({"lading": "Vegetable oil", "region": "Gulf"}, ["ZQKX 1001", "ZQKX 1002"], "lading Vegetable"),
]


@pytest.mark.parametrize(("wanted", "cars", "words"), FILTERS)
def test_a_filter_keeps_its_cars_and_tells_itself_in_words(
    listed: Listed,
    wanted: dict[str, str],
    cars: list[str],
    words: str,
) -> None:
    page = shown(listed.client, **wanted)
    assert [row[0] for row in page.rows] == cars
    assert words in page.words
    assert f"{len(cars)} car" in page.words


def test_a_row_leads_to_the_car_and_shows_what_falls_due_first(listed: Listed) -> None:
    [row] = shown(listed.client, q="ZQKX 1001").rows
    # The first air brake test is due 8 years after it was built: 49 CFR 232.305(d), 2015 edition.
    assert "overdue 2024-11-24 air brake, mechanical" in row[-1]
    assert f'href="/cars/{listed.keys["overdue"]}"' in listed.client.get("/fleet?q=ZQKX+1001").text


def test_an_owner_that_is_new_can_be_chosen_at_once(
    client: TestClient, record: Record[int]
) -> None:
    record(fleet)
    assert "Late Comer Leasing" not in client.get("/fleet").text
    record(lambda db: add(db, "ZQCX", 9, date(2020, 1, 1), "Late Comer Leasing"))
    assert ">Late Comer Leasing</option>" in client.get("/fleet").text


@pytest.mark.parametrize("wanted", ["", "?q=ZQAX", "?standing=all"])
def test_files_hold_exactly_the_cars_of_the_list(listed: Listed, wanted: str) -> None:
    as_csv = csv_rows(listed.client.get(f"/fleet.csv{wanted}").content)
    rows = Page(listed.client.get(f"/fleet{wanted}").text).rows
    assert [row[0] for row in rows] == [f"{row['mark']} {row['number']}" for row in as_csv]
    assert [row[5] for row in rows] == [row["built_on"] or "–" for row in as_csv]
    assert xlsx_rows(listed.client.get(f"/fleet.xlsx{wanted}").content) == as_csv


def test_a_file_holds_more_than_a_page(
    client: TestClient, record: Record[None], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("app.pages.fleet.PAGE", 5)
    monkeypatch.setattr("app.pages.fleet.EXPORT_PAGE", 4)
    record(lambda db: many(db, 11))
    assert len(Page(client.get("/fleet").text).rows) == 5
    assert len(csv_rows(client.get("/fleet.csv").content)) == 11


def test_a_formula_in_a_name_is_no_formula_in_a_file(
    client: TestClient, record: Record[int]
) -> None:
    record(lambda db: add(db, "ZQKX", 1, date(2020, 1, 1), '=HYPERLINK("http://x.example")'))
    [row] = csv_rows(client.get("/fleet.csv").content)
    assert row["owner"].startswith("'=")


def test_an_empty_register_leads_to_the_files(client: TestClient) -> None:
    text = client.get("/fleet").text
    assert "No car yet" in text
    assert 'href="/imports"' in text


def test_a_search_that_finds_nothing_says_where_else_to_look(listed: Listed) -> None:
    assert "No such car" in listed.client.get("/fleet?q=ZQZZ").text


@pytest.mark.parametrize(
    ("typed", "leads_to"),
    [
        ("ZQKX 1001", "car"),
        (" zqkx-001001 ", "car"),
        ("ZQKX 100", "/fleet?q=ZQKX+100"),  # only how two of them begin
        ("1001", "/fleet?q=1001"),
        ("ZQBX 4", "/fleet?q=ZQBX+4"),  # sold: its name may be another's by now
        ("the blue one", "/fleet?q=the+blue+one"),
        ("", "/fleet?q="),
    ],
)
def test_the_whole_name_of_a_car_leads_to_it_and_its_beginning_to_the_list(
    listed: Listed, typed: str, leads_to: str
) -> None:
    answer = listed.client.get("/find", params={"q": typed}, follow_redirects=False)
    car = f"/cars/{listed.keys['overdue']}"
    assert answer.headers["Location"] == (car if leads_to == "car" else leads_to)


def test_a_search_that_cannot_be_read_is_kept_and_told(listed: Listed) -> None:
    answer = listed.client.get("/fleet?q=the+blue+one")
    assert answer.status_code == 422
    assert "is no mark and number" in answer.text
    assert 'value="the blue one"' in answer.text
    assert not Page(answer.text).rows


def test_words_that_people_typed_are_text_and_no_markup(
    client: TestClient, record: Record[int]
) -> None:
    record(lambda db: add(db, "ZQKX", 1, date(2020, 1, 1), "<b>Bold</b> Lines", "<script>"))
    text = client.get("/fleet").text
    assert "<b>Bold</b>" not in text
    assert "&lt;b&gt;Bold" in text
    assert MARROW not in text


UNKNOWN = [
    # What was asked, and the filter that was meant, as its field is called in the address.
    ("/fleet", "search=ZQKX", "q"),
    ("/fleet", "commodity=Acid", "lading"),
    ("/fleet", "stending=sold", "standing"),
    ("/due", "due_to=2026-12-31", "to"),
    ("/overdue", "known_at=2026-12-31", "known"),
    ("/record", "search=ZQKX", "q"),
    ("/fleet/trial", "search=ZQKX", "q"),
    ("/fleet", "colour=black", None),
]


@pytest.mark.parametrize(("path", "asked", "meant"), UNKNOWN)
def test_a_name_that_is_no_filter_is_told_and_nothing_is_listed(
    listed: Listed, path: str, asked: str, meant: str | None
) -> None:
    answer = listed.client.get(f"{path}?region=Gulf&{asked}")
    assert answer.status_code == 422
    page = Page(answer.text)
    assert f"“{asked.split('=')[0]}” is no filter of this list" in page.words
    assert (f"“{meant}”" in page.words) is (meant is not None)
    assert not page.rows


@pytest.mark.parametrize("path", ["/fleet", "/due"])
def test_beside_a_name_that_is_no_filter_the_others_are_kept(listed: Listed, path: str) -> None:
    answer = listed.client.get(f"{path}?region=Gulf&search=ZQKX")
    assert '<option value="Gulf" selected>' in answer.text


@pytest.mark.parametrize(
    "path",
    ["/fleet.csv", "/fleet.xlsx", "/due.csv", "/overdue.xlsx", "/fleet/trial.csv", "/due/totals"],
)
def test_no_file_is_made_for_a_name_that_is_no_filter(listed: Listed, path: str) -> None:
    answer = listed.client.get(f"{path}?search=ZQKX&lading.commodity=Acid")
    assert answer.status_code == 422
    assert "is no filter of this list" in Page(answer.text).words

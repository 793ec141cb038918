"""Files in, on pages: looked through with nothing stored, said yes to, watched, taken back."""

import io
import re
from collections.abc import Callable

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from openpyxl import Workbook

from app.jobs.doing import Doer
from tests.pages.reading import Page, csv_rows

CARS = """Mark;Number;Specification;Built on;Owner;Commodity
ZQKX;104512;DOT 111A100W1;2008-03-01;Quillon Tank Lines;Hydrochloric acid
zqkx;00104513;DOT 105J300W;2019-02;Quillon Tank Lines;Ethanol
"""
WRONG = """mark,number,specification,built_on
ZQKX,104512,DOT 111A100W1,1/2/2019
ZQKX,104513,DOT 999Z,2019-02-01
ZQKX,104514,DOT 105J300W,2019-02-01
"""
Work = Callable[[str], None]


@pytest.fixture
def work(web_app: FastAPI) -> Work:
    """Does the job whose page this address is, as the worker beside the server would."""

    def done(address: str) -> None:
        with Doer(web_app.state.engine, "UTC") as doer:
            doer.do(address.rpartition("/")[2])

    return done


def hand_in(
    client: TestClient, content: str | bytes, kind: str = "cars", name: str = "f.csv"
) -> Page:
    """The page that a file leads to; `at` is its address."""
    file = {"file": (name, content.encode() if isinstance(content, str) else content)}
    answer = client.post("/imports", data={"kind": kind}, files=file)
    page = Page(answer.text)
    page.at = answer.url.path  # type: ignore[attr-defined]
    page.status = answer.status_code  # type: ignore[attr-defined]
    return page


def bring_in(client: TestClient, work: Work, content: str, kind: str = "cars") -> str:
    """Hand in, say yes, have it done; gives the address of the job."""
    at = hand_in(client, content, kind).at  # type: ignore[attr-defined]
    job = client.post(f"{at}/confirm").url.path
    work(job)
    return job


def test_a_file_is_looked_through_and_nothing_is_stored(client: TestClient) -> None:
    page = hand_in(client, CARS)
    assert "Ready to come in" in page.words
    assert "Rows of cars 2 Would be added 2 Would be changed 0" in page.words
    assert "1 company not known before: Quillon Tank Lines" in page.words
    assert "No car yet" in client.get("/fleet").text


def test_a_yes_stores_it_and_works_out_the_due_dates(client: TestClient, work: Work) -> None:
    job = bring_in(client, work, CARS)
    told = Page(client.get(job).text).words
    assert "f.csv is in the record" in told
    assert "Added 2" in told
    assert [row[0] for row in Page(client.get("/fleet").text).rows] == [
        "ZQKX 104512",
        "ZQKX 104513",
    ]
    assert "2018-03-01" in client.get("/overdue").text  # visual: ten years after built
    [row] = Page(client.get("/imports").text).rows[-1:]
    assert row[0] == "f.csv"
    assert row[-1].endswith("Test Planner")


def test_every_fault_is_listed_with_its_place_and_there_is_no_yes(client: TestClient) -> None:
    page = hand_in(client, WRONG)
    assert "2 cells cannot be taken" in page.words
    assert [row[:3] for row in page.rows] == [
        ["2", "built_on", "1/2/2019"],
        ["3", "specification", "DOT 999Z"],
    ]
    assert "2019-01-02 or 2019-02-01" in page.rows[0][3]
    text = client.get(page.at).text  # type: ignore[attr-defined]
    assert "/confirm" not in text
    assert csv_rows(client.get(f"{page.at}/faults.csv").content)[1]["found"] == "DOT 999Z"  # type: ignore[attr-defined]


def test_a_yes_to_a_wrong_file_is_told_and_stores_nothing(client: TestClient, work: Work) -> None:
    told = Page(client.get(bring_in(client, work, WRONG)).text).words
    assert "Nothing was recorded" in told
    assert "row 2, built_on" in told
    assert "No car yet" in client.get("/fleet").text


def test_a_yes_said_twice_is_one_job(client: TestClient, work: Work) -> None:
    at = hand_in(client, CARS).at  # type: ignore[attr-defined]
    first = client.post(f"{at}/confirm").url.path
    assert client.post(f"{at}/confirm").url.path == first
    work(first)
    assert client.post(f"{at}/confirm").url.path == first
    assert len(Page(client.get("/imports").text).rows) - columns_listed() == 1


def columns_listed() -> int:
    from app.files.columns import COLUMNS

    return sum(len(columns) for columns in COLUMNS.values())


def test_the_same_file_again_brings_nothing_and_says_when_it_came(
    client: TestClient, work: Work
) -> None:
    bring_in(client, work, CARS)
    page = hand_in(client, CARS)
    assert "Nothing new in this file" in page.words
    assert "This very file was brought in before" in page.words
    assert "Already in the record 2" in page.words


def test_what_would_change_on_a_known_car_is_shown(client: TestClient, work: Work) -> None:
    bring_in(client, work, CARS)
    page = hand_in(client, CARS.replace("Ethanol", "Methanol"))
    assert ["3", "ZQKX 104513", "commodity", "Ethanol", "Methanol"] in page.rows


def test_an_import_is_taken_back_whole(client: TestClient, work: Work) -> None:
    bring_in(client, work, CARS)
    asked = client.get("/imports/1/take-back").text
    assert "2 rows that it added" in asked
    job = client.post("/imports/1/take-back").url.path
    assert client.post("/imports/1/take-back").url.path == job
    work(job)
    assert "Taken back" in client.get(job).text
    assert "Taken back" in client.get("/imports/1").text
    assert not Page(client.get("/fleet").text).rows
    # A form that is sent once more leads to what became of the import.
    assert client.post("/imports/1/take-back").url.path == "/imports/1"


def test_a_list_of_ladings_cannot_be_taken_back(client: TestClient, work: Work) -> None:
    bring_in(client, work, "name,un\nEthanol,UN1170\n", "ladings")
    assert "Ethanol" in client.get("/ladings").text
    assert "take-back" not in client.get("/imports/1").text


def test_a_long_file_is_looked_through_by_a_job(
    client: TestClient, work: Work, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("app.pages.imports.LOOKED_THROUGH_AT_ONCE", 1)
    job = hand_in(client, WRONG).at  # type: ignore[attr-defined]
    assert job.startswith("/jobs/")
    work(job)
    text = client.get(job).text
    assert "2 cells cannot be taken" in text
    address = re.search(r'href="(/imports/waiting/[^"]+)"', text)
    assert address
    page = Page(client.get(address[1]).text)
    assert [row[:2] for row in page.rows] == [["2", "built_on"], ["3", "specification"]]
    faults = re.search(r'href="([^"]+faults\.csv[^"]*)"', client.get(address[1]).text)
    assert faults
    assert len(csv_rows(client.get(faults[1]).content)) == 2


def test_a_workbook_comes_in_as_well(client: TestClient) -> None:
    book = Workbook()
    book.active.append(["Mark", "Number", "Specification"])
    book.active.append(["ZQKX", 104512, "DOT 111A100W1"])
    held = io.BytesIO()
    book.save(held)
    page = hand_in(client, held.getvalue(), name="fleet.xlsx")
    assert "Would be added 1" in page.words


# What was handed in, and what is said of it.
UNREADABLE = [
    (b"", "is empty"),
    (b"%PDF-1.7 ...", "is a PDF"),
    (b"\x89PNG\r\n\x1a\n....", "is a picture"),
    (b"\xd0\xcf\x11\xe0....", "is an old .xls workbook"),
    (b"PK\x03\x04 not really a workbook", "is a broken workbook"),
]


@pytest.mark.parametrize(("content", "said"), UNREADABLE)
def test_a_file_that_cannot_be_read_is_told_and_not_kept(
    client: TestClient, content: bytes, said: str
) -> None:
    page = hand_in(client, content, name="letter.csv")
    assert page.status == 422  # type: ignore[attr-defined]
    assert "Nothing was taken in" in page.words
    assert said in page.words


def test_a_form_without_file_or_kind_says_what_is_missing(client: TestClient) -> None:
    answer = client.post("/imports", data={"kind": "cars"})
    assert answer.status_code == 422
    assert "Choose a file." in answer.text
    assert re.search(r'value="cars" required checked', answer.text)
    file = {"file": ("f.csv", b"mark\n")}
    assert "Choose what the file holds." in client.post("/imports", files=file).text


def test_a_file_can_be_forgotten(client: TestClient) -> None:
    at = hand_in(client, CARS).at  # type: ignore[attr-defined]
    assert client.post(f"{at}/drop").url.path == "/imports"
    answer = client.get(at)
    assert answer.status_code == 404
    assert "Hand it in again" in answer.text
    assert client.post(f"{at}/confirm").status_code == 404


@pytest.mark.parametrize("kind", ["cars", "components", "events", "ladings", "visits"])
def test_each_kind_of_file_has_its_columns_on_the_page_and_as_a_file(
    client: TestClient, kind: str
) -> None:
    columns = csv_rows(client.get(f"/imports/templates/{kind}-columns.csv").content)
    page = client.get("/imports").text
    for column in columns:
        assert f"<code>{column['column']}</code>" in page
    header = client.get(f"/imports/templates/{kind}.csv").text.strip().split(",")
    assert header == [column["column"] for column in columns]


def test_an_unknown_kind_import_or_job_is_told(client: TestClient) -> None:
    for path in ("/imports/templates/paint.csv", "/imports/7", "/jobs/none", "/imports/waiting/x"):
        assert client.get(path).status_code == 404


def test_home_shows_what_came_in_and_what_is_being_worked_on(
    client: TestClient, work: Work
) -> None:
    bring_in(client, work, CARS)
    at = hand_in(client, CARS.replace("Ethanol", "Methanol")).at  # type: ignore[attr-defined]
    client.post(f"{at}/confirm")
    told = Page(client.get("/").text).words
    assert "Brought in last f.csv" in told
    assert "Being worked on Bringing a file in , waiting" in told

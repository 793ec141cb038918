"""Audits on their pages: a draw with its preview, a checklist, findings, the summary and what it was drawn from."""

import io
import re
from hashlib import sha256

import pytest
from openpyxl import load_workbook

from tests.actions.audits_cast import EVERY, drawn_audit, fleet_of
from tests.pages.fleet_cast import TODAY
from tests.pages.reading import Page, csv_rows

DRAW = {"of": "fleet", "title": "Spring audit", "size": "3", "seed": "17", "points": EVERY}


@pytest.fixture
def fleet(record):
    return record(lambda db: fleet_of(db, 8))


@pytest.fixture
def audit(fleet, record) -> int:
    return record(lambda db: drawn_audit(db).id)


def first_car(client, audit: int) -> str:
    text = client.get(f"/audits/{audit}").text
    return text.split('href="/audits/cars/')[1].split('"')[0]


def finding(client, audit: int, **form: str):
    filled = {
        "what": "No tag.",
        "severity": "mend",
        "due_on": "2026-12-01",
        "responsible": "R. Mott",
    }
    return client.post(f"/audits/{audit}/findings", data=filled | form)


def test_without_an_audit_the_list_says_what_to_do_first(client):
    assert "No audit yet" in Page(client.get("/audits").text).words
    assert "No audit has a finding yet" in Page(client.get("/audits/findings").text).words


def test_the_form_tells_how_many_cars_and_how_large_a_sample(client, fleet):
    words = Page(client.get("/audits/new?of=fleet&q=ZQKX").text).words
    assert "mark and number beginning ZQKX. 8 cars" in words
    # One wrong car among 8 is found with 95 percent confidence in all of them only.
    assert "5 %, 1 car 8 8 8" in words
    assert "Cars in the due list" in words


@pytest.mark.parametrize("of", ["due", "overdue"])
def test_the_form_takes_the_filters_of_the_due_lists(client, fleet, of):
    page = Page(client.get(f"/audits/new?of={of}&item=visual&to=2027-12-31").text)
    assert ("8 cars" if of == "due" else "No car answers") in page.words


def test_an_unreadable_filter_draws_nothing_and_is_kept(client, fleet):
    answer = client.get("/audits/new?of=due&to=soon")
    assert answer.status_code == 422
    assert "Nothing can be drawn" in answer.text
    assert 'value="soon"' in answer.text


@pytest.mark.parametrize(
    ("asked", "open_"), [("", ""), ("&as_of=2026-10-01", " open"), ("&known=soon", " open")]
)
def test_from_where_cars_are_seen_is_folded_away_only_while_nobody_asks_for_it(
    client, fleet, asked, open_
):
    page = client.get(f"/audits/new?of=fleet{asked}").text
    folded = page.partition(f'<details class="more"{open_}>')[2].partition("</details>")[0]
    assert re.findall(r' name="(\w+)"', folded) == ["as_of", "known"]


def test_a_sample_is_drawn_and_can_be_drawn_again_from_its_page(client, fleet):
    answer = client.post("/audits", data=DRAW)
    page = Page(answer.text)
    names = [f"ZQKX {number}" for number in range(1001, 1009)]
    expected = sorted(names, key=lambda name: sha256(f"17:{name}".encode()).hexdigest())
    assert [row[1] for row in page.rows[:3]] == expected[:3]
    assert "put through SHA-256" in page.words
    address = str(answer.url.copy_with(query=None)).removeprefix("http://testserver")
    rows = csv_rows(client.get(f"{address}/population.csv").content)
    assert [f"{row['mark']} {row['number']}" for row in rows] == expected
    assert rows[0]["sorted_by"] == sha256(f"17:{expected[0]}".encode()).hexdigest()
    assert [row["drawn"] for row in rows] == ["yes"] * 3 + ["no"] * 5


def test_the_list_as_it_was_then_is_one_link_away(client, audit):
    text = client.get(f"/audits/{audit}").text
    address = (
        text.split('">The list as it was then')[0].rsplit('href="', 1)[1].replace("&amp;", "&")
    )
    assert "as known at 2026-11-20 09:30" in Page(client.get(address).text).words


@pytest.mark.parametrize(
    ("form", "said"),
    [
        ({"size": "9"}, "want 1 to 8"),
        ({"seed": ""}, "Want a seed"),
        ({"title": ""}, "Want a title"),
        ({"points": (), "own_points": " \n "}, "Want one point"),
        ({"own_points": "Is it whole?\nIs it whole?"}, "The same point is given twice"),
        ({"region": "Nowhere"}, "none of the choices"),
    ],
)
def test_a_draw_that_cannot_be_keeps_what_was_typed(client, fleet, form, said):
    filled = {"own_points": "Is the seal whole?"} | form
    answer = client.post("/audits", data=DRAW | filled)
    assert answer.status_code == 422
    assert said in Page(answer.text).words
    assert filled["own_points"].strip() in answer.text
    assert Page(client.get("/audits").text).rows == []


def test_a_checklist_is_answered_and_leads_to_the_next_car(client, audit):
    car = first_car(client, audit)
    shown = Page(client.get(f"/audits/cars/{car}").text).words
    assert "The register says: does not apply. No inspection is on record." in shown
    form = {
        "answer.in_date": "conforms",
        "answer.approvals": "does_not",
        "note.approvals": "No paper.",
    }
    answer = client.post(f"/audits/cars/{car}", data=form | {"then": "next"})
    assert "The answers of car 1 are recorded." in answer.text
    assert "Car 2 of 3" in answer.text
    assert Page(client.get(f"/audits/{audit}").text).rows[0][2:4] == ["10 of 12", "1"]


def test_what_does_not_conform_asks_for_a_note_and_loses_nothing(client, audit):
    car = first_car(client, audit)
    form = {
        "answer.in_date": "does_not",
        "note.agrees": "Typed at length.",
        "answer.agrees": "conforms",
    }
    answer = client.post(f"/audits/cars/{car}", data=form)
    assert answer.status_code == 422
    assert "Say in a few words what does not conform." in answer.text
    assert "Typed at length." in answer.text


def test_a_finding_is_recorded_closed_and_opened_again(client, audit):
    car = first_car(client, audit)
    made = finding(client, audit, car=car, point="relief_devices")
    assert "The finding is recorded." in made.text
    address = str(made.url.copy_with(query=None)).removeprefix("http://testserver")
    assert Page(client.get("/audits/findings").text).rows[0][0] == "No tag."
    lacking = client.post(f"{address}/close", data={"said": "Tag replaced."})
    assert lacking.status_code == 422
    assert "Tag replaced." in lacking.text
    form = {"said": "Replaced.", "evidence": "Photograph 12", "done_on": f"{TODAY}"}
    closed = client.post(f"{address}/close", data=form)
    assert "The finding is closed." in closed.text
    assert Page(client.get("/audits/findings").text).rows == []
    assert "open again" in client.post(f"{address}/reopen", data={"said": "It fell off."}).text
    assert len(Page(client.get("/audits/findings?state=all").text).rows) == 1


@pytest.mark.parametrize(
    "form", [{"what": ""}, {"severity": "awful"}, {"due_on": "soon"}, {"due_on": ""}]
)
def test_a_wrong_finding_is_shown_again(client, audit, form):
    answer = finding(client, audit, **form)
    assert answer.status_code == 422
    assert "R. Mott" in answer.text


def test_the_summary_says_what_is_not_done_yet_and_is_a_workbook(client, audit):
    finding(client, audit)
    assert (
        "0 of 3 cars looked at in every point"
        in Page(client.get(f"/audits/{audit}/summary").text).words
    )
    answer = client.get(f"/audits/{audit}/summary.xlsx")
    book = load_workbook(io.BytesIO(answer.content))
    assert book.sheetnames == ["Audit", "Answers", "Findings"]
    assert book["Answers"].max_row == 1 + 3 * len(EVERY)
    assert [cell.value for cell in book["Findings"][2]][2] == "No tag."


def test_the_record_of_change_tells_an_audit_in_words(client, audit):
    client.post(f"/audits/cars/{first_car(client, audit)}", data={"answer.in_date": "conforms"})
    words = Page(client.get("/changes").text).words
    assert "drew a sample of cars for an audit" in words
    assert "answered points of an audit" in words


def test_pages_of_an_audit_ask_no_more_the_more_cars_it_has(client, record, queries):
    record(lambda db: fleet_of(db, 30))
    audits = [record(lambda db, size=size: drawn_audit(db, size).id) for size in (2, 30)]
    counts = []
    for key in audits:
        with queries() as seen:
            assert client.get(f"/audits/{key}").status_code == 200
        counts.append(len(seen))
    assert counts[0] == counts[1]

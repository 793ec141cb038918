"""A directive that came with a car, on pages: the warning on the car and the morning list, and the answer."""

from datetime import date

import pytest

from app.store.derived import ImportRun
from app.store.told_orders import ToldOrder
from tests.fixtures.web import NOW, TODAY
from tests.pages.car_cast import plain_car
from tests.pages.reading import Page

TOLD = {
    "company": "Marrow Creek Cars (invented)", "ordered_by": "authority", "orderer": "Invented Office",
    "title": "Look at the weld", "what": "Look at it.", "caution": "", "ordered_on": TODAY,
    "due_on": date(2027, 2, 1), "about": "", "by_hand": False, "said": "",
}  # fmt: skip
CLOSED = {"closed_on": TODAY, "outcome": "mended", "reference": "Report 7", "finding": "A crack."}
OPEN = {"closed_on": None, "outcome": "", "reference": "", "finding": ""}


@pytest.fixture
def car(record) -> int:
    """A car that came with two directives, number 1 open and number 2 closed."""

    def told(db) -> int:
        key = plain_car(db)
        run = ImportRun(
            kind="cars", file_name="car.zip", sha256="0" * 64, rows=1, added=1, changed=0, repeated=0,
            recorded_at=NOW, recorded_by="Somebody",
        )  # fmt: skip
        db.add(run)
        db.flush()
        about = {"import_id": run.id, "car_id": key, "recorded_at": NOW, "recorded_by": "Somebody"}
        db.add(ToldOrder(number="1", forbids_loading=True, **about, **TOLD, **OPEN))
        db.add(ToldOrder(number="2", forbids_loading=False, **about, **TOLD, **CLOSED))
        return key

    return record(told)


WARNING = "Handed over with 1 open directive"


def test_the_open_one_is_a_warning_on_the_car_and_the_morning_list(client, car):
    for path in (f"/cars/{car}", "/morning"):
        page = client.get(path)
        assert WARNING in page.text, path
        assert "Invented Office 1, Look at the weld, due there 2027-02-01" in Page(page.text).words
        assert 'href="/told-directives/1"' in page.text
    rows = Page(client.get(f"/cars/{car}").text).rows
    [shut] = [row for row in rows if row[0].startswith("Invented Office 2")]
    assert shut[3].startswith("closed: found and mended, 2026-11-25 ; Report 7")
    assert shut[4] == "nothing to decide"


def test_looking_back_does_not_speak_of_it(client, car):
    assert WARNING not in client.get(f"/cars/{car}?as_of=2026-11-01").text


def test_an_answer_takes_the_warning_away_and_can_be_given_anew(client, car):
    form = {"answer": "seen_to", "reason": "Report 12 of the shop."}
    done = client.post("/told-directives/1", data=form)
    assert "Your answer is recorded." in done.text
    assert "Report 12 of the shop." in Page(done.text).words
    assert WARNING not in client.get("/morning").text
    page = Page(client.get(f"/cars/{car}").text)
    assert WARNING not in page.words
    [row] = [row for row in page.rows if row[0].startswith("Invented Office 1")]
    assert row[4] == "seen to Report 12 of the shop."
    assert (
        "decided about a directive that came with a car" in Page(client.get("/changes").text).words
    )
    client.post(
        "/told-directives/1", data={"answer": "undecided", "reason": "The report is another car’s."}
    )
    assert WARNING in client.get("/morning").text


@pytest.mark.parametrize(
    ("form", "said"),
    [
        ({"answer": "", "reason": "So."}, "needed"),
        ({"answer": "seen_to", "reason": ""}, "needed"),
        ({"answer": "issued", "reason": "So it is."}, "issue it first"),
    ],
)
def test_a_wrong_answer_says_why_and_keeps_what_was_typed(client, car, form, said):
    answer = client.post("/told-directives/1", data=form)
    assert answer.status_code == 422
    assert said in Page(answer.text).words.lower()
    assert form["reason"] in answer.text
    assert WARNING in client.get("/morning").text

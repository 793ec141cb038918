"""The pages of the rulebook: rule by rule, tables, open questions, editions, and what one would move."""

import re

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from sqlalchemy import select

from app.actions import rulebook_effect
from app.jobs.doing import Doer
from app.pages import rulebook as rulebook_pages
from app.pages import rulebook_effect as effect_pages
from app.rules.questions import open_questions
from app.rules.reader import default_rulebook
from app.store.due import DueFilter
from app.store.due_counts import count
from app.store.tables import Party
from tests.fixtures.fleet import Listed
from tests.fixtures.web import TODAY, Queries, Record
from tests.pages.fleet_cast import MARROW, QUILLON, fleet
from tests.pages.reading import Page, csv_rows

RULES = default_rulebook().rules
WORDS = 'text = "In other words"\ncitation = "Invented rule 4"\n'


def edition(code: str = "zq-2027", owner: str = "", months: int = 84, more: str = "") -> str:
    whose = f'owner = "{owner}"\n' if owner else ""
    return (
        f'id = "{code}"\nedition = "Invented edition"\nbase = "us-49cfr"\n{whose}{more}'
        f"[rules.visual]\ninterval_months = {months}\n{WORDS}"
    )


@pytest.fixture
def fleet_client(client: TestClient, record: Record[dict[str, int]]) -> TestClient:
    record(fleet)
    return client


def load(client: TestClient, source: str) -> str:
    """Load an edition as a file; gives the address of its page."""
    answer = client.post(
        "/rulebook/editions",
        files={"file": ("edition.toml", source.encode())},
        follow_redirects=False,
    )
    assert answer.status_code == 303, answer.text
    return answer.headers["location"]


def put(client: TestClient, app: FastAPI, asked: str) -> str:
    """Say yes and have the job done; gives the words of its page."""
    answer = client.post(
        f"/rulebook/effect/confirm?{asked}",
        follow_redirects=False,
    )
    assert answer.status_code == 303, answer.text
    address = answer.headers["location"]
    with Doer(app.state.engine, "UTC") as doer:
        doer.do(address.rsplit("/", 1)[1])
    return Page(client.get(address).text).words


# The rulebook -----------------------------------------------------------------------------------------------------


def test_every_rule_stands_on_the_page_with_where_it_stands_and_whether_it_was_read(listed: Listed):
    rows = {row[0].split()[-1]: row for row in Page(listed.client.get("/rulebook").text).rows}
    assert rows.keys() >= RULES.keys()
    for name, rule in RULES.items():
        words = rows[name][1]
        assert rule.text[1:] in words
        assert rule.citation in words
        assert f"edition read: {rule.edition}" in words
        assert ("not verified against the rule text" in words) is (rule.confidence == "memory")
        # What others told of a rule is no reading of its text.
        assert ("rule text verified" in words) is (
            rule.confidence == "verified" and not rule.known_from
        )
        assert (f"from {rule.known_from}; rule text not seen" in words) is bool(rule.known_from)


def test_a_rule_shows_its_numbers_and_what_it_feeds(listed: Listed):
    rows = {row[0].split()[-1]: row for row in Page(listed.client.get("/rulebook").text).rows}
    # 49 CFR 180.509(f)(2) and 180.503, 2019 edition; 215.203(a)(1), from memory
    assert rows["thickness_thin"][2:4] == ["at most 60 months", "thickness"]
    assert rows["corrosive_rate"][2:4] == ["mil per year 2.5", "thickness, lining"]
    assert rows["age_limit"][2] == "at most 600 months"
    assert rows["filling"][3] == "loading answer"


def test_counts_lead_to_lists_of_as_many_items(fleet_client: TestClient, record: Record[int]):
    text = fleet_client.get("/rulebook").text
    links = re.findall(r'href="(/due\?rule=(\w+)[^"]*)"><b>(\d+)</b> (\w+)', text)
    assert {(rule, shown, kind) for _, rule, shown, kind in links} >= {
        ("visual", "4", "dated"),
        ("visual", "1", "unknown"),  # nobody knows when it was built
        ("leakage", "5", "by"),
        ("service_end", "5", "not"),
    }
    for address, rule, shown, _ in links:
        listing = fleet_client.get(address.replace("&amp;", "&"))
        assert f"<b>{shown} item" in listing.text, (address, rule)
        assert "governed by the rule" in listing.text
    visual = DueFilter(as_of=TODAY, rule="visual")
    assert record(lambda db: count(db, visual)) == 4


def test_a_large_fleet_is_counted_when_asked(listed: Listed, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(rulebook_pages, "COUNTED_AT_ONCE", 3)
    assert "Count the cars" in listed.client.get("/rulebook").text
    assert "/due?rule=visual" not in listed.client.get("/rulebook").text
    assert "/due?rule=visual" in listed.client.get("/rulebook?counts=yes").text


def test_the_tables_stand_on_a_page_of_their_own(listed: Listed):
    page = Page(listed.client.get("/rulebook/tables").text)
    # 49 CFR 179.101-1 and 179.201-1, 180.509(g), 2019 edition; Appendix D
    for words in (
        "5/8 from 65 000 psi",
        "TC128B 81 000",
        "60 psig up to but not including 200",
        "Sulfur, molten",
        "UN1789",
    ):
        assert words in page.words
    assert "These are from memory, not verified against the rule text" in page.words
    bans = [row for row in page.rows if row[0].startswith("Ethanol")]
    assert bans[0][1:5] == ["2023-05-01", "2023-05-01", "2023-07-01", "2025-05-01"]
    crude = next(row for row in page.rows if row[0].startswith("Crude"))
    assert crude[6] == "not verified against the rule text"
    assert bans[0][6] == "from an agency's answer of April 2023; rule text not seen"
    # 179.22 does not name them; W and F were read.
    assert re.search(r"TC ?, not verified \(from memory\)", page.words)
    assert re.search(r"on class 106 ?, not verified \(from memory\)", page.words)
    assert page.words.count("(from memory)") == 2


def test_every_open_question_says_how_it_is_read(listed: Listed):
    page = Page(listed.client.get("/rulebook/questions").text)
    assert len(page.rows) == len(open_questions()) >= 15
    assert all(row[1] and row[2] and row[3] for row in page.rows)
    assert "All cars Due dates to the day; a stenciled year as its first day." in page.words


def test_due_dates_can_be_filtered_by_rule_and_a_rule_there_is_not_is_refused(listed: Listed):
    assert listed.client.get("/due?rule=visual").status_code == 200
    assert listed.client.get("/due?rule=visuals").status_code == 422


@pytest.mark.parametrize(
    "path",
    [
        "/rulebook?edition=7",
        "/rulebook/tables?edition=7",
        "/rulebook/editions/7",
        "/rulebook/editions/7/source.toml",
        "/rulebook/effect?edition=7",
        "/rulebook/effect?owner=999",
    ],
)
def test_an_edition_or_owner_there_is_not_is_not_found(listed: Listed, path: str):
    assert listed.client.get(path).status_code == 404


# Editions ---------------------------------------------------------------------------------------------------------


def test_the_template_can_be_downloaded_and_says_that_nothing_differs_yet(client: TestClient):
    template = client.get("/rulebook/editions/template.toml")
    assert "rulebook-edition.toml" in template.headers["content-disposition"]
    answer = client.post("/rulebook/editions", data={"text": template.text})
    assert answer.status_code == 422
    assert "Nothing in it differs from us-49cfr" in Page(answer.text).words


def test_a_wrong_edition_is_told_place_by_place_and_kept_as_typed(client: TestClient):
    source = edition(months=0, more='colour = "red"\n')
    answer = client.post("/rulebook/editions", data={"text": source})
    words = Page(answer.text).words
    assert answer.status_code == 422
    assert "rules.visual.interval_months : must be at least 1" in words
    assert "colour : is not a field" in words
    assert "colour = &#34;red&#34;" in answer.text
    assert "None yet" in words


@pytest.mark.parametrize(
    ("content", "sentence"),
    [(b"", "Choose a file"), (b"\xff\xfe\x00", "not text in UTF-8"), (b"\n \n", "Choose a file")],
)
def test_a_file_that_holds_no_document_is_refused(
    client: TestClient, content: bytes, sentence: str
):
    answer = client.post("/rulebook/editions", files={"file": ("e.toml", content)})
    assert answer.status_code == 422
    assert sentence in Page(answer.text).words


def test_a_loaded_edition_shows_what_differs_and_its_document(fleet_client: TestClient):
    address = load(fleet_client, edition())
    page = Page(fleet_client.get(address).text)
    assert "Loaded 2026-11-25 14:00 by Test Planner" in page.words
    assert ["rules.visual.interval_months", "120", "84"] in page.rows
    assert ["rules.visual.confidence", "verified", "memory"] in page.rows
    assert fleet_client.get(f"{address}/source.toml").text == edition()
    key = address.rsplit("/", 1)[1]
    rules = Page(fleet_client.get(f"/rulebook?edition={key}").text).words
    assert "It is not in force" in rules
    assert "In other words Invented rule 4" in rules


# The effect, and putting it in force ------------------------------------------------------------------------------


def test_an_effect_is_shown_before_anything_is_put_in_force(fleet_client: TestClient):
    load(fleet_client, edition())
    page = Page(fleet_client.get("/rulebook/effect?edition=1").text)
    # Of the five in service one has no date; the stored one moves too, the sold one is not looked at.
    assert "Cars looked at 6 Cars with a date that moves 5 Due items that move 5" in page.words
    moved = next(row for row in page.rows if row[0] == "ZQKX 1001" or "1001" in row[0])
    # Built on 2016-11-24: 120 and 84 months after it.
    assert moved[3:6] == ["2026-11-24", "2023-11-24", "1 096 days earlier"]
    assert "newly overdue" in next(row for row in page.rows if "1002" in row[0])[6]
    assert "newly overdue" not in moved[6]
    assert "Nothing was put" not in page.words
    assert "2023-11-24" not in fleet_client.get("/due").text


def test_an_effect_is_filtered_paged_and_taken_away(
    fleet_client: TestClient, monkeypatch: pytest.MonkeyPatch
):
    monkeypatch.setattr(effect_pages, "PAGE", 2)
    load(fleet_client, edition(more=f"[rules.air_brake_first]\ninterval_months = 90\n{WORDS}"))
    whole = csv_rows(fleet_client.get("/rulebook/effect.csv?edition=1").content)
    visual = csv_rows(fleet_client.get("/rulebook/effect.csv?edition=1&item=visual").content)
    assert (len(whole), len(visual)) == (10, 5)
    assert visual[0] == {
        "mark": "ZQAX", "number": "2000", "owner": MARROW, "item": "visual", "state": "dated",
        "due_on": "2027-05-24", "new_state": "dated", "new_due_on": "2024-05-24", "days": "-1095",
        "newly_past": "yes", "no_longer_loadable": "no",
    }  # fmt: skip
    shown = []
    for number in (1, 2, 3):
        page = fleet_client.get(f"/rulebook/effect?edition=1&item=visual&page={number}").text
        assert f"Page {number} of 3" in Page(page).words
        shown += re.findall(r'class="car" href="/cars/(\d+)"', page)
    assert len(set(shown)) == 5


def test_a_programme_is_put_in_force_for_its_owner_and_taken_back(
    fleet_client: TestClient, web_app: FastAPI
):
    load(fleet_client, edition(owner=QUILLON))
    owners = Page(fleet_client.get("/rulebook/effect?edition=1").text)
    assert f"for the cars of {QUILLON}" in owners.words
    assert all(row[1] == QUILLON for row in owners.rows if "ZQ" in row[0])
    done = put(fleet_client, web_app, "edition=1")
    assert "In force The due dates of 2 cars were worked out anew" in done
    due = fleet_client.get("/due?item=visual").text
    assert "2023-11-24" in due  # Quillon's
    assert "2027-05-24" in due  # Marrow's stays
    rulebook = Page(fleet_client.get("/rulebook").text).words
    assert f"{QUILLON} go by zq-2027" in rulebook
    assert "In other words" in Page(fleet_client.get("/rulebook?edition=1").text).words
    owner = re.search(r"/rulebook/effect\?owner=(\d+)", fleet_client.get("/rulebook/editions").text)
    assert owner is not None
    assert "Effect of going back" in fleet_client.get(f"/rulebook/effect?owner={owner[1]}").text
    assert "Taken back The due dates of 2 cars" in put(fleet_client, web_app, f"owner={owner[1]}")
    assert "2023-11-24" not in fleet_client.get("/due").text
    history = Page(fleet_client.get("/rulebook/editions").text).rows[-2:]
    assert [row[1:] for row in history] == [
        [QUILLON, "back to what holds for all", "Test Planner"],
        [QUILLON, "zq-2027 , Invented edition", "Test Planner"],
    ]


def test_every_answer_for_a_stored_car_goes_by_the_programme(
    client: TestClient, web_app: FastAPI, record: Record[dict[str, int]]
):
    car = record(fleet)["overdue"]
    load(client, edition(owner=QUILLON, more='[settings]\nstencil_year = "start"\n'))
    put(client, web_app, "edition=1")
    assert "Invented rule 4" in client.get(f"/cars/{car}").text
    for path in (f"/api/v1/cars/{car}/due", f"/api/v1/cars/{car}"):
        answer = client.get(path).json()
        visual = next(
            each for each in answer.get("items") or answer["due"] if each["item"] == "visual"
        )
        assert (visual["due_on"], visual["interval_months"]) == ("2023-11-24", 84)
    asked = client.get(f"/api/v1/cars/{car}/due").json()
    assert asked["rulebook"] == {"id": "zq-2027", "edition": "Invented edition"}
    # The calculator without a store keeps to the built-in rulebook.
    body = {
        "as_of": "2026-11-25",
        "car": {"mark": "ZQKX", "number": 1001, "specification": "DOT 111A100W1"},
    }
    assert client.post("/api/v1/due-dates", json=body).json()["rulebook"]["id"] == "us-49cfr"


def test_what_is_in_force_cannot_be_put_in_force_again(
    fleet_client: TestClient, web_app: FastAPI, record: Record[int]
):
    load(fleet_client, edition())
    put(fleet_client, web_app, "edition=1")
    assert "in force already" in Page(fleet_client.get("/rulebook/effect?edition=1").text).words
    assert fleet_client.post("/rulebook/effect/confirm?edition=1").status_code == 409
    owner = record(lambda db: db.scalars(select(Party.id).where(Party.name == QUILLON)).one())
    words = Page(fleet_client.get(f"/rulebook/effect?owner={owner}").text).words
    assert "nothing to take back" in words


def test_saying_yes_twice_is_one_job(fleet_client: TestClient):
    load(fleet_client, edition())
    first, second = (
        fleet_client.post("/rulebook/effect/confirm?edition=1", follow_redirects=False)
        for _ in "12"
    )
    assert first.headers["location"] == second.headers["location"]


def test_the_effect_on_a_large_fleet_is_worked_out_by_a_job(
    fleet_client: TestClient, web_app: FastAPI, monkeypatch: pytest.MonkeyPatch
):
    monkeypatch.setattr(effect_pages, "AT_ONCE", 3)
    monkeypatch.setattr(rulebook_effect, "KEPT", 2)
    load(fleet_client, edition())
    assert "Work out the effect" in fleet_client.get("/rulebook/effect?edition=1").text
    assert fleet_client.get("/rulebook/effect.csv?edition=1").status_code == 409
    asked = fleet_client.post("/rulebook/effect?edition=1", follow_redirects=False)
    job = asked.headers["location"].rsplit("/", 1)[1]
    with Doer(web_app.state.engine, "UTC") as doer:
        doer.do(job)
    done = fleet_client.get(f"/jobs/{job}").text
    address = f"/rulebook/effect?edition=1&amp;job={job}"
    assert address in done
    shown = Page(fleet_client.get(address.replace("&amp;", "&")).text).words
    assert "Cars looked at 6 Cars with a date that moves 5 Due items that move 5" in shown
    assert "Kept are the first" in shown
    assert len(csv_rows(fleet_client.get(f"/rulebook/effect.csv?edition=1&job={job}").content)) == 2
    load(fleet_client, edition("zq-other", months=60))
    assert fleet_client.get(f"/rulebook/effect?edition=2&job={job}").status_code == 422


def test_the_rulebook_asks_as_many_questions_with_cars_as_without(
    client: TestClient, record: Record[dict[str, int]], queries: Queries
):
    client.get("/about")  # the first request looks at the store's version
    with queries() as empty:
        client.get("/rulebook")
    record(fleet)
    with queries() as full:
        client.get("/rulebook")
    assert len(empty) == len(full) <= 8

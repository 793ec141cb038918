"""Many cars asked about in one go, other ladings than the recorded ones, and the questions that are kept."""

from __future__ import annotations

import csv
import io
import shutil
from collections.abc import Iterator
from dataclasses import replace
from datetime import date
from decimal import Decimal

import openpyxl
import pytest
from fastapi import FastAPI
from sqlalchemy import text
from sqlalchemy.exc import DBAPIError

from app.actions import directives, ladings
from app.actions.changes import NewLading
from app.actions.directives import NewDirective, Term
from app.main import create_app
from app.settings import Settings
from app.store.db import write_session
from tests.access.parties import BUYER, OWNER, asks, browser, companies, signed_in
from tests.fixtures.web import NOW, TestClient
from tests.pages.fleet_cast import STAMP
from tests.pages.reading import Page
from tests.pages.test_loading import add

API = "/api/v1/loading"
BENIGN = {"hazard_class": "9", "packing_group": "III", "corrosive_or_reactive": False}
MILD, SHARP = "Invented mild lading", "Invented sharp lading"


@pytest.fixture(scope="module")
def app(sqlite_template, tmp_path_factory) -> Iterator[FastAPI]:
    path = tmp_path_factory.mktemp("racks") / "store.db"
    shutil.copyfile(sqlite_template, path)
    made = create_app(Settings(database_url=f"sqlite:///{path}"), clock=lambda: NOW)
    with write_session(made.state.sessions) as db:
        party = companies(db, OWNER, BUYER)
        for owner in (OWNER, BUYER):
            for role in ("loading_rack", "planner"):
                signed_in(db, party[owner], role)
        # Inspected two years ago: in date for ten years with a mild lading (180.509, 2019 edition).
        add(db, party[OWNER], 1, date(2024, 5, 6))
        add(db, party[OWNER], 2, None)
        add(db, party[OWNER], 4, date(2016, 12, 10))
        add(db, party[OWNER], 5, date(2024, 5, 6), un="UN9002")
        add(db, party[OWNER], 6, date(2024, 5, 6), vapor_pressure_psig_115f=Decimal(90))
        add(db, party[OWNER], 12, date(2024, 5, 6))
        add(db, party[OWNER], 13, date(2021, 12, 10))
        add(db, party[BUYER], 3, date(2024, 5, 6))
        for lading in _listed():
            ladings.save(db, lading)
        asks(db, party[OWNER], "compliance", "record_facts")
        directives.freeze(db, _ordered(party[OWNER].id), replace(STAMP, at=NOW))
    yield made
    made.state.engine.dispose()


def _ordered(party_id: int) -> NewDirective:
    """Of the cars with one lading: none carries it yet."""
    return NewDirective(
        party_id, "authority", "Invented Office", "4", "Vents of one lading", "Look at the vents.",
        date(2026, 11, 1), STAMP.today, Term(date(2026, 11, 20), forbids_loading=True),
        {"lading": "Invented ordered lading"},
    )  # fmt: skip


def _listed() -> list[NewLading]:
    return [
        NewLading("Invented even lading", un="UN9006", **BENIGN),
        # Of the same number, and inspected oftener: the car is in date for it too, and not for as long.
        NewLading("Invented even lading, corrosive", un="UN9006", hazard_class="8", packing_group="III",
                  corrosive_or_reactive=True),
        NewLading("Invented ordered lading", un="UN9007", **BENIGN),
        NewLading("Invented thin lading", un="UN9001", **BENIGN),
        # Of one number, and not alike: the tank is in date for the one, and for the other it is not.
        NewLading(MILD + ", weak", un="UN9002", **BENIGN),
        NewLading("Invented gas", un="UN9005", hazard_class="2.1", corrosive_or_reactive=False),
        NewLading("Invented wearing lading", un="UN9004", hazard_class="8", packing_group="III",
                  corrosion_rate_mil_per_year=Decimal("1.5")),
        NewLading(
            SHARP, un="UN9002", hazard_class="8", packing_group="I", corrosive_or_reactive=True,
            vapor_pressure_psig_115f=Decimal(400), static_head_psig=Decimal(5), gas_pad_psig=Decimal(0),
            loading_pressure_psig=Decimal(0), poison_by_inhalation=False,
        ),
    ]  # fmt: skip


@pytest.fixture
def rack(app: FastAPI) -> TestClient:
    return browser(app, OWNER, "loading_rack")


def kept(app: FastAPI) -> list[tuple[object, ...]]:
    with app.state.engine.connect() as connection:
        return list(
            connection.execute(
                text("SELECT asked, lading, verdict, recorded_by FROM loading_question ORDER BY id")
            )
        )


# What is about to be loaded, the verdict, and what the answer says. 49 CFR 173.31(c), 2015 edition, for the pressure.
LADINGS = [
    ("", "may_load", ""),
    ("UN9001", "may_load", ""),
    ("9001", "may_load", ""),
    ("invented THIN lading", "may_load", ""),
    (MILD, "may_load", ""),  # the recorded one, which is on no list
    ("UN9002", "may_not_load", "a test pressure of 538.65 psig"),
    (SHARP, "may_not_load", "a test pressure of 538.65 psig"),
    (MILD + ", weak", "may_load", ""),
]


@pytest.mark.parametrize(("lading", "verdict", "said"), LADINGS)
def test_the_lading_about_to_be_loaded_is_answered_for(rack, lading, verdict, said):
    """133 % of 405 psig are 538.65 psig."""
    told = rack.get("/api/v1/cars/ZQAX/1/loading", params={"un": lading}).json()
    assert told["loading"]["verdict"] == verdict
    assert said in " ".join(each["text"] for each in told["loading"]["reasons"])


def test_a_number_of_several_ladings_is_answered_for_the_strictest_and_says_so(rack):
    told = rack.get("/api/v1/cars/ZQAX/1/loading", params={"un": "UN9002"}).json()
    assert told["lading"] == SHARP
    assert (
        "UN9002 stands for 2 ladings; the strictest answer is given" in told["warnings"][0]["text"]
    )


def test_of_ladings_that_are_all_allowed_the_earliest_day_and_every_warning_is_told(rack):
    def told(un: str):
        asked = {"un": un, "on": "2026-11-25", "within": 365}
        return rack.get("/api/v1/cars/ZQAX/13/loading", params=asked).json()

    one, other, both = map(
        told, ("Invented even lading", "Invented even lading, corrosive", "UN9006")
    )
    assert {each["loading"]["verdict"] for each in (one, other, both)} == {"may_load"}
    assert one["through"] != other["through"]
    assert both["through"] == min(one["through"], other["through"])
    texts = [each["text"] for each in both["soon"]]
    assert texts
    assert texts == list(
        dict.fromkeys(each["text"] for found in (one, other) for each in found["soon"])
    )


def test_a_directive_that_the_car_would_come_under_with_the_lading_asks_for_a_look(rack):
    told = rack.get("/api/v1/cars/ZQAX/1/loading", params={"un": "UN9007"}).json()
    assert told["loading"]["verdict"] == "check"
    assert told["loading"]["reasons"][0]["citation"] == "Invented Office 4"
    assert (
        "would come under the directive Vents of one lading"
        in told["loading"]["reasons"][0]["text"]
    )
    assert rack.get("/api/v1/cars/ZQAX/1/loading").json()["loading"]["verdict"] == "may_load"


def test_a_number_that_the_car_is_recorded_with_too_is_answered_for_the_strictest(rack):
    """The recorded lading is mild; the list has a sharp one of the same number."""
    told = rack.get("/api/v1/cars/ZQAX/5/loading", params={"un": "UN9002"}).json()
    assert (told["lading"], told["loading"]["verdict"]) == (SHARP, "may_not_load")
    assert "UN9002 stands for 3 ladings" in told["warnings"][0]["text"]
    named = rack.get("/api/v1/cars/ZQAX/5/loading", params={"un": MILD}).json()
    assert (named["lading"], named["loading"]["verdict"]) == (MILD, "may_load")


@pytest.mark.parametrize("lading", ["", MILD])
def test_a_recorded_lading_that_asks_for_more_pressure_than_is_marked_is_not_to_be_loaded(
    rack, lading
):
    """133 % of 90 psig are 119.7 psig, 49 CFR 173.31(c), 2015 edition; the tank is marked with 100."""
    told = rack.get("/api/v1/cars/ZQAX/6/loading", params={"un": lading}).json()
    assert told["loading"]["verdict"] == "may_not_load"
    assert "a test pressure of 119.7 psig" in told["loading"]["reasons"][0]["text"]


def test_what_is_not_compared_of_another_lading_is_said(rack):
    def told(lading: str) -> str:
        answer = rack.get("/api/v1/cars/ZQAX/1/loading", params={"un": lading}).json()
        return " ".join(each["text"] for each in answer["warnings"])

    assert "The list has no vapor pressure of Invented thin lading" in told("UN9001")
    assert "Whether DOT 111A100W1 is authorised for Invented thin lading" in told("UN9001")
    assert "vapor pressure" not in told(SHARP)
    assert "authorised" not in told("")


def test_a_gas_whose_vapor_pressure_the_list_does_not_have_asks_for_a_check(rack):
    told = rack.get("/api/v1/cars/ZQAX/1/loading", params={"un": "UN9005"}).json()
    assert told["loading"]["verdict"] == "check"
    assert "No vapor pressure of Invented gas" in told["loading"]["reasons"][0]["text"]


def test_a_lading_with_a_known_corrosion_rate_is_answered_for(rack):
    answer = rack.get("/api/v1/cars/ZQAX/1/loading", params={"un": "UN9004"})
    assert answer.json()["lading"] == "Invented wearing lading"


MISSPELT = [
    "lading=UN9001", "un=UN9001&un=UN9002", "on=1764374400", "on=2026-11", "on=0001-01-01", "on=9999-12-31",
    "within=-1",
]  # fmt: skip


@pytest.mark.parametrize("query", MISSPELT)
def test_a_question_that_can_be_misread_is_refused(rack, query):
    assert rack.get(f"/api/v1/cars/ZQAX/1/loading?{query}").status_code == 422


@pytest.mark.parametrize("number", ["1_2", "12.0", "+12", "%2012", "0"])
def test_a_number_that_is_not_plain_figures_is_refused(rack, number):
    assert rack.get(f"/api/v1/cars/ZQAX/{number}/loading").status_code == 422


NO_CAR = ["ZQAX 1.2", "ZQAX 1 2", "ZQAX 1/2", "ZQAX 12x", "ZQAX 0"]


@pytest.mark.parametrize("written", NO_CAR)
def test_what_could_be_another_car_is_not_answered_for(rack, written):
    cars = [{"car": written}]
    (told,) = rack.post("/api/v1/loading", json={"cars": cars}).json()["answers"]
    assert "is not a mark and number" in told["problem"]


def test_a_list_names_the_car_that_was_found_beside_what_was_written(rack):
    answer = rack.post("/loading/many", data={"cars": "zqax,0012;UN9001\nZQAX 1.2"})
    address = str(answer.url) if answer.history else answer.headers["location"]
    page = rack.get(address)
    assert "ZQAX 12 written as zqax,0012" in Page(page.text).words
    assert "'ZQAX 1.2' is not a mark and number" in Page(page.text).words
    rows = rack.get(f"{address}.json").json()
    assert [(each["car"], each["answered_for"]) for each in rows] == [
        ("zqax,0012", "ZQAX 12"),
        ("ZQAX 1.2", ""),
    ]


def test_a_lading_that_is_on_no_list_is_refused_with_what_is_wanted(rack):
    asked = {"/api/v1/cars/ZQAX/1/loading?un=UN7777": 422, "/loading?car=ZQAX+1&lading=UN7777": 404}
    for path, status in asked.items():
        answer = rack.get(path)
        assert answer.status_code == status
        assert "UN7777" in answer.text
        assert "is not on the list of ladings" in answer.text


# Days ahead, and whether the tank, due on 10 December 2026, is told on 25 November.
WITHIN = [(None, True), (0, False), (14, False), (15, True), (365, True)]


@pytest.mark.parametrize(("within", "told"), WITHIN)
def test_what_falls_due_while_the_car_is_under_way_is_told(rack, within, told):
    """Ten years from 10 December 2016, 49 CFR 180.509(c)(2), 2019 edition."""
    params = {} if within is None else {"within": within}
    answer = rack.get("/api/v1/cars/ZQAX/4/loading", params=params).json()
    soon = [each["text"] for each in answer["soon"]]
    assert (
        "Structural integrity inspection falls due on 2026-12-10, 15 days later" in soon
    ) == told
    text = Page(rack.get("/loading", params={"car": "ZQAX 4", **params}).text).words
    assert ("Falls due while it may be under way" in text) == told


@pytest.mark.parametrize("within", ["-1", "366", "soon", "1e3", "9" * 40])
def test_days_ahead_that_are_none_are_refused_beside_the_field(rack, within):
    answer = rack.get("/loading", params={"car": "ZQAX 4", "within": within})
    assert answer.status_code == 404
    assert "want a number of days from 0 to 365" in Page(answer.text).words
    assert "loading-shape" not in answer.text


def test_moving_an_overdue_car_is_told_apart_and_as_open(rack):
    page = Page(rack.get("/loading", params={"car": "ZQAX 2"}).text).words
    assert "If it has to be moved: open in the rule text" in page
    assert "49 CFR 174.50" in page
    assert rack.get("/api/v1/cars/ZQAX/1/loading").json()["moving"] == []


def test_each_question_is_kept_with_its_answer_also_where_there_was_none(app, rack):
    before = len(kept(app))
    rack.get("/loading", params={"car": "ZQAX 1"})
    rack.get("/api/v1/cars/ZQAX/2/loading", params={"un": "UN9001"})
    rack.get("/loading", params={"car": "ZQAX 99"})
    rack.get("/loading")
    assert [row[:3] for row in kept(app)[before:]] == [
        ("ZQAX 1", "", "may_load"), ("ZQAX 2", "UN9001", "may_not_load"), ("ZQAX 99", "", None),
    ]  # fmt: skip
    assert {row[3] for row in kept(app)[before:]} == {f"loading_rack at {OWNER}"}
    words = Page(rack.get("/loading/asked").text).words
    assert "ZQAX 99" in words
    assert "There is no car ZQAX 99 in the register" in words


@pytest.mark.parametrize(
    "change",
    ["UPDATE loading_question SET verdict = 'may_load'", "DELETE FROM loading_question"],
)
def test_what_was_answered_is_never_changed(app, rack, change):
    rack.get("/loading", params={"car": "ZQAX 2"})
    refused = pytest.raises(DBAPIError, match="never changed or deleted")
    with refused, app.state.engine.begin() as connection:
        connection.execute(text(change))


TRAIN = "ZQAX 1\nZQAX 1 UN9002\nZQAX 2\nnobody knows\n\nZQAX 3\n"
ANSWERS = ["may_load", "may_not_load", "may_not_load", None, None]


def pasted(rack: TestClient) -> str:
    sent = {"cars": TRAIN, "on": "2026-11-25", "within": "30"}
    answer = rack.post("/loading/many", data=sent, follow_redirects=False)
    assert answer.status_code == 303
    return answer.headers["location"]


def test_a_pasted_train_is_answered_line_by_line_and_kept(app, rack):
    before = len(kept(app))
    page = Page(rack.get(pasted(rack)).text).words
    assert [row[2] for row in kept(app)[before:]] == ANSWERS
    assert "5 cars: may be loaded 1; may not be loaded 2; no answer 2" in page
    assert "is not a mark and number" in page
    # Another company's car is no other than one that does not exist.
    assert "There is no car ZQAX 3 in the register" in page


def test_a_train_is_taken_away_as_files_with_the_same_answers(rack):
    address = pasted(rack)
    rows = list(csv.DictReader(io.StringIO(rack.get(f"{address}.csv").content.decode("utf-8-sig"))))
    assert [row["car"] for row in rows] == [line.split(" UN")[0] for line in TRAIN.splitlines() if line]  # fmt: skip
    assert rows[1]["answer"] == "May not be loaded"
    sheet = openpyxl.load_workbook(io.BytesIO(rack.get(f"{address}.xlsx").content)).active
    # Behind the rows stand an empty one and how often each answer was given.
    told = [cell.value for cell in sheet["D"]][1 : len(rows) + 1]
    assert told == [row["answer"] for row in rows]


def test_a_file_and_a_choice_of_the_register_are_answered_too(rack):
    file = {"file": ("train.csv", b"mark,number,un\nZQAX,1,UN9002\n", "text/csv")}
    answer = rack.post("/loading/many", data={"cars": ""}, files=file)
    assert "May not be loaded" in Page(answer.text).words
    chosen = rack.post("/loading/many", data={"q": "ZQA"})
    assert "7 cars:" in Page(chosen.text).words


REFUSED = [
    ({}, "No car was named"),
    ({"q": "ZQXX"}, "No car of the register begins so"),
    ({"cars": "ZQAX 1", "on": "soon"}, "ound 'soon'"),
    ({"cars": "ZQAX 1", "within": "400"}, "from 0 to 365"),
    ({"cars": "\n".join(f"ZQAX {number}" for number in range(1, 1002))}, "1,001 cars were asked about"),
]  # fmt: skip


@pytest.mark.parametrize(("sent", "said"), REFUSED)
def test_a_list_that_cannot_be_answered_is_kept_in_the_form(rack, sent, said):
    answer = rack.post("/loading/many", data=sent)
    assert answer.status_code == 422
    assert said in Page(answer.text).words
    assert sent.get("cars", "") in answer.text


def test_a_program_asks_for_a_train_in_one_go(app, rack):
    before = len(kept(app))
    cars = [{"car": "ZQAX 1"}, {"car": "ZQAX 1", "un": "UN9002"}, {"car": "ZQAX 99"}]
    told = rack.post(API, json={"cars": cars, "on": "2026-11-25"}).json()
    verdicts = [each.get("loading", {}).get("verdict") for each in told["answers"]]
    assert verdicts == ["may_load", "may_not_load", None]
    assert told["answers"][2]["problem"].startswith("There is no car ZQAX 99")
    assert len(kept(app)) == before + 3
    assert rack.get(f"/loading/lists/{told['key']}").status_code == 200
    assert rack.post(API, json={"cars": []}).status_code == 422


def test_questions_are_seen_by_those_of_the_same_company_alone(app, rack):
    address = pasted(rack)
    fellow, stranger = browser(app, OWNER, "planner"), browser(app, BUYER, "planner")
    assert fellow.get(address).status_code == 200
    assert stranger.get(address).status_code == stranger.get(f"{address}.csv").status_code == 404
    assert "ZQAX 2" in Page(fellow.get("/loading/asked").text).words
    assert "Nothing was asked yet" in Page(stranger.get("/loading/asked").text).words


def test_a_directive_of_another_company_says_nothing_of_these_cars(app):
    theirs = browser(app, BUYER, "loading_rack")
    told = theirs.get("/api/v1/cars/ZQAX/3/loading", params={"un": "UN9007"}).json()
    assert told["loading"]["verdict"] == "may_load"


# What the list of questions is restricted to, and which cars it then holds.
FILTERS = [
    ({"q": "ZQAX 2"}, {"ZQAX 2"}),
    ({"verdict": "none", "q": ""}, {"nobody knows", "ZQAX 3"}),
    ({"on": "2031-01-01"}, set()),
]


@pytest.mark.parametrize(("wanted", "cars"), FILTERS)
def test_what_was_asked_is_found_by_car_answer_and_day(rack, wanted, cars):
    pasted(rack)
    rows = csv.DictReader(
        io.StringIO(rack.get("/loading/asked.csv", params=wanted).content.decode("utf-8-sig"))
    )
    found = {row["car"]: row["answer"] for row in rows}
    assert cars <= found.keys()
    assert found.keys() <= {"ZQAX 2"} or set(found.values()) == {"No answer"}


def test_an_unknown_filter_lists_nothing(rack):
    answer = rack.get("/loading/asked", params={"verdict": "maybe"})
    assert answer.status_code == 422

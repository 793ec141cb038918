"""Owners' steps, facilities and qualifications on their pages: added, mended, withdrawn, brought back, and told of."""

from collections.abc import Iterator

import pytest
from fastapi import FastAPI

from tests.fixtures.people import beforehand, let_in
from tests.fixtures.web import TestClient, asking
from tests.pages.fleet_cast import QUILLON, fleet
from tests.pages.reading import Page

STEPS = {
    "owner": QUILLON, "item": "visual", "from_on": "2026-11-01", "edition": "Invented QP 7",
    "steps.0.look_at": "The invented weld", "steps.0.measure": "look",
    "steps.1.look_at": "Another weld", "steps.1.measure": "photograph", "steps.1.acceptance": "no crack",
}  # fmt: skip
WORKS = {"party": QUILLON, "name": "Invented Works", "address": "1 Lane", "station_code": "ZQ01"}
UT = {"method": "UT", "level": "II", "valid_until": "2027-05-31"}


@pytest.fixture
def client(web_app: FastAPI) -> Iterator[TestClient]:
    with beforehand(web_app.state.sessions) as db:
        fleet(db)
        let_in(db)
    with asking(web_app) as signed_in:
        yield signed_in


def send(client: TestClient, to: str, /, **form: str) -> str:
    """Where a form that was taken leads to."""
    answer = client.post(to, data=form, follow_redirects=False)
    assert answer.status_code == 303, Page(answer.text).words
    return answer.headers["location"]


def words(client: TestClient, address: str) -> str:
    answer = client.get(address)
    assert answer.status_code == 200
    return Page(answer.text).words


def test_an_owner_s_steps_are_added_corrected_withdrawn_and_brought_back(client):
    send(client, "/instructions", **STEPS)
    told = words(client, "/instructions")
    assert told.index("The invented weld") < told.index("Another weld") < told.index("Built in")
    filled = client.get("/instructions/1/correct").text
    assert 'value="The invented weld"' in filled
    assert "no crack" in filled
    send(
        client,
        "/instructions/1/correct",
        **STEPS | {"steps.0.look_at": "", "in_place_of_built_in": "yes"},
    )
    told = words(client, "/instructions")
    assert "The invented weld" not in told
    assert "in place of the built-in steps" in told
    send(client, "/instructions/2/withdraw", reason="not ours")
    assert "withdrawn by Test Planner" in words(client, "/instructions")
    send(client, "/instructions/2/bring-back")
    told = words(client, "/instructions")
    assert "Another weld" in told
    assert "withdrawn by" not in told


def test_rows_of_steps_are_added_and_taken_out_without_losing_what_was_typed(client):
    more = client.post("/instructions", data=STEPS | {"more": "steps"}).text
    assert more.count("<legend>Step") == 3
    assert 'value="Invented QP 7"' in more
    fewer = client.post("/instructions", data=STEPS | {"without": "0"}).text
    assert fewer.count("<legend>Step") == 1
    assert 'value="Another weld"' in fewer
    assert 'value="The invented weld"' not in fewer
    assert "None yet" in words(client, "/instructions")


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ({"owner": "Nobody At All"}, "no owner named 'Nobody At All'"),
        ({"item": "age_limit"}, "one of the choices"),
        ({"from_on": "soon"}, "Wrong"),
        ({"steps.0.look_at": "", "steps.0.spot": "B end"}, "nothing was entered"),
    ],
)
def test_steps_that_cannot_be_taken_are_shown_again_with_what_is_wrong(client, wrong, said):
    answer = client.post("/instructions", data=STEPS | wrong)
    assert answer.status_code == 422
    assert "Nothing was recorded yet" in answer.text
    assert said == "Wrong" or said in Page(answer.text).words.replace(
        "Nothing was entered", "nothing was entered"
    )
    assert 'value="Another weld"' in answer.text


def test_a_facility_is_added_corrected_withdrawn_and_brought_back(client):
    send(client, "/facilities", **WORKS)
    assert client.post("/facilities", data=WORKS).status_code == 422
    send(client, "/facilities/1/correct", **WORKS | {"station_code": "ZQ02"})
    told = words(client, "/facilities")
    assert "ZQ02" in told
    assert "ZQ01" not in told
    send(client, "/facilities/2/withdraw", reason="closed")
    assert "closed" in words(client, "/facilities")
    send(client, "/facilities/2/bring-back")
    assert "withdrawn by" not in words(client, "/facilities")
    assert "1 facility" in words(client, "/facilities")


def test_a_qualification_is_on_the_person_s_page_and_on_the_own_account(client):
    send(client, "/people/1/qualifications", **UT)
    for address in ("/people/1", "/account", "/people/1/qualifications"):
        assert "2027-05-31" in words(client, address)
    wrong = client.post("/people/1/qualifications", data=UT | {"method": "XX"})
    assert wrong.status_code == 422
    no_reason = client.post("/people/1/qualifications/withdraw", data={"qualification": "1"})
    assert no_reason.status_code == 422
    send(client, "/people/1/qualifications/withdraw", qualification="1", reason="not so")
    assert "Qualified for" not in words(client, "/account")
    send(client, "/people/1/qualifications/bring-back", qualification="1")
    assert "2027-05-31" in words(client, "/account")


def test_the_record_of_change_tells_of_it_in_words(client):
    send(client, "/instructions", **STEPS)
    send(client, "/facilities", **WORKS)
    send(client, "/people/1/qualifications", **UT)
    told = words(client, "/changes")
    assert "recorded an owner’s steps for an item" in told
    assert "Step: look at The invented weld" in told
    assert "Facility: address 1 Lane; name Invented Works" in told
    assert "recorded what somebody is qualified for" in told
    assert "did:" not in told

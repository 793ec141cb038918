"""The list of ladings: what each means for a tank, adding and changing one."""

import re

import pytest
from fastapi.testclient import TestClient

from tests.pages.reading import Page

ACID = {"name": "Hydrochloric acid", "un": "un 1789", "hazard_class": "8", "packing_group": "II"}


def row_of(client: TestClient, name: str) -> list[str]:
    rows = Page(client.get("/ladings").text).rows
    return next(row for row in rows if row[0].startswith(name))


# What is stated of it; whether it is on the list of Appendix D; what it counts as, and why.
MEANINGS = [
    (ACID, "on the list", "Yes. The lading is on the list of ladings deemed corrosive"),
    # 49 CFR 180.503, 2019 edition: faster than 2.5 mil a year.
    (
        {"name": "Brine", "corrosion_rate_mil_per_year": "2.6", "corrosive_or_reactive": "no"},
        "–",
        "Yes. A lading is corrosive to the tank when it corrodes steel faster than 2.5 mil a year",
    ),
    (
        {"name": "Brine", "corrosion_rate_mil_per_year": "2.5", "corrosive_or_reactive": "no"},
        "–",
        "No. The lading is stated not to be corrosive",
    ),
    ({"name": "Brine"}, "–", "Yes. Whether the lading is corrosive or reactive to the tank is not"),
]


@pytest.mark.parametrize(("stated", "listed", "counts"), MEANINGS)
def test_a_lading_tells_what_it_means_for_a_tank(
    client: TestClient, stated: dict[str, str], listed: str, counts: str
) -> None:
    assert client.post("/ladings/new", data=stated).status_code == 200
    row = row_of(client, stated["name"])
    assert row[5] == listed
    assert row[6].startswith(counts)


def test_a_lading_is_shown_as_it_was_read(client: TestClient) -> None:
    client.post("/ladings/new", data=ACID)
    assert row_of(client, "Hydrochloric acid")[1:5] == ["UN1789", "8", "II", "yes"]


def test_a_lading_can_be_changed(client: TestClient) -> None:
    client.post("/ladings/new", data=ACID)
    [address] = set(re.findall(r'href="(/ladings/\d+)"', client.get("/ladings").text))
    form = client.get(address).text
    assert 'value="Hydrochloric acid"' in form
    assert 'value="UN1789"' in form
    client.post(address, data=ACID | {"packing_group": "III"})
    assert row_of(client, "Hydrochloric acid")[3] == "III"


# What is typed, and what is said of it.
WRONG = [
    ({"name": ""}, "Nothing was entered"),
    ({"un": "1789x"}, "found '1789x'"),
    ({"packing_group": "IV"}, "packing group"),
    ({"corrosion_rate_mil_per_year": "fast"}, "found 'fast'"),
]


@pytest.mark.parametrize(("wrong", "said"), WRONG)
def test_a_wrong_field_is_told_beside_it_and_nothing_is_lost(
    client: TestClient, wrong: dict[str, str], said: str
) -> None:
    answer = client.post("/ladings/new", data=ACID | {"hazard_class": "6.1"} | wrong)
    assert answer.status_code == 422
    assert said.lower() in Page(answer.text).words.lower()
    assert 'value="6.1"' in answer.text
    assert "No lading yet" in client.get("/ladings").text


def test_the_same_name_twice_is_told_and_kept(client: TestClient) -> None:
    client.post("/ladings/new", data=ACID)
    answer = client.post("/ladings/new", data=ACID | {"hazard_class": "9"})
    assert answer.status_code == 422
    assert "is in the list already" in answer.text
    assert 'value="9"' in answer.text
    assert len(Page(client.get("/ladings").text).rows) == 1


def test_an_unknown_lading_is_told(client: TestClient) -> None:
    assert client.get("/ladings/99").status_code == 404


def test_an_empty_list_says_what_to_do(client: TestClient) -> None:
    text = client.get("/ladings").text
    assert "No lading yet" in text
    assert 'href="/imports?kind=ladings"' in text

"""The due list by HTTP: soonest first, by cursor, with the reasons of each date."""

from typing import Any

import pytest

from tests.api.conftest import added

ITEMS = ["visual", "structural_integrity", "safety_systems", "service_equipment"]


@pytest.fixture
def fleet(client) -> None:
    """Two cars of two owners, built on different days; of one the relief device is not known."""
    added(client, mark="ZQBX", number=3, built_on="2016-05-01", owner="Invented Owner A")
    added(
        client, mark="ZQAX", number=20, built_on="2017-01-31", owner="Invented Owner B",
        region="South", relief_device=None,
    )  # fmt: skip


def rows(client, **asked: Any) -> list[dict[str, Any]]:
    found = []
    while True:
        page = client.get("/api/v1/due", params=asked).json()
        found += page["rows"]
        if page["next_after"] is None:
            return found
        asked = asked | {"after": page["next_after"]}


@pytest.mark.parametrize("limit", [1, 2, 500])
def test_soonest_comes_first_and_pages_miss_no_item(client, fleet, limit: int) -> None:
    found = rows(client, limit=limit)
    keys = [(row["due_on"], row["mark"], row["number"]) for row in found]
    assert keys == sorted(keys)
    assert [row["item"] for row in found if row["mark"] == "ZQBX" and row["item"] in ITEMS] == ITEMS
    assert all(row["reasons"] and row["citation"] for row in found)


@pytest.mark.parametrize(
    ("asked", "marks"),
    [
        ({"overdue": True, "item": "visual"}, ["ZQBX"]),
        ({"status": "soon", "item": "visual"}, ["ZQAX"]),  # 67 days left
        ({"status": "in_date", "item": "visual"}, []),
        ({"owner": "Invented Owner A", "item": "visual"}, ["ZQBX"]),
        ({"region": "South", "item": "visual"}, ["ZQAX"]),
        ({"search": "ZQA", "item": "visual"}, ["ZQAX"]),
        ({"due_from": "2027-01-31", "item": "visual"}, ["ZQAX"]),
        ({"due_from": "2027-02-01", "item": "visual"}, []),
        ({"due_to": "2026-05-01", "item": "visual"}, ["ZQBX"]),
        ({"item": "visual", "every_standing": True}, ["ZQBX", "ZQAX"]),
        ({"item": "lining"}, []),
    ],
)
def test_a_filter_keeps_what_it_says(client, fleet, asked: dict[str, Any], marks) -> None:
    assert [row["mark"] for row in rows(client, **asked)] == marks


def test_the_list_says_in_words_what_it_shows(client, fleet) -> None:
    page = client.get("/api/v1/due", params={"overdue": True, "owner": "Invented Owner A"}).json()
    assert page["as_of"] == "2026-11-25"
    assert page["shows"].startswith("Due now or overdue on 2026-11-25")
    assert "Invented Owner A" in page["shows"]


def test_a_row_is_the_item_that_the_car_itself_shows(client, fleet) -> None:
    row = rows(client, limit=1)[0]
    items = client.get(f"/api/v1/cars/{row['car_id']}/due").json()["items"]
    same = next(item for item in items if item["item"] == row["item"])
    assert {name: row[name] for name in same} == same

"""The page of work that lasts: how far it is, with and without JavaScript, and how it ended."""

from datetime import UTC, datetime
from typing import Any

import pytest
from fastapi.testclient import TestClient
from sqlalchemy import select

from app.store.derived import Job
from app.store.people import Person
from tests.fixtures.people import NAME
from tests.fixtures.web import Record
from tests.pages.reading import Page

# What is kept of a job, what its page says, and whether it will be asked again.
STATES: list[tuple[dict[str, Any], str, bool]] = [
    ({"state": "waiting"}, "Waiting for its turn", True),
    (
        {"state": "running", "step": "Reading cars", "done": 1200, "total": 5000},
        "Reading cars 1 200 of 5 000",
        True,
    ),
    ({"state": "running", "step": "", "total": 0}, "Beginning", True),
    (
        {
            "state": "failed",
            "error": "f.csv was not brought in.",
            "result": {"faults": [["row 2, on", "want a day"]], "fault_count": 1},
        },
        "f.csv was not brought in. row 2, on : want a day",
        False,
    ),
    ({"state": "done", "kind": "refresh-due", "result": {"cars": 12}}, "of 12 cars were", False),
]


@pytest.mark.parametrize(("kept", "said", "goes_on"), STATES)
def test_a_job_says_how_far_it_is(
    client: TestClient, record: Record[None], kept: dict[str, Any], said: str, goes_on: bool
) -> None:
    at = datetime(2026, 11, 25, 13, 0, tzinfo=UTC)
    row = {"id": "j", "kind": "import", "payload": {}, "asked_by": "Ada Vale", "asked_at": at}
    me = record(lambda db: db.scalars(select(Person.id).where(Person.name == NAME)).one())
    record(lambda db: db.add(Job(**(row | kept), person_id=me)))
    page = client.get("/jobs/j").text
    assert said in Page(page).words
    assert ('hx-trigger="every 1s"' in page) is goes_on
    assert ('http-equiv="refresh"' in page) is goes_on
    part = client.get("/jobs/j/progress", headers={"HX-Request": "true"}).text
    assert said in Page(part).words
    assert "<html" not in part
    assert ('hx-trigger="every 1s"' in part) is goes_on

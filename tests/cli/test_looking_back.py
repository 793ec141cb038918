"""`due --known`: what the list said at a moment."""

import csv
import io
import json
from datetime import UTC, date, datetime
from pathlib import Path

import pytest
from openpyxl import load_workbook

from app.actions import events
from app.actions.changes import NewEvent
from app.actions.stamp import Stamp
from app.store.cars import by_name
from app.store.db import make_engine, sessions, write_session
from tests.cli.conftest import TODAY, Run

# The register was brought in at the real moment of the test; the event is recorded two days later.
LATER = datetime(2099, 11, 27, 8, tzinfo=UTC)
BEFORE = ("--before", "2040-01-01")


@pytest.fixture
def since(register: str, monkeypatch: pytest.MonkeyPatch) -> str:
    """The moment before an inspection was recorded, long after the register was brought in."""
    with write_session(sessions(make_engine(register))) as db:
        car = by_name(db, "ZQBX", 3)
        assert car is not None
        event = NewEvent(date(2026, 11, 1), ("visual",), facility="Invented Works")
        events.record_event(db, car.id, event, Stamp("Ida Example", LATER, TODAY))
    monkeypatch.setattr("app.cli.due.moment", lambda: LATER)
    return "2099-11-27T07:59"


def visual(text: str) -> dict[str, str]:
    found = csv.DictReader(io.StringIO(text))
    return next(row for row in found if (row["mark"], row["item"]) == ("ZQBX", "visual"))


def test_what_was_recorded_later_does_not_count(run: Run, since: str) -> None:
    as_of = ("--as-of", "2026-11-25")
    now = visual(run("due", *BEFORE).text)
    assert now["due_on"] == "2036-11-01"
    assert list(now)[-1] == "citation"
    then = visual(run("due", *BEFORE, *as_of, "--known", since).text)
    assert then["due_on"] == "2026-05-01"
    assert (then["as_of"], then["known_at"]) == ("2026-11-25", "2099-11-27T07:59:59+00:00")
    again = visual(run("due", *BEFORE, *as_of, "--known", "2099-11-27T08:00").text)
    assert {name: again[name] for name in now} == now


def test_seconds_and_an_offset_say_exactly_when(run: Run, since: str) -> None:
    for moment, due_on, known_at in (
        ("2099-11-27T07:59:59Z", "2026-05-01", "2099-11-27T07:59:59+00:00"),
        ("2099-11-27T07:59:59.999998Z", "2026-05-01", "2099-11-27T07:59:59.999998+00:00"),
        ("2099-11-27T09:00:00.000000+01:00", "2036-11-01", "2099-11-27T08:00:00.000000+00:00"),
    ):
        told = visual(run("due", *BEFORE, "--as-of", "2026-11-25", "--known", moment).text)
        assert (told["due_on"], told["known_at"]) == (due_on, known_at), moment


def test_each_format_says_from_where(run: Run, since: str, tmp_path: Path) -> None:
    asked = (*BEFORE, "--as-of", "2026-11-25", "--known", since)
    [first, *_] = json.loads(run("due", *asked, "--format", "json").text)
    assert (first["as_of"], first["known_at"]) == ("2026-11-25", "2099-11-27T07:59:59+00:00")
    path = tmp_path / "due.xlsx"
    assert run("due", *asked, "--format", "xlsx", "-o", str(path)).status == 0
    header = next(load_workbook(path).active.iter_rows(values_only=True))
    assert header[-2:] == ("as_of", "known_at")


@pytest.mark.parametrize(
    ("moment", "said"),
    [("2099-11-28", "has not come yet"), ("noon", "want a day YYYY-MM-DD, or a minute")],
)
def test_a_moment_that_cannot_be_is_told_with_2(
    run: Run, since: str, moment: str, said: str
) -> None:
    ended = run("due", *BEFORE, "--known", moment)
    assert (ended.status, ended.out) == (2, b"")
    assert ended.err.startswith("--known: ")
    assert said in ended.err

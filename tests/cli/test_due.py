"""`due`: what falls due in the register, seen from a day."""

import csv
import io
import json
from datetime import date
from pathlib import Path

import pytest
from openpyxl import load_workbook

from app.cli.due_lines import Question, lines
from app.store.cars import party_by_name
from app.store.db import make_engine, read_session, sessions, write_session
from tests.cli.conftest import TODAY, Run

HEADER = ["mark", "number", "owner", "item", "due_on", "days_left", "status", "citation"]
ITEMS = [
    "visual", "structural_integrity", "safety_systems", "thickness", "service_equipment",
    "relief_device", "reflective_sheeting",
]  # fmt: skip


def table(text: str) -> list[list[str]]:
    return list(csv.reader(io.StringIO(text)))


def rows(run: Run, *args: str) -> list[dict[str, str]]:
    ended = run("due", *args)
    assert (ended.status, ended.err) == (0, "")
    return list(csv.DictReader(io.StringIO(ended.text)))


def test_the_table_has_the_agreed_columns_and_no_mark_before_the_first(
    run: Run, register: str
) -> None:
    header, first, *_ = table(run("due", "--before", "2026-12-31").text)
    assert header == HEADER
    # Built 2016-05-01 plus eight years (49 CFR 232.305(d), 2015 edition), seen 938 days later.
    assert first == [
        "ZQAX", "20", "Invented Owner B", "air_brake", "2024-05-01", "-938", "overdue",
        "49 CFR 232.305(d)",
    ]  # fmt: skip


def test_a_qualification_carries_its_citation(run: Run, register: str) -> None:
    found = rows(run, "--before", "2026-12-31")
    visual = next(row for row in found if (row["number"], row["item"]) == ("20", "visual"))
    # Built 2016-05-01 plus ten years (49 CFR 180.509(c)(2), 2019 edition), seen 208 days later.
    assert (visual["due_on"], visual["days_left"]) == ("2026-05-01", "-208")
    assert visual["citation"].startswith("49 CFR 180.509")


def test_soonest_comes_first_then_mark_number_as_a_number_and_the_order_of_items(
    run: Run, register: str
) -> None:
    found = [
        (row["due_on"], row["mark"], row["number"], row["item"])
        for row in rows(run, "--before", "2040-01-01")
    ]
    inspected = {"visual", "structural_integrity"}  # of ZQAX 100, in 2024
    assert found == [
        ("2024-05-01", "ZQAX", "20", "air_brake"),  # eight years after built
        ("2024-05-01", "ZQAX", "100", "air_brake"),
        ("2024-05-01", "ZQBX", "3", "air_brake"),
        *[("2026-05-01", "ZQAX", "20", item) for item in ITEMS],
        *[("2026-05-01", "ZQAX", "100", item) for item in ITEMS if item not in inspected],
        *[("2026-05-01", "ZQBX", "3", item) for item in ITEMS],
        ("2034-06-01", "ZQAX", "100", "visual"),
        ("2034-06-01", "ZQAX", "100", "structural_integrity"),
    ]


@pytest.mark.parametrize(
    ("args", "count"),
    [
        (("--before", "2024-04-30"), 0),
        (("--before", "2026-04-30"), 3),  # air brakes
        (("--before", "2026-05-01"), 22),  # on the day itself
        (("--before", "2034-05-31"), 22),
        (("--before", "2034-06-01"), 24),
        (("--before", "2034-06-01", "--overdue"), 22),
        (("--before", "2034-06-01", "--owner", "Invented Owner B"), 8),
        (("--before", "2034-06-01", "--owner", "Invented Owner A", "--overdue"), 14),
        (("--before", "2066-05-01"), 27),  # age limits, 50 years after built
        # The due day itself is still in date.
        (("--before", "2034-06-01", "--overdue", "--as-of", "2024-05-01"), 0),
        (("--before", "2034-06-01", "--overdue", "--as-of", "2024-05-02"), 3),
        (("--before", "2034-06-01", "--overdue", "--as-of", "2026-05-01"), 3),
        (("--before", "2034-06-01", "--overdue", "--as-of", "2026-05-02"), 22),
    ],
)
def test_a_filter_keeps_what_it_says(
    run: Run, register: str, args: tuple[str, ...], count: int
) -> None:
    assert len(rows(run, *args)) == count


def test_seen_from_an_earlier_day_a_later_inspection_does_not_count(
    run: Run, register: str
) -> None:
    def visual(as_of: str) -> str:
        found = rows(run, "--before", "2040-01-01", "--as-of", as_of)
        return next(
            f"{row['due_on']} {row['status']}"
            for row in found
            if (row["mark"], row["number"], row["item"]) == ("ZQAX", "100", "visual")
        )

    assert visual("2024-05-31") == "2026-05-01 in_date"
    assert visual("2024-06-01") == "2034-06-01 in_date"
    assert visual("2026-11-25") == "2034-06-01 in_date"


def test_a_car_that_was_not_built_yet_is_not_listed(run: Run, register: str) -> None:
    assert not rows(run, "--before", "2040-01-01", "--as-of", "2016-04-30")
    assert rows(run, "--before", "2040-01-01", "--as-of", "2016-05-01")


def test_counted_anew_today_is_what_is_stored(register: str) -> None:
    asked = Question(date(2040, 1, 1), TODAY, 180)
    with read_session(sessions(make_engine(register))) as db:
        stored = list(lines(db, asked, TODAY))
        assert stored == list(lines(db, asked, date(2026, 11, 24)))
        assert len(stored) == 24


def test_an_unknown_owner_is_told_with_2(run: Run, register: str) -> None:
    ended = run("due", "--before", "2030-01-01", "--owner", "invented owner a")
    assert (ended.status, ended.out) == (2, b"")
    assert ended.err == (
        "--owner: there is no owner named 'invented owner a'; want the whole name, as it stands in the register\n"
    )


def test_today_is_the_owners_day(run: Run, register: str, monkeypatch: pytest.MonkeyPatch) -> None:
    days = {"UTC": date(2026, 5, 1), "Pacific/Kiritimati": date(2026, 5, 2)}
    monkeypatch.setattr("app.cli.due.today_in", days.__getitem__)
    factory = sessions(make_engine(register))
    with write_session(factory) as db:
        party = party_by_name(db, "Invented Owner B")
        assert party is not None
        party.time_zone = "Pacific/Kiritimati"
    overdue = ("--before", "2026-12-31", "--overdue")
    owner_a, owner_b = (("--owner", f"Invented Owner {letter}") for letter in "AB")
    # The air brakes are overdue on both days, what is due on 2026-05-01 only on the later.
    assert {row["item"] for row in rows(run, *overdue, *owner_a)} == {"air_brake"}
    assert len(rows(run, *overdue, *owner_b)) == 8
    # Every owner: the day of the settings.
    assert {row["item"] for row in rows(run, *overdue)} == {"air_brake"}


def test_json_is_a_list_of_the_same_rows(run: Run, register: str) -> None:
    as_csv = table(run("due", "--before", "2040-01-01").text)[1:]
    found = json.loads(run("due", "--before", "2040-01-01", "--format", "json").out)
    assert [[str(value) for value in row.values()] for row in found] == as_csv
    assert list(found[0]) == HEADER
    assert json.loads(run("due", "--before", "2000-01-01", "--format", "json").out) == []


@pytest.mark.parametrize("to_file", [False, True])
def test_a_workbook_holds_the_same_rows(
    run: Run, register: str, tmp_path: Path, to_file: bool
) -> None:
    path = tmp_path / "due.xlsx"
    where = ("-o", str(path)) if to_file else ()
    ended = run("due", "--before", "2040-01-01", "--format", "xlsx", *where)
    assert ended.status == 0
    if not to_file:
        path.write_bytes(ended.out)
    sheet = load_workbook(path).active
    header, first, *others = sheet.iter_rows(values_only=True)
    assert list(header) == HEADER
    assert first[4].date() == date(2024, 5, 1)
    assert len(others) == 23


def test_a_file_that_cannot_be_written_is_3(run: Run, register: str, tmp_path: Path) -> None:
    ended = run("due", "--before", "2040-01-01", "-o", str(tmp_path / "no" / "due.csv"))
    assert ended.status == 3
    assert ended.err.count("\n") == 1
    assert "cannot be written" in ended.err


def test_refresh_due_counts_the_cars_and_changes_nothing(run: Run, register: str) -> None:
    before = run("due", "--before", "2040-01-01").out
    assert run("refresh-due").text == "The due dates of 3 cars are worked out anew.\n"
    assert run("due", "--before", "2040-01-01").out == before

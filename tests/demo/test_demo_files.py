"""The demo's files: the same from one seed and day, plainly invented, in the import's columns."""

import csv
import io
from datetime import date, timedelta
from pathlib import Path

import pytest

from app.files.columns import COLUMNS
from seed_demo import demo_files, shapes
from seed_demo.ladings import LADINGS

TODAY = date(2026, 11, 25)
TEXTS = demo_files.texts(TODAY)
ROWS = {kind: list(csv.DictReader(io.StringIO(text))) for kind, text in TEXTS.items()}
KNOWN_BY = {
    "ladings": ("name",),
    "cars": ("mark", "number"),
    "components": ("mark", "number", "kind", "position", "serial"),
    "events": ("mark", "number", "on", "items", "facility"),
}


def test_the_same_seed_and_day_give_the_same_files():
    assert demo_files.texts(TODAY) == TEXTS


def test_another_seed_gives_another_fleet_but_the_same_tour():
    other = demo_files.texts(TODAY, seed=demo_files.SEED + 1)

    assert other["cars"] != TEXTS["cars"]
    assert demo_files.tour(TODAY) == demo_files.tour(TODAY)
    assert [line for line in other["cars"].splitlines() if line.startswith("ZQTX")] == [
        line for line in TEXTS["cars"].splitlines() if line.startswith("ZQTX")
    ]


@pytest.mark.parametrize("kind", sorted(KNOWN_BY))
def test_every_column_and_cell_is_one_that_the_import_reads(kind):
    columns = {column.name: column for column in COLUMNS[kind]}
    for row in ROWS[kind]:
        for name, cell in row.items():
            if cell:
                columns[name].read(cell)


@pytest.mark.parametrize(("kind", "names"), KNOWN_BY.items())
def test_no_two_rows_are_the_same_thing(kind, names):
    keys = [tuple(row[name] for name in names) for row in ROWS[kind]]

    assert len(set(keys)) == len(keys)


def test_there_are_about_1200_cars_of_five_owners_and_about_60_ladings():
    assert 1_150 <= len(ROWS["cars"]) <= 1_250
    assert {row["owner"] for row in ROWS["cars"]} == set(shapes.OWNERS)
    assert 55 <= len(LADINGS) <= 70


def test_every_name_is_plainly_made_up():
    names = {row["owner"] for row in ROWS["cars"]}
    names |= {row[column] for row in ROWS["events"] for column in ("facility", "inspector")}
    names |= {row["maker"] for row in ROWS["components"]}

    assert {row["mark"][:2] for row in ROWS["cars"]} == {"ZQ"}
    assert {name for name in names if name and "(invented)" not in name} == set()
    assert {row["region"] for row in ROWS["cars"]} == {shapes.TOUR_REGION, *shapes.REGIONS}


def test_about_forty_hand_made_cars_or_more_say_what_they_show():
    tour = demo_files.tour(TODAY)

    assert len(tour) >= 40
    assert len({car.shows for car in tour}) == len(tour)
    assert all(car.events[0].notes == f"Tour: {car.shows}" for car in tour)


def test_the_printed_tour_is_the_one_that_is_loaded():
    printed = (Path(demo_files.__file__).parent / "README.md").read_text()

    assert printed.endswith(demo_files.tour_table(TODAY) + "\n")


# A month's last days, a leap day and the days about it, the turn of a year.
@pytest.mark.parametrize(
    "today", [date(2026, 3, 31), date(2028, 2, 29), date(2028, 3, 1), date(2027, 1, 1)]
)
def test_nothing_lies_in_the_future_or_before_a_car_was_built(today):
    for car in demo_files.all_cars(today):
        built = car.facts.get("built_on") or "0000"
        days = [event.on for event in car.events] + [part.installed_on for part in car.parts]
        assert all(built <= day <= today.isoformat() for day in days if day), car


def test_the_leap_day_car_was_inspected_on_the_latest_leap_day():
    assert shapes.Days(date(2028, 3, 1)).leap_day() == "2024-02-29"
    assert shapes.Days(date(2028, 2, 29) + timedelta(days=40)).leap_day() == "2028-02-29"

"""The README tells of every command, setting and tour car that there is, and of no other."""

import re
from datetime import date

from app.cli.parser import COMMANDS
from app.files.columns import COLUMNS
from app.settings import Settings
from seed_demo.demo_files import tour
from tests.fixtures.server import ROOT

README = (ROOT / "README.md").read_text()


def _first_cells(heading: str) -> list[str]:
    """The first cells of the rows of the tables under a heading."""
    part = README.split(f"\n## {heading}\n")[1].split("\n## ")[0]
    return [line.split("|")[1].strip() for line in part.splitlines() if line.startswith("|")]


def test_every_command_is_told():
    told = {
        re.match(r"`([a-z-]+)", cell)[1]
        for cell in _first_cells("Command line")
        if "`" in cell and cell[1].islower()
    }

    assert told == set(COMMANDS)


def test_every_setting_is_told():
    told = {
        name for cell in _first_cells("Command line") for name in re.findall(r"`([A-Z_]+)`", cell)
    }

    assert told == {name.upper() for name in Settings.model_fields}


def test_the_columns_that_must_be_there_are_told():
    for kind, columns in COLUMNS.items():
        needed = ", ".join(f"`{column.name}`" for column in columns if column.required)
        assert f"| {kind} | {needed} |" in README


def test_every_car_of_the_short_tour_is_in_the_demo():
    short = README.split("## A tour of ten minutes")[1].split("\n## ")[0]
    named = {int(number) for number in re.findall(r"`(?:ZQTX )?(\d{3})`", short)}

    assert len(named) > 10
    assert named <= {car.number for car in tour(date(2026, 11, 25))}


def test_every_picture_and_file_that_it_links_to_is_there():
    links = re.findall(r"\]\(([^)#]+)\)", README)

    assert [link for link in links if not (ROOT / link).exists()] == []

"""The columns of each kind of file, which one list states for reading, explaining and filling."""

import csv
import io

import pytest

from app.core.component_kinds import COMPONENT_KINDS
from app.core.facts import CHANGES, EVENT_ITEMS
from app.files import sheets
from app.files.cells import key
from app.files.columns import (
    COLUMNS,
    KINDS,
    MATERIALS,
    Kind,
    empty_file,
    template_csv,
    titles,
)
from app.files.headers import matched
from app.rules.reader import default_rulebook
from app.store.derived import FILE_KINDS
from app.store.tables import EQUIPMENT_KINDS, RELIEF_KINDS

REQUIRED = {
    "cars": ["mark", "number", "specification"],
    "components": ["mark", "number", "kind", "position"],
    "events": ["mark", "number", "on", "items"],
    "ladings": ["name"],
    "visits": ["mark", "number", "shop"],
}


@pytest.mark.parametrize("kind", KINDS)
def test_the_template_names_every_column_with_one_line_on_it(kind: Kind) -> None:
    told = list(csv.DictReader(io.StringIO(template_csv(kind))))
    assert [each["column"] for each in told] == [column.name for column in COLUMNS[kind]]
    assert [each["column"] for each in told if each["must be there"]] == REQUIRED[kind]
    assert all(each["what to write"] for each in told)


@pytest.mark.parametrize("kind", KINDS)
def test_an_empty_file_to_fill_has_a_header_that_is_taken(kind: Kind) -> None:
    sheet = sheets.read("empty.csv", empty_file(kind).encode())
    assert not matched(kind, sheet.header).faults


def test_no_two_columns_of_a_kind_go_by_one_title() -> None:
    for columns in COLUMNS.values():
        called = [key(title) for column in columns for title in titles(column)]
        assert len(called) == len(set(called))


def test_the_kinds_of_files_are_those_of_the_store() -> None:
    assert set(KINDS) == set(FILE_KINDS)


def test_the_kinds_of_components_hold_all_that_mean_something_elsewhere() -> None:
    assert set(RELIEF_KINDS) | set(EQUIPMENT_KINDS) <= set(COMPONENT_KINDS)


def test_the_materials_are_those_of_the_rulebook() -> None:
    assert set(MATERIALS) == set(default_rulebook().materials)


def test_every_event_item_can_be_written_in_a_file() -> None:
    read = next(column.read for column in COLUMNS["events"] if column.name == "items")
    assert read(";".join((*EVENT_ITEMS, *CHANGES))) == (*EVENT_ITEMS, *CHANGES)

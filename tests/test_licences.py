"""Every library that runs with the program: permissive, or LGPL as an unchanged library."""

import importlib.util
import re
from pathlib import Path
from types import ModuleType

import pytest

ROOT = Path(__file__).parents[1]
PERMISSIVE = {
    "0BSD", "Apache-2.0", "BSD-2-Clause", "BSD-3-Clause", "CC0-1.0", "ISC", "MIT", "MIT-0", "MIT-CMU",
    "PSF-2.0", "Zlib",
}  # fmt: skip
UNCHANGED_LIBRARY = {"LGPL-3.0-only", "LGPL-3.0-or-later"}


@pytest.fixture(scope="module")
def licences() -> ModuleType:
    spec = importlib.util.spec_from_file_location("licences", ROOT / "docs" / "make_licences.py")
    assert spec
    assert spec.loader
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_every_library_may_be_used_as_it_is_used(licences: ModuleType) -> None:
    told = {name: licences.licence(name) for name in licences.locked()}
    assert len(told) > 40
    strange = {
        name: said
        for name, said in told.items()
        if not set(re.split(r" AND | OR ", said)) <= PERMISSIVE | UNCHANGED_LIBRARY
    }
    assert not strange


def test_only_the_database_driver_and_the_charts_are_of_the_lesser_kind(
    licences: ModuleType,
) -> None:
    told = {name: licences.licence(name) for name in licences.locked()}
    assert {name for name, said in told.items() if said in UNCHANGED_LIBRARY} == {
        "psycopg", "psycopg-binary", "pygal",
    }  # fmt: skip


def test_the_page_lists_what_runs(licences: ModuleType) -> None:
    assert licences.table() in (ROOT / "docs" / "dependencies.md").read_text(), (
        "run docs/make_licences.py"
    )

"""`python -m app demo` loads the fleet once, and never into a register that has cars."""

import shutil
from pathlib import Path

import pytest
from sqlalchemy import Engine, select
from sqlalchemy.orm import Session

from app.access.reach import EVERYTHING
from app.store import imports
from app.store.db import make_engine, sessions
from app.store.tables import Car
from tests.fixtures.server import load_demo


def _names(engine: Engine) -> list[tuple[str, int]]:
    with Session(engine) as db:
        return [(mark, number) for mark, number in db.execute(select(Car.mark, Car.number))]


@pytest.mark.slow
@pytest.mark.parametrize("engine_kind", [pytest.param("postgresql", marks=pytest.mark.postgres)])
def test_it_loads_into_an_empty_store(migrated_url: str):
    assert "invented cars" in load_demo(migrated_url)


def test_and_so_it_did_into_the_file_that_other_tests_copy(demo_said: str):
    assert "invented cars" in demo_said


def test_a_register_with_cars_is_left_as_it_is(demo_template: Path, tmp_path: Path):
    url = f"sqlite:///{shutil.copyfile(demo_template, tmp_path / 'store.db')}"
    engine = make_engine(url)
    before = _names(engine)

    assert "left out" in load_demo(url)
    assert _names(engine) == before
    engine.dispose()


def test_what_it_loads_can_be_seen_as_files_brought_in(demo_template: Path):
    engine = make_engine(f"sqlite:///{demo_template}")
    with sessions(engine)(info={"reach": EVERYTHING}) as db:
        kinds = [run.kind for run in imports.runs(db)]
    engine.dispose()

    assert sorted(kinds) == ["cars", "components", "events", "ladings"]

"""`python -m app demo` loads the fleet once, quickly, and never into a register that has cars."""

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from sqlalchemy import Engine, select
from sqlalchemy.orm import Session

from app.access.reach import EVERYTHING
from app.store import imports
from app.store.db import make_engine, sessions
from app.store.tables import Car
from tests.fixtures.server import ROOT

BOUND = 20  # seconds of processor time; what else a shared machine does must not fail a test


def _demo(url: str) -> str:
    done = subprocess.run(
        [sys.executable, "-m", "app", "demo"],
        cwd=ROOT,
        env=os.environ | {"DATABASE_URL": url},
        check=True,
        capture_output=True,
        text=True,
    )
    return done.stdout


def _names(engine: Engine) -> list[tuple[str, int]]:
    with Session(engine) as db:
        return [(mark, number) for mark, number in db.execute(select(Car.mark, Car.number))]


@pytest.mark.slow
def test_it_loads_into_an_empty_store_of_each_kind_in_good_time(migrated_url):
    before = os.times()
    said = _demo(migrated_url)

    assert "invented cars" in said
    after = os.times()
    assert after.children_user + after.children_system < (
        before.children_user + before.children_system + BOUND
    )


def test_a_register_with_cars_is_left_as_it_is(demo_template: Path, tmp_path: Path):
    url = f"sqlite:///{shutil.copyfile(demo_template, tmp_path / 'store.db')}"
    engine = make_engine(url)
    before = _names(engine)

    assert "left out" in _demo(url)
    assert _names(engine) == before
    engine.dispose()


def test_what_it_loads_can_be_seen_as_files_brought_in(demo_template: Path):
    engine = make_engine(f"sqlite:///{demo_template}")
    with sessions(engine)(info={"reach": EVERYTHING}) as db:
        kinds = [run.kind for run in imports.runs(db)]
    engine.dispose()

    assert sorted(kinds) == ["cars", "components", "events", "ladings"]

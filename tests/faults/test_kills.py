"""A few kills of each kind with every test run; `make faults` does many. What is checked is in checks.py."""

import os
from pathlib import Path
from secrets import randbits

import pytest

from tests.faults.program import Program
from tests.faults.rounds import campaign
from tests.faults.stores import cluster, sqlite_store

# A failing run is cast again with FAULTS_SEED=..., though the machine's own timing differs.
SEED = int(os.environ.get("FAULTS_SEED") or randbits(32))


@pytest.mark.slow
def test_nothing_is_lost_or_half_there_whatever_is_killed_on_sqlite(tmp_path: Path) -> None:
    tally = campaign(lambda: Program(sqlite_store(tmp_path), tmp_path), 2, SEED)
    assert not tally.wrong, f"seed {SEED}"
    assert tally.total == 2
    assert tally.acknowledged


@pytest.mark.slow
@pytest.mark.postgres
def test_nothing_is_lost_or_half_there_whatever_is_killed_on_postgresql(tmp_path: Path) -> None:
    with cluster() as ours:
        new = lambda: Program(ours.new_store(), tmp_path)  # noqa: E731
        tally = campaign(new, 1, SEED, ours, victims=("database", "connection", "server"))
    assert not tally.wrong, f"seed {SEED}"
    assert tally.total == 1

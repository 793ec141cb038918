"""The load of many users, for some seconds and with few of them; `python -m bench.load` is the long run.

What a kill of the whole program or of the database leaves is looked at in test_kills.py.
"""

import json
import subprocess
import sys
from pathlib import Path

import pytest

from tests.fixtures.server import ROOT


@pytest.mark.slow
def test_nothing_that_was_acknowledged_is_lost_or_doubled_while_workers_are_killed(
    demo_template: Path, tmp_path: Path
) -> None:
    found = tmp_path / "found.json"
    few = ["--seconds", "6", "--rate", "6", "--users", "0.02", "--kills", "worker"]
    put = ["--fleet", demo_template, "--folder", tmp_path, "--json", found]
    # Its exit status also tells of answers that came late, as they may on a machine that does much else at once.
    subprocess.run([sys.executable, "-m", "bench.load", *few, *put], cwd=ROOT, check=False)
    told = json.loads(found.read_text())
    assert len(told["faults"]) == 3
    assert told["acknowledged"]
    assert (told["lost"], told["doubled"], told["refused"]) == (0, 0, [])
    assert not [what for what in told["errors"] if not what.endswith("503")]
    assert told["verified"]

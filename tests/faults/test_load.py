"""The load of many users, for some seconds and with few of them; `python -m bench.load` is the long run.

What a kill of the whole program or of the database leaves is looked at in test_kills.py.
"""

from pathlib import Path

import pytest

from bench.load import asked, measured


@pytest.mark.slow
def test_nothing_that_was_acknowledged_is_lost_or_doubled_while_workers_are_killed(
    demo_template: Path, tmp_path: Path
) -> None:
    few = ["--seconds", "6", "--rate", "6", "--users", "0.02", "--kills", "worker"]
    told = measured(asked(["--fleet", str(demo_template), "--folder", str(tmp_path), *few]))
    assert len(told["faults"]) == 3
    assert told["acknowledged"]
    assert (told["lost"], told["doubled"], told["refused"]) == (0, 0, [])
    # A machine that does much else at once may answer late, which people are told in words.
    assert not [what for what in told["errors"] if not what.endswith("503")]
    assert told["verified"]

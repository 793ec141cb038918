"""Many kills on SQLite and on PostgreSQL: `python -m bench.faults`; `--write` puts the result into docs/faults.md."""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
from datetime import UTC, datetime
from pathlib import Path
from secrets import randbits

from tests.faults.program import ROOT, Program
from tests.faults.rounds import Tally, campaign
from tests.faults.stores import cluster, sqlite_store

PAGE = ROOT / "docs" / "faults.md"
BEGIN, END = "<!-- result: begin -->", "<!-- result: end -->"


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--sqlite", type=int, default=200, metavar="KILLS")
    parser.add_argument("--postgresql", type=int, default=50, metavar="KILLS")
    parser.add_argument("--seed", type=int, default=randbits(32))
    parser.add_argument("--write", action="store_true", help="write the result into docs/faults.md")
    given = parser.parse_args()
    print(f"seed {given.seed}", flush=True)
    lines, wrong = [], []
    for name, kills in (("SQLite", given.sqlite), ("PostgreSQL", given.postgresql)):
        if kills:
            began = time.monotonic()
            tally = (
                on_sqlite(kills, given.seed)
                if name == "SQLite"
                else on_postgresql(kills, given.seed)
            )
            lines.append(line(name, tally, given.seed, time.monotonic() - began))
            print(lines[-1], flush=True)
            wrong += [f"{name}: {each}" for each in tally.wrong]
    for each in wrong:
        print(each, file=sys.stderr)
    if given.write:
        write("\n".join(lines))
    return 1 if wrong else 0


def on_sqlite(kills: int, seed: int) -> Tally:
    with tempfile.TemporaryDirectory(prefix="stencilbook-faults-") as name:
        folder = Path(name)
        return campaign(lambda: Program(sqlite_store(folder), folder), kills, seed, tell=say)


def on_postgresql(kills: int, seed: int) -> Tally:
    with tempfile.TemporaryDirectory(prefix="stencilbook-faults-") as name, cluster() as ours:
        return campaign(lambda: Program(ours.new_store(), Path(name)), kills, seed, ours, tell=say)


def say(sentence: str) -> None:
    print(sentence, flush=True)


def line(name: str, tally: Tally, seed: int, seconds: float) -> str:
    """A row of the table in the page."""
    hurt = ", ".join(f"{count} {victim}" for victim, count in sorted(tally.kills.items()))
    day = datetime.now(UTC).date()
    return (
        f"| {day} | {name} | {tally.total} ({hurt}) | {tally.acknowledged:,} | {tally.unanswered:,} "
        f"| {len(tally.wrong)} | {seed} | {seconds / 60:.0f} min |"
    )


def write(lines: str) -> None:
    before, _, rest = PAGE.read_text().partition(BEGIN)
    _, _, after = rest.partition(END)
    head = (
        "| day | store | kills | changes acknowledged | sent and not answered | wrong afterwards | seed | took |\n"
        "| --- | --- | --- | --- | --- | --- | --- | --- |\n"
    )
    PAGE.write_text(f"{before}{BEGIN}\n{head}{lines}\n{END}{after}")


if __name__ == "__main__":
    sys.exit(main())

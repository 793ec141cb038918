"""The table of what is measured: `python -m bench`, or `python -m bench --full [NAME...]`.

Small sizes take some minutes; full ones hours, so that parts may be named and run on different days. Each part runs in
a process of its own and replaces its own rows in bench/results.json and bench/results.md. The status is 1 when a row
misses what is asked of it, or a part fails.
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path
from tempfile import TemporaryDirectory

from bench import results
from bench.parts import PARTS
from bench.rows import Row, Size, figure
from bench.servers import postgresql_version

RED, PLAIN = "\033[31;1m", "\033[0m"


def main() -> int:
    given = _arguments()
    size: Size = "full" if given.full else "small"
    names = given.names or [name for name, part in PARTS.items() if size in part.sizes]
    if given.here:
        return _one(names[0], size, given.folder, write=not given.dry)
    with TemporaryDirectory(prefix="stencilbook-bench-") as temporary:
        folder = given.folder or Path(temporary)
        folder.mkdir(exist_ok=True, parents=True)
        return max(_apart(name, size, folder, given.dry) for name in names)


def _arguments() -> argparse.Namespace:
    told = "\n".join(f"  {name:12} {part.about}" for name, part in PARTS.items())
    parser = argparse.ArgumentParser(
        prog="python -m bench", description=__doc__, epilog=f"parts:\n{told}",
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )  # fmt: skip
    parser.add_argument("names", nargs="*", metavar="NAME", choices=[[], *PARTS])
    parser.add_argument("--full", action="store_true", help="all sizes")
    parser.add_argument("--dry", action="store_true", help="print, and leave the table as it is")
    parser.add_argument(
        "--folder", type=Path, help="keep stores here, and use those that are there already"
    )
    parser.add_argument("--here", action="store_true", help=argparse.SUPPRESS)
    return parser.parse_args()


def _apart(name: str, size: Size, folder: Path, dry: bool) -> int:
    """A part in a process of its own, so that what one loads and keeps is no other's."""
    more = [*(["--full"] if size == "full" else []), *(["--dry"] if dry else [])]
    command = [sys.executable, "-m", "bench", name, *more, "--here", "--folder", str(folder)]
    return int(subprocess.run(command, check=False).returncode != 0)


def _one(name: str, size: Size, folder: Path, *, write: bool) -> int:
    load = os.getloadavg()[0]
    print(f"{name}, {size}: {PARTS[name].about}", flush=True)
    rows = []
    for row in PARTS[name].rows(size, folder):
        rows.append(row)
        print(_told(row), flush=True)
    if write:
        results.put(name, size, rows, load, postgresql_version(), list(PARTS))
    return int(not _all_met(rows))


def _all_met(rows: Sequence[Row]) -> bool:
    return all(row.met for row in rows)


def _told(row: Row) -> str:
    line = (
        f"  {row.name}: {figure(row.ours)} {row.unit}, {figure(row.ratio)} times {row.against} "
        f"({figure(row.reference)} {row.unit}); asked for: {row.target}"
    )
    if row.met:
        return line
    red, plain = (RED, PLAIN) if sys.stdout.isatty() else ("", "")
    return f"{red}{line}: MISSED{plain}"


if __name__ == "__main__":
    sys.exit(main())

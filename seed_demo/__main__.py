"""`python -m seed_demo --write FOLDER`: the demo's files, to try the import with.

`--tour` prints the tour's cars and what each shows, as it stands in seed_demo/README.md.
"""

from __future__ import annotations

import argparse
from datetime import UTC, date, datetime
from pathlib import Path

from seed_demo.demo_files import SEED, texts, tour_table


def main() -> None:
    parser = argparse.ArgumentParser(prog="python -m seed_demo", description=__doc__)
    parser.add_argument("--write", metavar="FOLDER", type=Path, help="write the CSV files there")
    parser.add_argument("--seed", type=int, default=SEED, help="another fleet (%(default)s)")
    parser.add_argument("--today", type=date.fromisoformat, default=datetime.now(UTC).date(),
                        help="the day from which dates are counted back")  # fmt: skip
    parser.add_argument("--tour", action="store_true", help="print what each tour car shows")
    given = parser.parse_args()
    if given.tour:
        print(tour_table(given.today))
    elif given.write:
        _write(given.write, texts(given.today, given.seed))
    else:
        parser.print_help()


def _write(folder: Path, files: dict[str, str]) -> None:
    folder.mkdir(parents=True, exist_ok=True)
    for kind, text in files.items():
        path = folder / f"{kind}.csv"
        path.write_text(text, encoding="utf-8")
        print(f"{path}: {text.count(chr(10)) - 1:,} rows")


if __name__ == "__main__":
    main()

"""`python -m app.jobs`: do the jobs of the store until told to stop; `serve` starts one beside it."""

from __future__ import annotations

import argparse
import sys

from app import garbage
from app.errors import Problem
from app.settings import read_settings


def main() -> int:
    argparse.ArgumentParser(prog="python -m app.jobs", description=__doc__).parse_args()
    with garbage.loaded_for_good():
        from app.jobs import worker
    try:
        worker.run(read_settings())
    except Problem as problem:
        sys.stderr.write(f"{problem}\n")
        return 1
    return 0


if __name__ == "__main__":
    sys.exit(main())

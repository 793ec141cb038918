"""Everything that is measured, one after the other, on one store: `make bench`."""

import sys
from pathlib import Path
from tempfile import TemporaryDirectory

from bench import import_fleet, pages


def main() -> int:
    with TemporaryDirectory(prefix="stencilbook-bench-") as name:
        folder = Path(name)
        status = import_fleet.measure(folder, import_fleet.FULL_SIZE)
        for each in pages.measure(f"sqlite:///{folder / 'store.db'}"):
            print(each)
    return status


if __name__ == "__main__":
    sys.exit(main())

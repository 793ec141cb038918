"""Memory and speed of `python -m app due-dates --lines`: requests streamed through a pipe, no two of them alike.

`python -m bench.lines [--requests N]`. The memory must not grow with the number of lines; once the calculator's
own tables of what it has met are full, it does not.
"""

from __future__ import annotations

import argparse
import json
import subprocess
import sys
import threading
import time
from collections.abc import Iterator

from bench import processes

GROWTH_WANTED = 16  # megabytes, over the second half


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--requests", type=int, default=40_000)
    given = parser.parse_args()
    return measure(given.requests)


def measure(count: int) -> int:
    """Print megabytes on the way and requests a second; 1 when the memory grows in the second half."""
    command = [sys.executable, "-m", "app", "due-dates", "--lines"]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE) as running:
        feeding = threading.Thread(target=_feed, args=(running, count))
        feeding.start()
        clock, sizes = time.perf_counter(), []
        assert running.stdout
        for at, _ in enumerate(running.stdout, 1):
            if at % max(count // 8, 1) == 0:
                sizes.append(processes.mebibytes(running.pid))
                processor = processes.processor(running.pid)
        feeding.join()
        clock = time.perf_counter() - clock
    growth = sizes[-1] - sizes[len(sizes) // 2 - 1]
    print(
        f"--lines: {count:,} requests in {clock:.1f} s ({processor:.1f} s of processor, "
        f"{count / processor:,.0f} a second of it); megabytes on the way: "
        f"{', '.join(f'{size:.0f}' for size in sizes)}"
    )
    return 0 if growth <= GROWTH_WANTED else 1


def _feed(running: subprocess.Popen[bytes], count: int) -> None:
    assert running.stdin
    for request in _requests(count):
        running.stdin.write(json.dumps(request).encode() + b"\n")
    running.stdin.close()


def _requests(count: int) -> Iterator[dict[str, object]]:
    """Cars of which each has its own diameter, lading and days."""
    for at in range(count):
        day = f"20{at % 16 + 10:02}-{at % 12 + 1:02}-{at % 28 + 1:02}"
        readings = [
            {"zone": zone, "inches": 0.4 + at % 997 / 10_000}
            for zone in ("shell_top", "shell_bottom", "head_a", "head_b")
        ]
        yield {
            "as_of": "2026-11-25",
            "car": {
                "mark": "ZQKX", "number": at % 999_999 + 1, "specification": "DOT 111A100W1",
                "built_on": "2004-06-01", "service": {"commodity": f"Invented lading {at}"},
                "tank": {"material": "TC128B", "inside_diameter_in": 100 + at / 100_000},
            },
            "events": [{"on": day, "items": ["visual", "thickness"], "readings": readings}],
        }  # fmt: skip


if __name__ == "__main__":
    sys.exit(main())

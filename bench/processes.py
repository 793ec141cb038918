"""Memory and processor time of other processes, as Linux tells them."""

from __future__ import annotations

import os
from pathlib import Path


def mebibytes(pid: int) -> float:
    """Memory that a process holds now."""
    told = Path(f"/proc/{pid}/status").read_text().splitlines()
    return int(next(line for line in told if line.startswith("VmRSS")).split()[1]) / 1024


def processor(pid: int) -> float:
    """Seconds of processor of a process so far."""
    fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def shares(pid: int) -> dict[str, float]:
    """In MiB: all that a process sees, its share of what is shared, its own alone."""
    lines = Path(f"/proc/{pid}/smaps_rollup").read_text().splitlines()[1:]
    kib = {name.strip(":"): int(size) for name, size, *_ in map(str.split, lines)}
    held = {
        "rss": kib["Rss"],
        "proportional": kib["Pss"],
        "own": kib["Private_Clean"] + kib["Private_Dirty"],
    }
    return {name: round(size / 1024, 1) for name, size in held.items()}

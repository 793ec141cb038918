"""Memory and processor time of other processes, as Linux tells them."""

from __future__ import annotations

from pathlib import Path


def mebibytes(pid: int) -> float:
    """Memory that a process holds now."""
    told = Path(f"/proc/{pid}/status").read_text().splitlines()
    return int(next(line for line in told if line.startswith("VmRSS")).split()[1]) / 1024


def processor(pid: int) -> float:
    """Seconds of processor of a process so far."""
    fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / 100

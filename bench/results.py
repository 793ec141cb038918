"""The table in its file: rows by part and size, each with its day and on what it was measured.

`results.json` is what is kept, `results.md` the same for people, made anew whenever rows are put in.
"""

from __future__ import annotations

import json
import os
import sqlite3
import sys
from collections.abc import Collection, Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import sqlalchemy

from bench.rows import Row, Size, figure

HERE = Path(__file__).parent
Kept = dict[str, Any]


def put(
    part: str,
    size: Size,
    rows: Sequence[Row],
    load: float,
    postgresql: str,
    parts: Collection[str],
    folder: Path = HERE,
) -> None:
    """Replace the rows of this part and size; `load` was the machine's before, `parts` are all there are."""
    kept = [
        each
        for each in read(folder)
        if each["part"] in parts and (each["part"], each["size"]) != (part, size)
    ]
    where = measured_on(load, postgresql)
    kept += [_kept(part, size, row) | where for row in rows]
    kept.sort(key=lambda each: (list(parts).index(each["part"]), each["size"] == "full"))
    (folder / "results.json").write_text(json.dumps(kept, indent=1) + "\n")
    (folder / "results.md").write_text(page(kept))


def read(folder: Path = HERE) -> list[Kept]:
    held = folder / "results.json"
    return json.loads(held.read_text()) if held.exists() else []


def _kept(part: str, size: Size, row: Row) -> Kept:
    return {
        "part": part, "size": size, "name": row.name, "ours": row.ours, "reference": row.reference,
        "unit": row.unit, "ratio": row.ratio, "target": row.target, "met": row.met, "against": row.against,
    }  # fmt: skip


def measured_on(load: float, postgresql: str) -> Kept:
    """The day, what kind of machine, how busy it was before, and the versions."""
    return {
        "date": datetime.now(UTC).date().isoformat(),
        "machine": machine(),
        "load_before": round(load, 1),
        "versions": {
            "Python": ".".join(map(str, sys.version_info[:3])),
            "SQLite": sqlite3.sqlite_version,
            "PostgreSQL": postgresql,
            "SQLAlchemy": sqlalchemy.__version__,
        },
    }


def machine() -> str:
    """Cores, memory and model of processor; no name of a machine."""
    memory = os.sysconf("SC_PAGE_SIZE") * os.sysconf("SC_PHYS_PAGES") / 2**30
    told = Path("/proc/cpuinfo").read_text().splitlines()
    models = [line.partition(":")[2].strip() for line in told if line.startswith("model name")]
    return (
        f"{os.cpu_count()} cores, {memory:.0f} GiB, {models[0] if models else 'processor not told'}"
    )


HEAD = """\
# Measured side by side

Made by `python -m bench`; see README.md beside it. Ours and the reference were asked in turn in one run, figures are
medians where nothing else is said, and less is better. *Load* is that of the machine before the part began: above about
one, other work was going on, and what is asked for by the clock is to be taken again at rest.

"""
COLUMNS = (
    "| name | size | ours | reference | ratio | asked for | met | the reference is | measured |\n"
)


def page(kept: Sequence[Kept]) -> str:
    """The table as Markdown; missed rows say so in capitals."""
    places: list[str] = []
    lines = [_line(each, places) for each in kept]
    missed = sum(not each["met"] for each in kept)
    told = (
        f"{len(kept)} rows, {missed} **MISSED**.\n\n"
        if missed
        else f"{len(kept)} rows, all met.\n\n"
    )
    notes = "".join(f"{at}. {place}\n" for at, place in enumerate(places, 1))
    return f"{HEAD}{told}{COLUMNS}{'| --- ' * 9}|\n{''.join(lines)}\n{notes}"


def _line(each: Kept, places: list[str]) -> str:
    versions = ", ".join(f"{name} {held}" for name, held in each["versions"].items())
    place = f"{each['machine']}; {versions}"
    if place not in places:
        places.append(place)
    cells = (
        each["name"], each["size"], f"{figure(each['ours'])} {each['unit']}",
        f"{figure(each['reference'])} {each['unit']}", figure(each["ratio"]), each["target"],
        "yes" if each["met"] else "**MISSED**", each["against"],
        f"{each['date']}, load {each['load_before']}, on {places.index(place) + 1}",
    )  # fmt: skip
    return f"| {' | '.join(cells)} |\n"

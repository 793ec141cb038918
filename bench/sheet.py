"""The same month sums in a sheet, recalculated by LibreOffice without a screen: start, load, sums, and the file out."""

from __future__ import annotations

import csv
import resource
import shutil
import subprocess
import time
from collections.abc import Sequence
from datetime import date
from pathlib import Path
from typing import NamedTuple

from openpyxl import Workbook

Sum = tuple[date, int, date]


class Recalculated(NamedTuple):
    """Seconds of clock and processor with the start, of the start alone, and how many sums came out otherwise."""

    clock: float
    processor: float
    start: float
    unequal: int


def office() -> str | None:
    return shutil.which("soffice")


def recalculate(program: str, folder: Path, sums: Sequence[Sum]) -> Recalculated:
    """EDATE of each basis and months, written without results so that they have to be worked out."""
    _write(folder / "nothing.xlsx", [])
    _convert(program, folder, folder / "nothing.xlsx")  # a profile is made the first time
    _, start = _convert(program, folder, folder / "nothing.xlsx")
    _write(folder / "sums.xlsx", sums)
    clock, processor = _convert(program, folder, folder / "sums.xlsx")
    with (folder / "sums.csv").open(newline="") as held:
        found = [row[2] for row in csv.reader(held)]
    unequal = sum(one != due.isoformat() for one, (_, _, due) in zip(found, sums, strict=True))
    return Recalculated(clock, processor, start, unequal)


def _write(path: Path, sums: Sequence[Sum]) -> None:
    book = Workbook(write_only=True)
    page = book.create_sheet()
    for at, (basis, months, _) in enumerate(sums, 1):
        page.append(
            [basis.isoformat(), months, f'=TEXT(EDATE(DATEVALUE(A{at}),B{at}),"YYYY-MM-DD")']
        )
    book.save(path)


def _convert(program: str, folder: Path, path: Path) -> tuple[float, float]:
    """Seconds of clock and of processor that a conversion to CSV takes, the start of the program in them."""
    clock, before = time.perf_counter(), resource.getrusage(resource.RUSAGE_CHILDREN)
    subprocess.run(
        [program, f"-env:UserInstallation=file://{folder / 'profile'}", "--headless",
         "--convert-to", "csv", "--outdir", str(folder), str(path)],
        check=True, capture_output=True,
    )  # fmt: skip
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    spent = after.ru_utime - before.ru_utime + after.ru_stime - before.ru_stime
    return time.perf_counter() - clock, spent

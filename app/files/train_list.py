"""A list of cars as people paste or hand it in: a car a line, and what is to be loaded behind it."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence

from app.files.cells import Cell, as_text, blank, key
from app.files.sheets import Sheet

# A mark, its number, and whatever else stands in the line; in front perhaps the place in the list, as in "12. ".
LINE = re.compile(r"\s*(?:\d{1,4}[.):]\s+)?([A-Za-z]{2,4}[\s,;.-]*\d{1,6})(?![\w.])[\s,;]*(.*)")
# Columns by what a header calls them; of a file that names none of them each row is read as a line.
OF_CAR = ("car", "mark", "number")
OF_LADING = ("lading", "un", "commodity")

CarAndLading = tuple[str, str]


def of_text(text: str) -> list[CarAndLading]:
    """Each line that says anything; one that begins with no mark and number is a car as it stands."""
    return [_of_line(line) for line in text.splitlines() if line.strip()]


def of_sheet(sheet: Sheet) -> list[CarAndLading]:
    """Each row of a CSV file or a workbook, with or without a header."""
    named = [key(name) for name in sheet.header]
    cars = [place for place, name in enumerate(named) if name in OF_CAR]
    if not cars:
        return list(_without_header(sheet))
    ladings = [place for place, name in enumerate(named) if name in OF_LADING]
    return [(_joined(row, cars), _joined(row, ladings[:1])) for _, row in sheet.rows()]


def _without_header(sheet: Sheet) -> Iterator[CarAndLading]:
    if LINE.match(first := " ".join(sheet.header)):
        yield _of_line(first)
    for _, row in sheet.rows():
        yield _of_line(_joined(row, range(len(row))))


def _of_line(line: str) -> CarAndLading:
    found = LINE.match(line)
    return (found[1], found[2].strip()) if found else (line.strip(), "")


def _joined(row: Sequence[Cell], places: Sequence[int]) -> str:
    told = (row[place] for place in places if place < len(row))
    return " ".join(as_text(cell) for cell in told if not blank(cell))

"""Rows of an .xlsx workbook: its first visible sheet that holds anything."""

from __future__ import annotations

import io
import re
import zipfile
import zlib
from collections.abc import Callable, Iterator
from typing import cast
from xml.parsers.expat import ExpatError

from python_calamine import CalamineError, CalamineSheet, CalamineWorkbook, SheetVisibleEnum

from app.errors import Refused
from app.files.cells import Cell
from app.files.sheets_spoilt import Places, spoilt_cells, told

# A workbook of 200,000 rows of 12 columns unpacks to about 120 MB.
MOST_UNPACKED = 1 << 30
MOST_CELLS = 30_000_000
MOST_SHEETS = 100
MOST_MEMBERS = 5_000
CHUNK = 1 << 20
# The longest text that one place of a cell takes in a sheet's XML; it may lie across two chunks.
OVERLAP = 32
PLACE = re.compile(rb"""\sr\s*=\s*["']([A-Za-z]{0,4})([0-9]{1,9})["']""")
BROKEN = (
    CalamineError, ExpatError, zipfile.BadZipFile, zlib.error, OSError, EOFError,
    NotImplementedError,
)  # fmt: skip


def opened(name: str, content: bytes) -> tuple[Callable[[], Iterator[list[Cell]]], int, str]:
    """A fresh reader of the rows each time, how many there are, and which sheets were not read."""
    try:
        _refuse_what_is_no_workbook(name, content)
        sheet, left = _first_with_data(name, CalamineWorkbook.from_filelike(io.BytesIO(content)))
        with zipfile.ZipFile(io.BytesIO(content)) as archive:
            spoilt = spoilt_cells(name, archive, sheet.name)
    except (*BROKEN, RuntimeError) as wrong:
        raise Refused(f"{name} is a broken workbook: {wrong}. Save it again as .xlsx.") from None
    remark = f"Read the sheet {sheet.name!r}; not read: {', '.join(left)}." if left else ""
    about = sheet.end[0] + 1 if sheet.end else 0
    return lambda: _rows(sheet, spoilt), about, remark


def _rows(sheet: CalamineSheet, spoilt: Places) -> Iterator[list[Cell]]:
    rows = cast(Iterator[list[Cell]], sheet.iter_rows())
    first = sheet.start[1] if sheet.start else 0
    return told(rows, first, spoilt) if spoilt else rows


def _refuse_what_is_no_workbook(name: str, content: bytes) -> None:
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        members = archive.namelist()
        if len(members) > MOST_MEMBERS:
            raise Refused(f"{name} packs more than {MOST_MEMBERS:,} files. Save it as CSV.")
        if "xl/workbook.xml" not in members:
            raise Refused(f"{name} is an archive, but no .xlsx workbook. Save it as .xlsx or CSV.")
        unpacked = 0
        for member in members:
            unpacked = _measured(name, archive, member, unpacked)
        with archive.open("xl/workbook.xml") as book:
            if re.search(rb"""date1904\s*=\s*["'](1|true)["']""", book.read()):
                raise Refused(
                    f"{name} counts its days from 1904, so that a day number in it may be read "
                    f"four years wrong. Save it again as CSV, with dates as YYYY-MM-DD."
                )


def _measured(name: str, archive: zipfile.ZipFile, member: str, unpacked: int) -> int:
    """How much is unpacked with this member; refuses what would fill the memory when read.

    A sheet is held as a full rectangle, so that one cell far out would ask for billions.
    """
    sheet = member.startswith("xl/worksheets/")
    rows = columns = 1
    tail = b""
    with archive.open(member) as unpacking:
        while chunk := unpacking.read(CHUNK):
            unpacked += len(chunk)
            if sheet:
                rows, columns = _reach(tail + chunk, rows, columns)
                tail = chunk[-OVERLAP:]
            if unpacked > MOST_UNPACKED or rows * columns > MOST_CELLS:
                raise Refused(
                    f"{name} is too large when unpacked: at most {MOST_UNPACKED >> 20} MB and "
                    f"{MOST_CELLS:,} cells in a sheet. Remove what lies far outside the table, or "
                    f"save it as CSV."
                )
    return unpacked


def _reach(xml: bytes, rows: int, columns: int) -> tuple[int, int]:
    found = PLACE.findall(xml)
    letters = {place[0].upper() for place in found if place[0]}
    columns = max(columns, max(map(_column, letters), default=1))
    return max(rows, max((int(place[1]) for place in found), default=1)), columns


def _column(letters: bytes) -> int:
    number = 0
    for letter in letters:
        number = number * 26 + letter - 64
    return number


def _first_with_data(name: str, book: CalamineWorkbook) -> tuple[CalamineSheet, list[str]]:
    visible = [s.name for s in book.sheets_metadata if s.visible == SheetVisibleEnum.Visible]
    sheets = [book.get_sheet_by_name(title) for title in visible[:MOST_SHEETS]]
    filled = [sheet for sheet in sheets if sheet.end]
    if not filled:
        raise Refused(f"{name} holds no rows at all. Want the names of the columns in the first.")
    return filled[0], [sheet.name for sheet in filled[1:]]

"""Rows out as CSV or as a workbook, written as they come; no cell that a spreadsheet would run.

The one place of the program that writes either.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from pathlib import Path
from tempfile import TemporaryDirectory

from xlsxwriter import Workbook
from xlsxwriter.format import Format
from xlsxwriter.worksheet import Worksheet

from app.errors import Refused

Value = str | int | float | bool | Decimal | date | datetime | None
# A spreadsheet takes a text that begins so for a formula, some also the wide signs of East Asia.
BEGINS_A_FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n", "\0", "＝", "＋", "－", "＠")
ROWS_AT_ONCE = 500
CHUNK = 1 << 16
# What a sheet can hold; one row is the header.
MOST_ROWS = 1_048_575


def csv_bytes(
    header: Sequence[str], rows: Iterable[Sequence[Value]], byte_order_mark: bool = True
) -> Iterator[bytes]:
    """The table as UTF-8 with a byte order mark, by which spreadsheets know it, in pieces."""
    if byte_order_mark:
        yield "\ufeff".encode()
    held = io.StringIO()
    writer = csv.writer(held, lineterminator="\r\n")
    writer.writerow([_as_csv(name) for name in header])
    for count, row in enumerate(rows, start=1):
        writer.writerow([_as_csv(value) for value in row])
        if count % ROWS_AT_ONCE == 0:
            yield _taken(held)
    yield _taken(held)


def _taken(held: io.StringIO) -> bytes:
    text = held.getvalue()
    held.seek(0)
    held.truncate()
    return text.encode()


def _as_csv(value: Value) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, Decimal):
        return f"{value:f}"
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, str) and value.startswith(BEGINS_A_FORMULA):
        return f"'{value}"
    return str(value)


def xlsx_bytes(
    header: Sequence[str], rows: Iterable[Sequence[Value]], title: str = "Stencilbook"
) -> Iterator[bytes]:
    """The table as an .xlsx workbook in pieces; put on disk first, so that memory stays flat.

    Raises Refused, naming CSV, for more rows than a sheet holds.
    """
    return workbook_bytes([Sheet(title, header, rows)])


@dataclass(frozen=True, slots=True)
class Sheet:
    """A sheet of a workbook: its title, its header and its rows."""

    title: str
    header: Sequence[str]
    rows: Iterable[Sequence[Value]]


def workbook_bytes(sheets: Sequence[Sheet]) -> Iterator[bytes]:
    """Several tables as one workbook; as `xlsx_bytes`."""
    with TemporaryDirectory(prefix="stencilbook-") as folder:
        path = Path(folder) / "table.xlsx"
        _write(path, sheets)
        with path.open("rb") as written:
            while piece := written.read(CHUNK):
                yield piece


def _write(path: Path, sheets: Sequence[Sheet]) -> None:
    settings = {
        "constant_memory": True,
        "tmpdir": str(path.parent),
        "strings_to_formulas": False,
        "strings_to_urls": False,
        "strings_to_numbers": False,
        "default_date_format": "yyyy-mm-dd",
    }
    with Workbook(str(path), settings) as book:
        # Without it the file would tell when it was made, and no two would be alike.
        book.set_properties({"created": datetime(2000, 1, 1)})  # noqa: DTZ001  no zone in a workbook
        bold = book.add_format({"bold": True})
        # A text cell is not run, but would be once someone edits it or saves the sheet as CSV.
        only_text = book.add_format({"quote_prefix": True})
        for each in sheets:
            _write_sheet(book.add_worksheet(each.title[:31]), each, bold, only_text)


def _write_sheet(sheet: Worksheet, table: Sheet, bold: Format, only_text: Format) -> None:
    sheet.freeze_panes(1, 0)
    for place, name in enumerate(table.header):
        sheet.set_column(place, place, max(11, len(name) + 2))
    sheet.write_row(0, 0, table.header, bold)
    for number, row in enumerate(table.rows, start=1):
        if number > MOST_ROWS:
            raise Refused(
                f"An .xlsx sheet holds at most {MOST_ROWS:,} rows, and this list has more. "
                f"Take it as CSV, or filter it further."
            )
        _write_row(sheet, number, row, only_text)


def _write_row(sheet: Worksheet, number: int, row: Sequence[Value], only_text: Format) -> None:
    for place, value in enumerate(row):
        if isinstance(value, bool):
            sheet.write_string(number, place, "yes" if value else "no")
        elif isinstance(value, int | float | Decimal):
            sheet.write_number(number, place, value)
        elif isinstance(value, date):
            sheet.write_datetime(number, place, value)
        elif value is not None and value != "":
            quoted = only_text if value.startswith(BEGINS_A_FORMULA) else None
            sheet.write_string(number, place, value, quoted)

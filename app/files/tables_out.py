"""Rows out as CSV, as a workbook or as JSON, written as they come; no text that a spreadsheet would run.

The one place of the program that writes any of them. The only formulas are our own: sums of months and totals.
"""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime
from decimal import Decimal
from itertools import chain, islice
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any, Literal

from xlsxwriter import Workbook
from xlsxwriter.utility import xl_col_to_name
from xlsxwriter.worksheet import Worksheet

from app.core.months import add_months, month_end, year_end
from app.errors import Refused

Kind = Literal["text", "number", "day", "yes or no", "moment"]
# How a column is told under the table: added up, or how often each of its values stands in it.
Total = Literal["", "sum", "each"]


@dataclass(frozen=True, slots=True)
class Column:
    """A column of a list taken away: its name, what stands in it, as what, and how it is told under the table.

    `note` names the column whose text is put beside its cells as a note, where the table is short enough.
    """

    name: str
    says: str
    kind: Kind = "text"
    total: Total = ""
    note: str = ""


@dataclass(frozen=True, slots=True)
class Counted:
    """A day with the formula that a spreadsheet works it out by; `{name}` is a cell of the same row."""

    day: date
    formula: str


Value = str | int | float | bool | Decimal | date | datetime | Counted | None
# A spreadsheet takes a text that begins so for a formula, some also the wide signs of East Asia.
BEGINS_A_FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n", "\0", "＝", "＋", "－", "＠")
ROWS_AT_ONCE = 500
CHUNK = 1 << 16
# What a sheet can hold; one row is the header.
MOST_ROWS = 1_048_575
# A note takes as much room as ten cells: a longer table has its reasons in their column alone.
MOST_NOTED = 2_000
# Of a note no program shows more at once; the whole of it stands in its column.
LONGEST_NOTE = 1_500
# The least widths of columns, in figures: as wide as what stands in them.
WIDTH, WIDTH_OF_MOMENT = 11, 20
# Day 0 of a spreadsheet (ECMA-376, part 1, 18.17.4.1, the 1900 date base as it is used from March 1900 on).
DAY_ZERO = date(1899, 12, 30)


def counted(basis: date | None, months: int | None, gives: date | None) -> Value:
    """A day that is a basis and whole months, by columns `basis_on` and `interval_months`; else the day as it is.

    Moved to the end of its month or year where that is what `gives` shows.
    """
    if basis is None or months is None or gives is None:
        return gives
    total = add_months(basis, months)
    on = "EDATE({basis_on},{interval_months})"
    for day, formula in (
        (total, on),
        (month_end(total), f"EOMONTH({on},0)"),
        (year_end(total), f"DATE(YEAR({on}),12,31)"),
    ):
        if day == gives:
            return Counted(gives, formula)
    return gives


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
    if isinstance(value, Counted):
        return value.day.isoformat()
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, Decimal):
        return f"{value:f}"
    if isinstance(value, date):
        return _as_text(value)
    if isinstance(value, str) and value.startswith(BEGINS_A_FORMULA):
        return f"'{value}"
    return str(value)


def _as_text(value: date) -> str:
    """A day, or a moment in UTC to the second (ISO 8601)."""
    if isinstance(value, datetime):
        return f"{value.astimezone(UTC):%Y-%m-%dT%H:%M:%S}Z"
    return value.isoformat()


def json_bytes(header: Sequence[str], rows: Iterable[Sequence[Value]]) -> Iterator[bytes]:
    """A list of objects, one a line, as they come: days as YYYY-MM-DD, exact decimals as texts, nothing as null."""
    before = b"[\n"
    for row in rows:
        told = {name: _as_json(value) for name, value in zip(header, row, strict=True)}
        yield before + json.dumps(told, ensure_ascii=False).encode()
        before = b",\n"
    yield b"[]\n" if before == b"[\n" else b"\n]\n"


def _as_json(value: Value) -> Any:
    if isinstance(value, Counted):
        return value.day.isoformat()
    if isinstance(value, date):
        return _as_text(value)
    return f"{value:f}" if isinstance(value, Decimal) else value


@dataclass(frozen=True, slots=True)
class Sheet:
    """A sheet of a workbook: its title, its columns and its rows."""

    title: str
    columns: Sequence[Column]
    rows: Iterable[Sequence[Value]]


def plain(*names: str) -> tuple[Column, ...]:
    """Columns of which nothing more is stated."""
    return tuple(Column(name, "") for name in names)


def xlsx_bytes(
    columns: Sequence[Column], rows: Iterable[Sequence[Value]], title: str = "Stencilbook"
) -> Iterator[bytes]:
    """The table as an .xlsx workbook in pieces; put on disk first, so that memory stays flat.

    Raises Refused, naming CSV, for more rows than a sheet holds.
    """
    return workbook_bytes([Sheet(title, columns, rows)])


def workbook_bytes(sheets: Sequence[Sheet]) -> Iterator[bytes]:
    """Several tables as one workbook, with what each column says in a sheet of its own; as `xlsx_bytes`."""
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
        for each in sheets:
            _Writing(book, book.add_worksheet(each.title[:31]), each).write()
        stated = [(each.title, column) for each in sheets for column in each.columns if column.says]
        if stated:
            _write_columns(book, stated)


SAYS = plain("sheet", "column", "kind", "what stands in it")


def _write_columns(book: Workbook, stated: Sequence[tuple[str, Column]]) -> None:
    rows = [(title, column.name, column.kind, column.says) for title, column in stated]
    _Writing(book, book.add_worksheet("Columns"), Sheet("Columns", SAYS, rows)).write()


@dataclass
class _Writing:
    """A sheet while it is written, row after row."""

    book: Workbook
    sheet: Worksheet
    table: Sheet
    with_notes: bool = False

    def __post_init__(self) -> None:
        columns = self.table.columns
        self.places = {column.name: place for place, column in enumerate(columns)}
        self.noted = [
            (self.places[each.name], self.places[each.note]) for each in columns if each.note
        ]
        self.each = {
            place: dict[str, int]() for place, each in enumerate(columns) if each.total == "each"
        }
        self.sums = {place: 0.0 for place, each in enumerate(columns) if each.total == "sum"}
        # A text cell is not run, but would be once someone edits it or saves the sheet as CSV.
        self.only_text = self.book.add_format({"quote_prefix": True})
        self.bold = self.book.add_format({"bold": True})
        self.as_moment = self.book.add_format({"num_format": "yyyy-mm-dd hh:mm:ss"})
        self.as_day = self.book.add_format({"num_format": "yyyy-mm-dd"})

    def write(self) -> None:
        names = [column.name for column in self.table.columns]
        self.sheet.freeze_panes(1, 0)
        for place, column in enumerate(self.table.columns):
            least = WIDTH_OF_MOMENT if column.kind == "moment" else WIDTH
            self.sheet.set_column(place, place, max(least, len(column.name) + 2))
        self.sheet.write_row(0, 0, names, self.bold)
        last = 0
        for last, row in enumerate(self._rows(), start=1):
            _refuse_beyond(last)
            self._row(last, row)
        self.sheet.autofilter(0, 0, last, len(names) - 1)
        if any(column.total for column in self.table.columns):
            self._totals(last)

    def _rows(self) -> Iterator[Sequence[Value]]:
        """The rows, and whether they are few enough for notes: a row that is written takes none any more."""
        coming = iter(self.table.rows)
        first = list(islice(coming, MOST_NOTED + 1))
        self.with_notes = len(first) <= MOST_NOTED
        return chain(first, coming)

    def _row(self, number: int, row: Sequence[Value]) -> None:
        for place, value in enumerate(row):
            self._cell(number, place, value)
        for place, told in self.noted if self.with_notes else ():
            if row[told]:
                text = str(row[told])[:LONGEST_NOTE]
                self.sheet.write_comment(number, place, text, {"x_scale": 3, "y_scale": 2})
        for place, found in self.each.items():
            text = str(row[place] or "")
            found[text] = found.get(text, 0) + 1
        for place in self.sums:
            self.sums[place] += float(row[place] or 0)  # type: ignore[arg-type]

    def _cell(self, number: int, place: int, value: Value) -> None:
        sheet = self.sheet
        if isinstance(value, bool):
            sheet.write_string(number, place, "yes" if value else "no")
        elif isinstance(value, int | float | Decimal):
            sheet.write_number(number, place, value)
        elif isinstance(value, datetime):
            in_utc = value.astimezone(UTC).replace(tzinfo=None, microsecond=0)
            sheet.write_datetime(number, place, in_utc, self.as_moment)
        elif isinstance(value, date):
            sheet.write_datetime(number, place, value)
        elif isinstance(value, Counted):
            self._counted(number, place, value)
        elif value is not None and value != "":
            quoted = self.only_text if value.startswith(BEGINS_A_FORMULA) else None
            sheet.write_string(number, place, value, quoted)

    def _counted(self, number: int, place: int, value: Counted) -> None:
        cells = {name: f"{xl_col_to_name(at)}{number + 1}" for name, at in self.places.items()}
        formula, serial = value.formula.format(**cells), (value.day - DAY_ZERO).days
        self.sheet.write_formula(number, place, f"={formula}", self.as_day, serial)

    def _totals(self, last: int) -> None:
        """Below the table and a row left empty, so that a filter of the table leaves them alone."""
        told: list[tuple[str, str, int, float]] = [("rows", "SUBTOTAL(103,{})", 0, last)]
        told += [
            (f"sum of {self.table.columns[place].name}", "SUBTOTAL(109,{})", place, total)
            for place, total in self.sums.items()
        ]
        told += [
            (text or "(empty)", f'COUNTIF({{}},"{text}")', place, count)
            for place, found in self.each.items()
            for text, count in found.items()
        ]
        for number, (name, formula, place, value) in enumerate(told, start=last + 2):
            self.sheet.write_string(number, 0, name, self.bold)
            formula = "=" + formula.format(self._range(place, last))
            self.sheet.write_formula(number, 1, formula, self.bold, value)

    def _range(self, place: int, last: int) -> str:
        name = xl_col_to_name(place)
        return f"{name}2:{name}{max(last, 1) + 1}"


def _refuse_beyond(number: int) -> None:
    if number > MOST_ROWS:
        raise Refused(
            f"An .xlsx sheet holds at most {MOST_ROWS:,} rows, and this list has more. "
            f"Take it as CSV, or filter it further."
        )

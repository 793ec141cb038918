"""Rows of a sheet to what they state: typed values by subject, or faults with their place."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from app.actions.imports.report import Report
from app.files.cells import Cell, Spoilt, Unreadable, blank
from app.files.columns import Column, Kind
from app.files.headers import RowFault, matched
from app.files.sheets import Sheet

# Rows looked up and stored together: large enough for few queries, small enough for little memory.
BATCH = 4_000
Values = dict[str, dict[str, Any]]


@dataclass(slots=True)
class Stated:
    """One row: its number, the values by subject and field, and a digest that equal rows share.

    `unread` names the columns whose cell could not be taken; such a row is only looked at for what
    else is wrong with it.
    """

    row: int
    values: Values
    digest: int
    unread: frozenset[str] = frozenset()

    def about(self, subject: str) -> dict[str, Any]:
        return self.values.get(subject, {})


def batches(kind: Kind, sheet: Sheet, report: Report) -> Iterator[list[Stated]]:
    """The rows in lists; what of them cannot be read becomes faults of the report.

    A row that does not fit its header is left out: nobody knows which of its cells is which.
    Nothing follows when the header itself is at fault.
    """
    columns = matched(kind, sheet.header, sheet.header_row)
    report.faults += columns.faults
    if columns.faults:
        return
    readers = [_Reader(at, each) for at, each in enumerate(columns.columns) if each is not None]
    held: list[Stated] = []
    for number, cells in sheet.rows():
        report.rows += 1
        stated = _row(number, cells, len(columns.columns), readers, report)
        if stated is not None:
            held.append(stated)
        if len(held) >= BATCH:
            yield held
            held = []
    yield held


class _Reader:
    """A column at its place, remembering cells it has read: files repeat themselves."""

    __slots__ = ("at", "column", "field", "name", "read", "subject")

    def __init__(self, at: int, column: Column) -> None:
        self.at, self.column = at, column
        self.subject, self.field, self.name = column.about, column.field, column.name
        self.read: Callable[[Cell], Any] = lru_cache(maxsize=8_192, typed=True)(column.read)


def _row(
    number: int, cells: list[Cell], width: int, readers: list[_Reader], report: Report
) -> Stated | None:
    faults = _overhang(number, cells, width)
    values: Values = {}
    said: list[Any] = []
    for reader in readers:
        cell = cells[reader.at] if reader.at < len(cells) else None
        if cell is None or cell == "" or blank(cell):
            said.append(None)
            if reader.column.required:
                faults.append(
                    RowFault(number, reader.name, "", f"{reader.name}, which must be there")
                )
            continue
        if isinstance(cell, Spoilt):
            faults.append(RowFault(number, reader.name, cell.found, cell.wanted))
            continue
        try:
            value = reader.read(cell)
        except Unreadable as wrong:
            faults.append(RowFault(number, reader.name, wrong.found, wrong.wanted))
            continue
        said.append(value)
        about = values.get(reader.subject)
        if about is None:
            about = values[reader.subject] = {}
        about[reader.field] = value
    if not faults:
        return Stated(number, values, hash(tuple(said)))
    report.faults += faults
    if any(not fault.column for fault in faults):
        return None
    return Stated(number, values, 0, frozenset(fault.column for fault in faults))


def beside_unread(row: Stated, faults: Iterable[RowFault]) -> list[RowFault]:
    """Those faults that are not of a cell which could not be read and was told already."""
    return [fault for fault in faults if fault.column not in row.unread]


def _overhang(number: int, cells: list[Cell], width: int) -> list[RowFault]:
    """A comma within a text without quotation marks shifts all that follows it."""
    if len(cells) <= width or all(blank(cell) for cell in cells[width:]):
        return []
    wanted = f"{width} cells as in the header, got {len(cells)}; a text with the separator in it needs quotation marks"
    return [RowFault(number, "", "", wanted)]


class Repeats:
    """Which rows of a file say what an earlier one said already."""

    def __init__(self) -> None:
        self._first: dict[Any, tuple[int, int]] = {}

    def of(self, key: Any, stated: Stated) -> tuple[int, bool] | None:
        """The earlier row of this key and whether it says the same; None for the first."""
        earlier = self._first.setdefault(key, (stated.row, stated.digest))
        if earlier[0] == stated.row:
            return None
        return earlier[0], earlier[1] == stated.digest


def _named(row: Stated) -> str:
    """The car that a row is about, where it is about one."""
    name = row.about("name")
    return f"{name['mark']} {name['number']}" if name else ""


def is_repeated(key: Any, stated: Stated, known_by: str, repeats: Repeats, report: Report) -> bool:
    """Count or refuse a row whose key an earlier row of the file has; False for the first of a key."""
    earlier = repeats.of(key, stated)
    if earlier is None:
        return False
    row, same = earlier
    if same:
        report.repeated += 1
    else:
        wanted = f"one row for each {known_by}; row {row} says otherwise of it"
        report.faults.append(RowFault(stated.row, "", _named(stated), wanted))
    return True

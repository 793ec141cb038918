"""Which column of a file is which: header titles against the columns of its kind."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from app.files.cells import key, nearest
from app.files.columns import COLUMNS, Column, Kind, titles


@dataclass(frozen=True, slots=True)
class RowFault:
    """One cell, or one row, that cannot be taken; `row` as a spreadsheet numbers it."""

    row: int
    column: str
    found: str
    wanted: str

    @property
    def place(self) -> str:
        return f"row {self.row}, {self.column}" if self.column else f"row {self.row}"

    @property
    def problem(self) -> str:
        return f"found {self.found!r}; want {self.wanted}" if self.found else f"want {self.wanted}"

    def __str__(self) -> str:
        return f"{self.place}: {self.problem}"


@dataclass(frozen=True, slots=True)
class Matched:
    """The columns of a file in its order; None where the title is empty or in brackets."""

    columns: tuple[Column | None, ...]
    faults: tuple[RowFault, ...]


def matched(kind: Kind, header: Sequence[str], row: int = 1) -> Matched:
    """Titles matched whatever their capitals, spaces, dashes or underscores; all faults listed.

    A title in brackets is that of a column to be passed over. None is passed over by itself: it may be one of ours
    with a slip in its title.
    """
    known = _by_title(kind)
    columns = tuple(None if _passed_over(title) else known.get(key(title)) for title in header)
    faults = [
        *_unknown(kind, header, columns, row),
        *_twice(columns, row),
        *_missing(kind, columns, row),
    ]
    return Matched(columns, tuple(faults))


def _passed_over(title: str) -> bool:
    return title.strip().startswith("(") and title.strip().endswith(")")


def _by_title(kind: Kind) -> dict[str, Column]:
    return {key(title): column for column in COLUMNS[kind] for title in titles(column)}


def _unknown(
    kind: Kind, header: Sequence[str], columns: Sequence[Column | None], row: int
) -> list[RowFault]:
    names = [column.name for column in COLUMNS[kind]]
    return [
        RowFault(
            row,
            title,
            title,
            f"a column of a file of {kind}{nearest(title, names)}, or ({title}) to pass it over",
        )
        for title, column in zip(header, columns, strict=True)
        if title and column is None and not _passed_over(title)
    ]


def _twice(columns: Sequence[Column | None], row: int) -> list[RowFault]:
    names = [column.name for column in columns if column]
    again = dict.fromkeys(name for name in names if names.count(name) > 1)
    return [
        RowFault(row, name, name, "each column once; this one is there twice") for name in again
    ]


def _missing(kind: Kind, columns: Sequence[Column | None], row: int) -> list[RowFault]:
    return [
        RowFault(row, column.name, "", f"the column {column.name}, which must be there")
        for column in COLUMNS[kind]
        if column.required and column not in columns
    ]

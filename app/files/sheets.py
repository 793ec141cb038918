"""A CSV file or a workbook as a sheet: a header and rows with the numbers a spreadsheet gives them.

What the file is, is told by its content; a name that says otherwise is refused.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path, PurePath

from app.errors import Refused
from app.files import sheets_csv, sheets_xlsx
from app.files.cells import Cell, blank

Row = list[Cell]
# What a file of another sort begins with, and what to say of it.
STRANGERS = (
    (b"%PDF", "is a PDF"),
    (b"\xd0\xcf\x11\xe0", "is an old .xls workbook, or one with a password"),
    (b"\x89PNG", "is a picture"),
    (b"\xff\xd8\xff", "is a picture"),
    (b"\x1f\x8b", "is packed with gzip"),
    (b"7z\xbc\xaf", "is a packed archive"),
    (b"Rar!", "is a packed archive"),
    (b"{\\rtf", "is a text document"),
    (b"<!DOCTYPE", "is a web page"),
    (b"<html", "is a web page"),
)
WANTED = "Want a CSV file in UTF-8, or an .xlsx workbook."
TEXTS = (".csv", ".txt", ".tsv")
WORKBOOK = ".xlsx"
# As many as a sheet holds; more would hold up everyone else's work.
MOST_ROWS = 1_048_576


@dataclass(frozen=True)
class Sheet:
    """`header` is the first row that is not empty, `about` about how many rows follow it.

    `rows()` gives each row that is not empty with its number, as often as asked, in the order of
    the file; it raises Refused where the file is broken. `remark` tells what was not read.
    """

    name: str
    sha256: str
    header: tuple[str, ...]
    header_row: int
    about: int
    remark: str
    _all: Callable[[], Iterator[Row]]

    def rows(self) -> Iterator[tuple[int, Row]]:
        for number, row in enumerate(self._all(), start=1):
            if number > self.header_row and not all(blank(cell) for cell in row):
                yield number, row


def read(name: str, content: bytes | Path) -> Sheet:
    """The sheet of a file; raises Refused with a sentence when there is none to be had."""
    if isinstance(content, Path):
        content = _of_disk(name, content)
    _refuse_strangers(name, content)
    opened = sheets_xlsx if content.startswith(b"PK") else sheets_csv
    every, about, remark = opened.opened(name, content)
    _refuse_other_names(name, content.startswith(b"PK"))
    if about > MOST_ROWS:
        raise Refused(f"{name} has more than {MOST_ROWS:,} rows. Part it into several files.")
    header_row, header = _header(name, every())
    digest = hashlib.sha256(content).hexdigest()
    return Sheet(name, digest, header, header_row, max(0, about - header_row), remark, every)


def _of_disk(name: str, path: Path) -> bytes:
    try:
        return path.read_bytes()
    except OSError as wrong:
        raise Refused(f"{name} cannot be read: {wrong.strerror or wrong}.") from None


def _refuse_strangers(name: str, content: bytes) -> None:
    if not content.strip():
        raise Refused(f"{name} is empty. {WANTED}")
    beginning = content[:16].lstrip()
    for start, sort in STRANGERS:
        if beginning.lower().startswith(start.lower()):
            raise Refused(f"{name} {sort}. {WANTED}")


def _refuse_other_names(name: str, packed: bool) -> None:
    ending = PurePath(name).suffix.lower()
    if ending not in (*TEXTS, WORKBOOK):
        raise Refused(f"{name} is named as a file of another kind. {WANTED}")
    if packed != (ending == WORKBOOK):
        holds = "a workbook or an archive" if packed else "plain text"
        raise Refused(f"{name} is named {ending} but holds {holds}. Save it again as what it is.")


def _header(name: str, rows: Iterator[Row]) -> tuple[int, tuple[str, ...]]:
    for number, row in enumerate(rows, start=1):
        if not all(blank(cell) for cell in row):
            titles = ["" if cell is None else str(cell).strip() for cell in row]
            while titles and not titles[-1]:
                titles.pop()
            return number, tuple(titles)
    raise Refused(f"{name} holds no rows at all. {WANTED}")

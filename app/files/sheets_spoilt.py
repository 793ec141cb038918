"""Cells of a workbook that hold no value: an error such as #N/A, or a formula that was never worked out.

What reads the rows gives them as empty, and empty says something else. So they are looked for in the
sheet's XML, as a stream, and only where anything in it looks like an error or a formula.
"""

from __future__ import annotations

import posixpath
import zipfile
from collections.abc import Callable, Iterator
from itertools import count
from typing import IO
from xml.parsers.expat import ParserCreate

from app.errors import Refused
from app.files.cells import Cell, Spoilt

CHUNK = 1 << 20
# A workbook with more of them was not meant to be brought in as it is.
MOST = 10_000
# One of these stands in the XML of every sheet with an error or a formula, whatever its writer.
SIGNS = (b'"e"', b"'e'", b"<f", b":f")
NOT_WORKED_OUT = Spoilt(
    "a formula without a stored value", "its value: open the workbook, let it calculate and save it"
)
MEND = "a value, or an empty cell; mend what the workbook could not work out"
Attributes = dict[str, str]
Row = list[Cell]
# By row, counted from 1: the places, counted from 0, of cells without a value, and what is there.
Places = dict[int, list[tuple[int, Spoilt]]]


def spoilt_cells(name: str, archive: zipfile.ZipFile, title: str) -> Places:
    """The cells without a value of the sheet with this title."""
    member = _member(archive, title)
    if not _may_hold_any(archive, member):
        return {}
    cells = _Cells(name)
    with archive.open(member) as unpacking:
        _go_through(unpacking, cells.start, cells.end, cells.text)
    return cells.found


def told(rows: Iterator[Row], first: int, spoilt: Places) -> Iterator[Row]:
    """The rows with those cells in their places, also past the last row that holds anything else.

    `first` is the place at which the rows begin.
    """
    last = max(spoilt, default=0)
    for number in count(1):
        row = next(rows, None)
        if row is None and number > last:
            return
        row = [None] * first + row if row else []
        for place, cell in spoilt.get(number, ()):
            row += [None] * (place + 1 - len(row))
            row[place] = cell
        yield row


def _may_hold_any(archive: zipfile.ZipFile, member: str) -> bool:
    tail = b""
    with archive.open(member) as unpacking:
        while chunk := unpacking.read(CHUNK):
            if any(sign in tail + chunk[:2] or sign in chunk for sign in SIGNS):
                return True
            tail = chunk[-2:]
    return False


class _Cells:
    """Hears the elements of a sheet and notes the cells that hold no value."""

    def __init__(self, name: str) -> None:
        self.name, self.count = name, 0
        self.found: Places = {}
        self.row, self.place, self.kind = 0, -1, ""
        self.formula = self.valued = self.in_value = False
        self.value = ""

    def start(self, element: str, attributes: Attributes) -> None:
        if element == "c":
            # A cell or row without a place of its own follows the one before it.
            self.place = _place(attributes["r"]) if "r" in attributes else self.place + 1
            self.kind = attributes.get("t", "")
            self.formula = self.valued = False
            self.value = ""
        elif element == "v":
            self.valued = self.in_value = True
        elif element == "f":
            self.formula = True
        elif element == "row":
            self.row = int(attributes.get("r", self.row + 1))
            self.place = -1

    def text(self, characters: str) -> None:
        if self.in_value:
            self.value += characters

    def end(self, element: str) -> None:
        if element == "v":
            self.in_value = False
        elif element == "c" and (self.formula or self.kind == "e"):
            self._note()

    def _note(self) -> None:
        if self.kind == "e":
            cell = Spoilt(self.value or "an error", MEND)
        # A formula that gives an empty text has a value, which is that.
        elif self.value or (self.kind == "str" and self.valued):
            return
        else:
            cell = NOT_WORKED_OUT
        self.found.setdefault(self.row, []).append((self.place, cell))
        self.count += 1
        if self.count > MOST:
            raise Refused(
                f"{self.name} holds more than {MOST:,} cells with an error or a formula without a "
                f"stored value. Open the workbook, let it calculate and save it."
            )


def _place(reference: str) -> int:
    """A as 0, B as 1, AA as 26."""
    number = 0
    for sign in reference.upper():
        if "A" <= sign <= "Z":
            number = number * 26 + ord(sign) - 64
    return number - 1


def _member(archive: zipfile.ZipFile, title: str) -> str:
    """Where in the archive the sheet of this title lies."""
    sheets: dict[str, str] = {}
    targets: dict[str, str] = {}

    def sheet(element: str, attributes: Attributes) -> None:
        if element == "sheet":
            ids = [value for key, value in attributes.items() if key.rpartition(":")[2] == "id"]
            sheets[attributes.get("name", "")] = next(iter(ids), "")

    def relation(element: str, attributes: Attributes) -> None:
        if element == "Relationship":
            targets[attributes.get("Id", "")] = attributes.get("Target", "")

    for part, hear in (("xl/workbook.xml", sheet), ("xl/_rels/workbook.xml.rels", relation)):
        with archive.open(part) as unpacking:
            _go_through(unpacking, hear)
    target = targets.get(sheets.get(title, ""), "")
    return posixpath.normpath(posixpath.join("/xl", target)).lstrip("/")


def _go_through(
    xml: IO[bytes],
    start: Callable[[str, Attributes], None],
    end: Callable[[str], None] | None = None,
    text: Callable[[str], None] | None = None,
) -> None:
    """Tell the elements by their names without prefix."""
    parser = ParserCreate()
    parser.buffer_text = True

    def begun(element: str, attributes: Attributes) -> None:
        start(element.rpartition(":")[2], attributes)

    def doctype(*declared: object) -> None:
        # Entities of its own are what makes a small file large; no workbook has any.
        raise zipfile.BadZipFile("its XML declares a document type")

    parser.StartElementHandler = begun
    parser.StartDoctypeDeclHandler = doctype
    if end and text:
        parser.EndElementHandler = lambda element: end(element.rpartition(":")[2])
        parser.CharacterDataHandler = text
    parser.ParseFile(xml)

"""Lists of cars as people paste and hand them in."""

from __future__ import annotations

import io

import pytest
from openpyxl import Workbook

from app.files import sheets, train_list

# A line as somebody writes it; the car and the lading that are read from it.
LINES = [
    ("ZQKX 104512", ("ZQKX 104512", "")),
    ("ZQKX104512", ("ZQKX104512", "")),
    ("zqkx-0104512".replace("0104512", "104512"), ("zqkx-104512", "")),
    ("ZQKX,104512,UN1789", ("ZQKX,104512", "UN1789")),
    ("ZQKX\t104512\tHydrochloric acid", ("ZQKX\t104512", "Hydrochloric acid")),
    ("  ZQKX 104512 UN1789  ", ("ZQKX 104512", "UN1789")),
    ("ZQKX 104512; UN 1789", ("ZQKX 104512", "UN 1789")),
    ("12. ZQKX 104512 UN1789", ("ZQKX 104512", "UN1789")),
    ("3) ZQKX 104512", ("ZQKX 104512", "")),
    # No mark and number: left as it stands, so that the answer says so.
    ("12 cars of the night train", ("12 cars of the night train", "")),
    ("ZQKX", ("ZQKX", "")),
    ("ZQKX 1045123 UN1789", ("ZQKX 1045123 UN1789", "")),
]


@pytest.mark.parametrize(("line", "read"), LINES)
def test_a_line_is_a_car_and_what_is_to_be_loaded(line, read):
    assert train_list.of_text(line) == [read]


def test_empty_lines_say_nothing():
    assert train_list.of_text("\n ZQKX 1\n\t\n\nZQKX 2\r\n") == [("ZQKX 1", ""), ("ZQKX 2", "")]


# Rows of a file, with a header, with one in other words, and without any.
FILES = [
    ([("Mark", "Number", "UN"), ("ZQKX", 104512, "UN1789"), ("ZQKX", 7, None)],
     [("ZQKX 104512", "UN1789"), ("ZQKX 7", "")]),
    ([("Position", "Car", "Lading"), (1, "ZQKX 104512", "Hydrochloric acid")],
     [("ZQKX 104512", "Hydrochloric acid")]),
    ([("ZQKX 104512",), ("ZQKX 7",)], [("ZQKX 104512", ""), ("ZQKX 7", "")]),
    ([("Tonight",), ("ZQKX 7",)], [("ZQKX 7", "")]),
    ([("ZQKX", "104512", "UN1789"), ("ZQKX", "7", "")], [("ZQKX 104512", "UN1789"), ("ZQKX 7", "")]),
]  # fmt: skip


@pytest.mark.parametrize(("rows", "read"), FILES)
@pytest.mark.parametrize("kind", ["csv", "xlsx"])
def test_a_file_is_read_with_or_without_a_header(rows, read, kind):
    written = _csv(rows) if kind == "csv" else _xlsx(rows)
    assert train_list.of_sheet(sheets.read(f"train.{kind}", written)) == read


def _csv(rows) -> bytes:
    lines = (",".join("" if cell is None else str(cell) for cell in row) for row in rows)
    return "\n".join(lines).encode()


def _xlsx(rows) -> bytes:
    book = Workbook()
    for row in rows:
        book.active.append(row)
    held = io.BytesIO()
    book.save(held)
    return held.getvalue()

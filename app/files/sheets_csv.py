"""Rows of a CSV file: UTF-8, with commas, semicolons or tabs, told by its first line."""

from __future__ import annotations

import codecs
import csv
import io
from collections.abc import Callable, Iterator

from app.errors import Refused
from app.files.cells import Cell

DELIMITERS = ",;\t"
CHUNK = 1 << 20
MOST_COLUMNS = 1_000
UTF_16 = (codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)
SAVE_AS_UTF_8 = 'Save it again as "CSV UTF-8".'


def opened(name: str, content: bytes) -> tuple[Callable[[], Iterator[list[Cell]]], int, str]:
    """A fresh reader of the rows each time, about how many rows there are, and no remark."""
    _refuse_what_is_no_text(name, content)
    delimiter, skipped = _delimiter(content)

    def every() -> Iterator[list[Cell]]:
        text = io.TextIOWrapper(io.BytesIO(content), "utf-8-sig", newline="")
        return _rows(name, csv.reader(text, delimiter=delimiter, strict=True), skipped)

    unended = not content.endswith(b"\n")
    return every, content.count(b"\n") + unended, ""


def _refuse_what_is_no_text(name: str, content: bytes) -> None:
    if content.startswith(UTF_16):
        raise Refused(f"{name} is written in UTF-16. {SAVE_AS_UTF_8}")
    if (place := content.find(b"\0")) >= 0:
        raise Refused(f"{name} is no text: line {_line(content, place)} holds a zero byte.")
    decoder = codecs.getincrementaldecoder("utf-8")()
    for start in range(0, len(content), CHUNK):
        held = len(decoder.getstate()[0])
        try:
            decoder.decode(content[start : start + CHUNK], final=start + CHUNK >= len(content))
        except UnicodeDecodeError as wrong:
            place = start - held + wrong.start
            raise Refused(
                f"{name} is not written in UTF-8: line {_line(content, place)} holds the byte "
                f"0x{content[place]:02X}, {_around(content, place)}. {SAVE_AS_UTF_8}"
            ) from None


def _line(content: bytes, place: int) -> int:
    return content.count(b"\n", 0, place) + 1


def _around(content: bytes, place: int) -> str:
    """What stands about the bad byte, so that it can be found by looking."""
    before = content[max(0, place - 20) : place].decode("utf-8", "ignore").split("\n")[-1]
    after = content[place + 1 : place + 15].decode("utf-8", "ignore").split("\n")[0]
    return f"in {(before + '?' + after).strip()!r}"


def _delimiter(content: bytes) -> tuple[str, bool]:
    """The sign that parts the first line, and whether that line only names it (`sep=;`)."""
    first = next((line for line in _lines(content) if line.strip()), "")
    if (
        first.strip().lower()[:4] == "sep="
        and first.strip()[4:5] in DELIMITERS
        and first.strip()[4:]
    ):
        return first.strip()[4], True
    outside = "".join(first.split('"')[::2])
    return max(DELIMITERS, key=outside.count), False


def _lines(content: bytes) -> Iterator[str]:
    text = io.TextIOWrapper(io.BytesIO(content), "utf-8-sig")
    for _ in range(1000):
        yield text.readline(CHUNK)


def _rows(name: str, rows: Iterator[list[str]], skipped: bool) -> Iterator[list[Cell]]:
    number = 0
    try:
        for number, row in enumerate(rows, start=1):
            if len(row) > MOST_COLUMNS:
                raise csv.Error(f"the next has more than {MOST_COLUMNS:,} columns")
            yield [] if skipped and number == 1 else list(row)
    except csv.Error as wrong:
        raise Refused(
            f"{name} cannot be read past row {number}: {wrong}. A quotation mark may be missing."
        ) from None

"""What a person reads off a page: its table's rows, its words."""

import csv
import io
import re
from html.parser import HTMLParser
from itertools import takewhile

from openpyxl import load_workbook


class Page(HTMLParser):
    """The text of a page, and the cells of its tables' bodies row by row."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.rows: list[list[str]] = []
        self._words: list[str] = []
        self._cell: list[str] | None = None
        self._in_body = False
        self._silent = 0
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self._in_body |= tag == "tbody"
        self._silent += tag in ("style", "script")
        if tag == "tr" and self._in_body:
            self.rows.append([])
        if tag in ("td", "th") and self._in_body:
            self._cell = []

    def handle_endtag(self, tag: str) -> None:
        self._silent -= tag in ("style", "script")
        if tag == "tbody":
            self._in_body = False
        if tag in ("td", "th") and self._cell is not None:
            self.rows[-1].append(_plain(self._cell))
            self._cell = None

    def handle_data(self, data: str) -> None:
        if self._silent:
            return
        self._words.append(data)
        if self._cell is not None:
            self._cell.append(data)

    @property
    def words(self) -> str:
        return _plain(self._words)


def _plain(parts: list[str]) -> str:
    return re.sub(r"\s+", " ", " ".join(parts)).strip()


def csv_rows(content: bytes) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(content.decode("utf-8-sig"))))


def xlsx_rows(content: bytes) -> list[dict[str, str]]:
    """The rows of the table as CSV would write them, so that both can be compared; not the totals below."""
    sheet = load_workbook(io.BytesIO(content), data_only=True).active
    header, *rows = takewhile(any, sheet.iter_rows(values_only=True))

    def written(value: object) -> str:
        if value is None:
            return ""
        return value.date().isoformat() if hasattr(value, "date") else str(value)

    return [dict(zip(header, map(written, row), strict=True)) for row in rows]

"""A list taken away as a file: CSV, XLSX or JSON of exactly the rows that the list holds; and pictures."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from tempfile import SpooledTemporaryFile

from fastapi import Request
from fastapi.responses import Response, StreamingResponse

from app.files.charts import style_sums
from app.files.tables_out import (
    Column,
    Sheet,
    Value,
    csv_bytes,
    json_bytes,
    workbook_bytes,
    xlsx_bytes,
)
from app.web.headers import POLICY, as_file

CSV = "text/csv; charset=utf-8"
XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
HELD_IN_MEMORY = 8_000_000
PIECE = 1 << 16


JSON = "application/json"


@dataclass(frozen=True)
class Table:
    """What a file is called (without its ending), the title of its sheet, its columns and its rows."""

    name: str
    title: str
    columns: Sequence[Column]
    rows: Iterable[Sequence[Value]]

    @property
    def header(self) -> list[str]:
        return [each.name for each in self.columns]


def as_asked(request: Request, table: Table) -> Response:
    """The table in the form that the address ends with: .csv, .xlsx or .json."""
    form = request.url.path.rpartition(".")[2]
    return {"csv": as_csv, "xlsx": as_xlsx, "json": as_json}[form](table)


def as_csv(table: Table) -> Response:
    return _download(csv_bytes(table.header, table.rows), f"{table.name}.csv", CSV)


def as_xlsx(table: Table) -> Response:
    made = xlsx_bytes(table.columns, table.rows, table.title)
    return _download(made, f"{table.name}.xlsx", XLSX)


def as_json(table: Table) -> Response:
    return _download(json_bytes(table.header, table.rows), f"{table.name}.json", JSON)


def as_workbook(name: str, sheets: Sequence[Sheet]) -> Response:
    """Several tables as the sheets of one workbook."""
    return _download(workbook_bytes(sheets), f"{name}.xlsx", XLSX)


def download(content: bytes, name: str, kind: str) -> Response:
    """A small file that is whole already."""
    return Response(content, headers=as_file(name), media_type=kind)


def as_picture(drawn: bytes) -> Response:
    """An SVG. Opened by itself, it may use the style sheet that it came with, and no other."""
    allowed = " ".join(["style-src", *style_sums(drawn)])
    headers = {"Content-Security-Policy": POLICY.replace("style-src 'self'", allowed)}
    return Response(drawn, media_type="image/svg+xml", headers=headers)


def _download(pieces: Iterable[bytes], name: str, kind: str) -> Response:
    # Written whole before the answer begins: a fault gives an error page, never half a file, and
    # the session is still open. Large ones go to disk.
    held = SpooledTemporaryFile(max_size=HELD_IN_MEMORY)  # noqa: SIM115  closed by _sent
    try:
        for piece in pieces:
            held.write(piece)
    except BaseException:
        held.close()
        raise
    length = held.tell()
    held.seek(0)
    headers = as_file(name) | {"Content-Length": str(length)}
    return StreamingResponse(_sent(held), headers=headers, media_type=kind)


def _sent(held: SpooledTemporaryFile[bytes]) -> Iterator[bytes]:
    with held:
        while piece := held.read(PIECE):
            yield piece

"""Tables out, read back by other tools than the one that wrote them."""

import csv
import io
import json
import re
import zipfile
from datetime import date, datetime, timedelta, timezone
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from openpyxl import load_workbook

from app.errors import Refused
from app.files.tables_out import csv_bytes, json_bytes, plain, xlsx_bytes

HEADER = ("mark", "number", "due_on", "days_left", "thickness", "jacketed", "notes")
ROW = ("ZQKX", 104512, date(2031, 6, 30), -3, Decimal("0.4375"), True, "two\nlines; and, signs")
FORMULAS = [
    "=1+1", "+1", "-1", "@sum", "\tx", "\rx", "\n=1", '=HYPERLINK("x")', "=cmd|' /C calc'!A0",
    "＝1+1", "＋1", "－1", "＠sum",  # wide signs, which some spreadsheets take for the plain ones
]  # fmt: skip


def as_csv(*rows: tuple[Any, ...]) -> list[list[str]]:
    text = b"".join(csv_bytes(HEADER, rows)).decode("utf-8-sig")
    return list(csv.reader(io.StringIO(text, newline="")))


def as_workbook(*rows: tuple[Any, ...]) -> Any:
    return load_workbook(io.BytesIO(b"".join(xlsx_bytes(plain(*HEADER), rows)))).active


def test_a_csv_has_iso_dates_plain_numbers_and_whole_texts() -> None:
    assert as_csv(ROW) == [
        list(HEADER),
        ["ZQKX", "104512", "2031-06-30", "-3", "0.4375", "yes", "two\nlines; and, signs"],
    ]


def test_a_csv_begins_with_the_mark_by_which_spreadsheets_know_its_letters() -> None:
    assert b"".join(csv_bytes(("Owner",), [("Café",)])) == b"\xef\xbb\xbfOwner\r\nCaf\xc3\xa9\r\n"


def test_a_workbook_has_true_dates_true_numbers_and_texts() -> None:
    rows = list(as_workbook(ROW).iter_rows(values_only=True))
    assert rows[0] == HEADER
    assert rows[1] == (
        "ZQKX", 104512, datetime(2031, 6, 30), -3, 0.4375, "yes", "two\nlines; and, signs",  # noqa: DTZ001
    )  # fmt: skip


def test_a_moment_is_a_date_with_its_time_in_utc() -> None:
    there = timezone(timedelta(hours=-6))
    at = datetime(2026, 11, 29, 20, 15, 7, 900_000, tzinfo=there)
    assert as_csv((at,))[1] == ["2026-11-30T02:15:07Z"]
    assert json.loads(b"".join(json_bytes(("at",), [(at,)]))) == [{"at": "2026-11-30T02:15:07Z"}]
    cell = as_workbook((at,))["A2"]
    assert cell.value == datetime(2026, 11, 30, 2, 15, 7)  # noqa: DTZ001  no zone in a workbook
    assert cell.number_format == "yyyy-mm-dd hh:mm:ss"


@pytest.mark.parametrize("text", FORMULAS)
def test_a_text_that_a_spreadsheet_would_run_is_only_a_text(text: str) -> None:
    assert as_csv((text,))[1] == [f"'{text}"]
    cell = as_workbook((text,))["A2"]
    assert cell.data_type == "s"
    assert cell.quotePrefix, "it would be run once someone edits the cell"
    assert not cell.hyperlink


def test_a_text_with_such_a_sign_inside_is_left_as_it_is() -> None:
    for text in ("a=b", "1-2", "x@y", "' =1", "ZQKX+1"):
        assert as_csv((text,))[1] == [text]
        assert not as_workbook((text,))["A2"].quotePrefix


def test_a_heading_is_no_formula_either() -> None:
    text = b"".join(csv_bytes(("=1+1",), [])).decode("utf-8-sig")
    assert text == "'=1+1\r\n"


@pytest.mark.parametrize("number", [-3, 0, 7, -0.5, Decimal("-0.25"), Decimal("1E+3")])
def test_a_number_stays_a_number(number: Any) -> None:
    assert float(as_csv((number,))[1][0]) == float(number)
    cell = as_workbook((number,))["A2"]
    assert (cell.data_type, cell.quotePrefix, cell.value) == ("n", False, float(number))


def test_a_negative_number_is_no_text_and_keeps_its_sign() -> None:
    assert as_csv((-3,))[1] == ["-3"]
    assert as_workbook((-3,))["A2"].value == -3


def test_nothing_is_an_empty_cell() -> None:
    assert as_csv((None, "", "x"))[1] == ["", "", "x"]
    assert [cell.value for cell in as_workbook((None, "", "x"))[2]][:3] == [None, None, "x"]


def test_a_large_table_comes_in_pieces_as_it_is_written() -> None:
    drawn = []

    def rows() -> Any:
        for number in range(5_000):
            drawn.append(number)
            yield (number,)

    pieces = csv_bytes(("number",), rows())
    next(pieces)
    next(pieces)
    assert len(drawn) < 1_000
    assert len(b"".join(pieces).splitlines()) > 4_000


def test_one_table_gives_one_workbook_byte_for_byte() -> None:
    one, two = (b"".join(xlsx_bytes(plain(*HEADER), [ROW])) for _ in range(2))
    assert one == two
    assert zipfile.ZipFile(io.BytesIO(one)).testzip() is None


def test_more_rows_than_a_sheet_holds_are_refused_naming_csv(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr("app.files.tables_out.MOST_ROWS", 1_000)
    every = [(number,) for number in range(1_000)]
    assert as_workbook(*every).max_row == 1_001
    with pytest.raises(Refused, match=r"at most 1,000 rows.*Take it as CSV"):
        as_workbook(*every, (1_000,))
    assert len(as_csv(*every, (1_000,))) == 1_002


def test_no_other_module_writes_tables() -> None:
    """Or a formula would pass there. `columns` writes the empty templates of the program itself."""
    app = Path(__file__).parents[2] / "app"
    writing = {
        str(path.relative_to(app))
        for path in app.rglob("*.py")
        if re.search(r"csv\.(writer|DictWriter)|\bWorkbook\(", path.read_text())
    }
    assert writing == {"files/columns.py", "files/tables_out.py"}

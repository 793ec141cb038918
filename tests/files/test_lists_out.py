"""Lists as files: a workbook read by another program than the one that wrote it, and the document of the columns."""

import csv
import io
import json
import shutil
import subprocess
from datetime import date, datetime, timedelta
from decimal import Decimal
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from openpyxl import load_workbook

from app.core.months import Precision, add_months, to_precision
from app.files import tables_out
from app.files.lists_out import DUE, KINDS, LISTS
from app.files.tables_out import Column, Counted, counted, csv_bytes, json_bytes, xlsx_bytes
from docs import make_files_out
from tests.files.test_tables_out import FORMULAS
from tests.fixtures.lacking import lacking

OFFICE = shutil.which("soffice")
# As it comes, LibreOffice trusts what a workbook of another program says that its formulas gave.
WORKS_OUT_ANEW = """<?xml version="1.0" encoding="UTF-8"?>
<oor:items xmlns:oor="http://openoffice.org/2001/registry">
<item oor:path="/org.openoffice.Office.Calc/Formula/Load"><prop oor:name="OOXMLRecalcMode" oor:op="fuse">
<value>0</value></prop></item></oor:items>
"""
PRECISIONS: tuple[Precision, ...] = ("day", "month_end", "year_end")
# Of leap years and none, ends of months among them.
BASES = [
    date(2012, 2, 29), date(2016, 2, 29), date(2015, 1, 31), date(2015, 8, 31), date(2016, 12, 31),
    date(2014, 2, 28), date(2020, 6, 15), date(1999, 11, 30),
]  # fmt: skip
INTERVALS = [1, 6, 12, 30, 60, 96, 119, 120, 240]


@pytest.fixture(scope="session")
def opened(tmp_path_factory):
    """Opens a workbook in LibreOffice, which works it out anew, and gives its first sheet as rows of text."""
    if OFFICE is None:
        lacking("LibreOffice", "apt-get install --no-install-recommends libreoffice-calc-nogui")
    folder = tmp_path_factory.mktemp("office")
    (folder / "profile" / "user").mkdir(parents=True)
    (folder / "profile" / "user" / "registrymodifications.xcu").write_text(WORKS_OUT_ANEW)

    def read(content: bytes) -> list[list[str]]:
        (folder / "table.xlsx").write_bytes(content)
        told = subprocess.run(
            [OFFICE, f"-env:UserInstallation=file://{folder}/profile", "--headless", "--convert-to",
             "csv:Text - txt - csv (StarCalc):44,34,76,1,,0,false,true,false", "table.xlsx"],
            cwd=folder, capture_output=True, text=True, timeout=240, check=False,
        )  # fmt: skip
        assert told.returncode == 0, told.stderr
        assert "repair" not in (told.stdout + told.stderr).lower()
        text = (folder / "table.csv").read_text(encoding="utf-8")
        (folder / "table.csv").unlink()
        return list(csv.reader(io.StringIO(text)))

    return read


def due_row(basis: date, months: int, gives: date, **more) -> dict:
    known = dict.fromkeys(DUE.names)
    return known | {
        "mark": "ZQKX", "number": 1045, "item": "visual", "status": "overdue", "due_on": gives,
        "basis_on": basis, "interval_months": months,
        "calculated_due_on": counted(basis, months, gives), "reasons": "The tank is inspected.",
    } | more  # fmt: skip


def with_a_wrong_memory(rows: list[dict]) -> bytes:
    """The workbook whose formulas hold yesterday's answers, so that a reader who trusts them is found out."""
    wrong = [
        row | {"calculated_due_on": Counted(date(1999, 9, 9), row["calculated_due_on"].formula)}
        for row in rows
    ]
    return b"".join(xlsx_bytes(DUE.columns, [tuple(row.values()) for row in wrong], "Due"))


def test_libreoffice_works_out_the_same_dates_as_the_calculator(opened):
    rows = [
        due_row(basis, months, to_precision(add_months(basis, months), precision))
        for basis in BASES
        for months in INTERVALS
        for precision in PRECISIONS
    ]
    assert all(isinstance(row["calculated_due_on"], Counted) for row in rows)
    header, *read = opened(with_a_wrong_memory(rows))[: len(rows) + 1]
    assert header == list(DUE.names)
    place, due = DUE.names.index("calculated_due_on"), DUE.names.index("due_on")
    assert [each[place] for each in read] == [each[due] for each in read]
    assert [each[due] for each in read] == [row["due_on"].isoformat() for row in rows]


def test_libreoffice_runs_no_text_and_adds_up_the_totals(opened):
    columns = (
        Column("status", "", total="each"),
        Column("text", ""),
        Column("days", "", "number", "sum"),
        Column("on", "", "day"),
    )
    rows = [
        ("overdue" if number % 2 else "soon", text, number, date(2031, 6, 30))
        for number, text in enumerate(FORMULAS)
    ]
    found = opened(b"".join(xlsx_bytes(columns, rows)))
    for row, (_, text, number, _) in zip(found[1:], rows, strict=False):
        # A tab or a line's end at the front is white space in a file of text; what follows is not run.
        assert row[1].strip() == text.strip().strip("\0")
        assert row[2:4] == [str(number), "2031-06-30"]
    below = [row[:2] for row in found[len(rows) + 2 :]]
    odd = len(rows) // 2
    assert below == [
        ["rows", str(len(rows))],
        ["sum of days", str(sum(range(len(rows))))],
        ["soon", str(len(rows) - odd)],
        ["overdue", str(odd)],
    ]


@given(
    st.dates(date(1950, 1, 1), date(2060, 12, 31)),
    st.integers(1, 600),
    st.sampled_from(PRECISIONS),
)
def test_every_sum_of_months_has_a_formula_that_gives_it(basis, months, precision):
    gives = to_precision(add_months(basis, months), precision)
    made = counted(basis, months, gives)
    assert isinstance(made, Counted)
    assert made.day == gives


@pytest.mark.parametrize("moved", [-1, 1, 45])
def test_a_date_that_is_no_sum_stays_a_date(moved):
    gives = add_months(date(2015, 3, 10), 120) + timedelta(days=moved)
    assert counted(date(2015, 3, 10), 120, gives) == gives
    assert counted(None, 120, gives) == gives
    assert counted(date(2015, 3, 10), None, None) is None


def workbook(columns, rows, title="Due"):
    return load_workbook(io.BytesIO(b"".join(xlsx_bytes(columns, rows, title))))


def test_a_workbook_has_its_names_in_sight_filters_and_a_sheet_of_its_columns():
    rows = [tuple(due_row(date(2015, 3, 10), 120, date(2025, 3, 10)).values())] * 3
    book = workbook(DUE.columns, rows)
    sheet = book["Due"]
    assert sheet.freeze_panes == "A2"
    assert sheet.auto_filter.ref == "A1:N4"
    told = list(book["Columns"].iter_rows(min_row=2, values_only=True))
    assert told[: len(DUE.columns)] == [
        ("Due", each.name, each.kind, each.says) for each in DUE.columns
    ]
    assert sheet["E2"].value == datetime(2025, 3, 10)  # noqa: DTZ001
    assert sheet["I2"].value == "=EDATE(G2,H2)"


def test_reasons_are_notes_of_a_short_table_and_none_of_a_long_one(monkeypatch):
    rows = [tuple(due_row(date(2015, 3, 10), 120, date(2025, 3, 10)).values())] * 3
    assert workbook(DUE.columns, rows)["Due"]["E2"].comment.text == "The tank is inspected."
    monkeypatch.setattr(tables_out, "MOST_NOTED", 2)
    sheet = workbook(DUE.columns, rows)["Due"]
    assert [row[4].comment for row in sheet.iter_rows(min_row=2, max_row=4)] == [None] * 3
    assert sheet["N4"].value == "The tank is inspected."


def test_totals_stand_below_as_they_are_even_for_who_works_nothing_out():
    columns = (Column("status", "", total="each"), Column("days", "", "number", "sum"))
    content = b"".join(
        xlsx_bytes(columns, [("soon", 2), ("soon", 3), ("overdue", 4), (None, None)])
    )
    told = load_workbook(io.BytesIO(content), data_only=True).active
    assert [row[:2] for row in told.iter_rows(min_row=7, values_only=True)] == [
        ("rows", 4), ("sum of days", 9), ("soon", 2), ("overdue", 1), ("(empty)", 1),
    ]  # fmt: skip


def test_json_holds_values_of_their_kind():
    row = (
        "ZQKX",
        7,
        date(2031, 6, 30),
        True,
        Decimal("0.4375"),
        None,
        Counted(date(2032, 1, 1), ""),
    )
    names = ("mark", "number", "on", "yes", "inches", "nothing", "sum")
    assert json.loads(b"".join(json_bytes(names, [row, row]))) == [
        {"mark": "ZQKX", "number": 7, "on": "2031-06-30", "yes": True, "inches": "0.4375",
         "nothing": None, "sum": "2032-01-01"},
    ] * 2  # fmt: skip
    assert b"".join(json_bytes(names, [])) == b"[]\n"
    assert b"2032-01-01" in b"".join(csv_bytes(names, [row]))


@pytest.mark.parametrize("each", LISTS, ids=lambda each: each.address)
def test_each_column_is_named_once_and_stated(each):
    assert len(set(each.names)) == len(each.names)
    for column in each.columns:
        assert column.says
        assert column.kind in KINDS
        assert column.note in ("", *each.names)


def test_the_document_is_made_from_the_same_table():
    assert Path(make_files_out.WHERE).read_text() == make_files_out.text(), (
        "python -m docs.make_files_out"
    )

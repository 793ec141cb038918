"""Files as they come: their kind told by content, their rows numbered as a spreadsheet numbers them."""

import io
import tracemalloc
import zipfile
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from openpyxl import Workbook
from openpyxl.utils.datetime import CALENDAR_MAC_1904

from app.errors import Refused
from app.files import cells, sheets, sheets_spoilt, sheets_xlsx
from app.files.headers import matched


def workbook(*rows: tuple[Any, ...], **more: list[tuple[Any, ...]]) -> Workbook:
    """The first sheet with `rows`; further sheets by title."""
    book = Workbook()
    for row in rows:
        book.active.append(row)
    for title, others in more.items():
        sheet = book.create_sheet(title)
        for row in others:
            sheet.append(row)
    return book


def saved(book: Workbook) -> bytes:
    held = io.BytesIO()
    book.save(held)
    return held.getvalue()


HEADER_AND_ROWS: list[tuple[str, bytes]] = [
    ("commas", b"mark,number\nZQKX,7\n"),
    ("semicolons", b"mark;number\nZQKX;7\n"),
    ("tabs", b"mark\tnumber\nZQKX\t7\n"),
    ("a byte order mark", b"\xef\xbb\xbfmark,number\nZQKX,7\n"),
    ("Windows line ends", b"mark,number\r\nZQKX,7\r\n"),
    ("old line ends", b"mark,number\rZQKX,7\r"),
    ("no last line end", b"mark,number\nZQKX,7"),
    ("quotation marks", b'"mark","number"\n"ZQKX","7"\n'),
    ("a comma in quotation marks of a semicolon file", b'mark;number\n"ZQKX";7\n'),
    ("empty last lines", b"mark,number\nZQKX,7\n\n\n,\n , \n"),
]


@pytest.mark.parametrize(("what", "content"), HEADER_AND_ROWS)
def test_a_text_file_is_read_with(what: str, content: bytes) -> None:
    sheet = sheets.read("cars.csv", content)
    assert sheet.header == ("mark", "number"), what
    assert list(sheet.rows()) == [(2, ["ZQKX", "7"])], what


def test_a_first_line_that_names_the_separator_is_no_header() -> None:
    sheet = sheets.read("cars.csv", b"sep=;\nmark;number\nZQKX;7\n")
    assert (sheet.header, list(sheet.rows())) == (("mark", "number"), [(3, ["ZQKX", "7"])])


def test_a_line_break_within_quotation_marks_is_one_row() -> None:
    sheet = sheets.read("e.csv", b'mark,notes\nZQKX,"one\ntwo, with a comma"\nZQAX,x\n')
    assert list(sheet.rows()) == [(2, ["ZQKX", "one\ntwo, with a comma"]), (3, ["ZQAX", "x"])]


def test_rows_can_be_gone_through_more_than_once() -> None:
    sheet = sheets.read("cars.csv", b"mark\nZQKX\n")
    assert list(sheet.rows()) == list(sheet.rows())


def test_a_workbook_is_read_with_its_types_and_row_numbers() -> None:
    book = workbook(
        (), ("mark", "number", "built_on", "jacketed"), ("ZQKX", 7, date(2019, 3, 15), True)
    )
    sheet = sheets.read("cars.xlsx", saved(book))
    assert sheet.header == ("mark", "number", "built_on", "jacketed")
    assert list(sheet.rows()) == [(3, ["ZQKX", 7.0, date(2019, 3, 15), True])]
    assert sheet.remark == ""


def test_of_several_sheets_the_first_that_holds_anything_is_read_and_that_is_told() -> None:
    book = workbook(Cars=[("mark",), ("ZQKX",)], Notes=[("remember",)])
    sheet = sheets.read("cars.xlsx", saved(book))
    assert sheet.header == ("mark",)
    assert sheet.remark == "Read the sheet 'Cars'; not read: Notes."


def test_a_hidden_sheet_is_not_read() -> None:
    book = workbook(("mark",), ("ZQKX",), Cars=[("mark",), ("ZQAX",)])
    book.active.sheet_state = "hidden"
    assert list(sheets.read("cars.xlsx", saved(book)).rows()) == [(2, ["ZQAX"])]


def zipped(**members: bytes) -> bytes:
    held = io.BytesIO()
    with zipfile.ZipFile(held, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in members.items():
            archive.writestr(name.replace("__", "/").replace("_xml", ".xml"), content)
    return held.getvalue()


def since_1904() -> bytes:
    book = workbook(("mark", "built_on"), ("ZQKX", date(2019, 3, 15)))
    book.epoch = CALENDAR_MAC_1904
    return saved(book)


def far_out() -> bytes:
    book = workbook(("mark",), ("ZQKX",))
    book.active["XFD1048576"] = "a stray cell"
    return saved(book)


REFUSED: list[tuple[str, bytes, str]] = [
    ("empty.csv", b"", "is empty"),
    ("spaces.csv", b" \n\n ", "is empty"),
    ("commas.csv", b",,\n,,\n", "holds no rows"),
    ("report.xlsx", b"%PDF-1.7 ...", "is a PDF"),
    ("old.xls", b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1", "an old .xls workbook, or one with a password"),
    ("page.csv", b"<!doctype html><p>log in", "is a web page"),
    ("latin.csv", "mark,owner\nZQKX,Caf\u00e9\n".encode("cp1252"), "line 2 holds the byte 0xE9, in 'ZQKX,Caf?'"),
    ("wide.csv", "mark,owner\n".encode("utf-16"), "is written in UTF-16"),
    ("bytes.csv", b"mark,num\0ber\n", "line 1 holds a zero byte"),
    ("open.csv", b'mark,notes\nZQKX,"never closed\nZQAX,x\n', "A quotation mark may be missing"),
    ("cut.xlsx", saved(workbook(("mark",)))[:300], "is a broken workbook"),
    ("words.xlsx", zipped(word__document_xml=b"<w/>"), "no .xlsx workbook"),
    ("hollow.xlsx", zipped(xl__workbook_xml=b"<workbook/>"), "is a broken workbook"),
    ("blank.xlsx", saved(Workbook()), "holds no rows"),
    ("apple.xlsx", since_1904(), "counts its days from 1904"),
    ("stray.xlsx", far_out(), "too large when unpacked"),
]  # fmt: skip


@pytest.mark.parametrize(("name", "content", "words"), REFUSED)
def test_a_file_that_is_no_sheet_is_refused_by_its_name_in_a_sentence(
    name: str, content: bytes, words: str
) -> None:
    with pytest.raises(Refused) as refused:
        list(sheets.read(name, content).rows())
    assert words in str(refused.value)
    assert str(refused.value).startswith(name)


def test_a_bad_byte_far_into_a_file_is_found_in_its_line() -> None:
    content = b"mark\n" + b"ZQKX\n" * 300_000 + b"\xff\n"
    with pytest.raises(Refused, match="line 300002 holds the byte 0xFF"):
        sheets.read("cars.csv", content)


def test_a_letter_of_several_bytes_across_two_chunks_is_no_bad_byte() -> None:
    content = b"notes\n" + b"x" * 63 + b"\n" * ((1 << 20) - 70) + "é\n".encode()
    assert content[(1 << 20) - 1 : (1 << 20) + 1] == "é".encode()
    assert len(list(sheets.read("cars.csv", content).rows())) == 2


def test_an_archive_that_unpacks_beyond_the_limit_is_refused(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(sheets_xlsx, "MOST_UNPACKED", 1 << 21)
    bomb = zipped(xl__workbook_xml=b"<workbook/>", xl__worksheets__sheet1_xml=b" " * (1 << 22))
    assert len(bomb) < 10_000
    with pytest.raises(Refused, match="too large when unpacked"):
        sheets.read("bomb.xlsx", bomb)


def test_a_file_that_is_not_there_is_refused_in_a_sentence(tmp_path: Path) -> None:
    with pytest.raises(Refused, match=r"cars\.csv cannot be read: No such file"):
        sheets.read("cars.csv", tmp_path / "cars.csv")


def test_reading_many_rows_takes_no_more_memory_than_reading_few() -> None:
    content = b"mark,number,notes\n" + b"ZQKX,104512,some words about this car\n" * 50_000
    sheet = sheets.read("cars.csv", content)
    tracemalloc.start()
    for _ in sheet.rows():
        pass
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert peak < 1 << 20


HEADERS: list[tuple[tuple[str, ...], list[str]]] = [
    # whatever the capitals, spaces, dashes and underscores
    (("MARK", "Number ", "Built On", "Specification", "Relief-Device Set PSIG"), []),
    (("mark", "number", "specification", "lining_owner_interval_months"), []),  # its other name
    (("mark", "number", "specification", "", "owner"), []),  # a column without a title
    (
        ("mark", "number", "specification", "jackted"),
        [
            (
                "row 1, jackted: found 'jackted'; want a column of a file of cars"
                " (did you mean jacketed?), or (jackted) to pass it over"
            )
        ],
    ),
    (("mark", "number", "specification", "(our remarks)", " (built_on) "), []),  # passed over
    (
        ("mark", "number"),
        ["row 1, specification: want the column specification, which must be there"],
    ),
    (
        ("mark", "Mark", "number", "specification"),
        ["row 1, mark: found 'mark'; want each column once; this one is there twice"],
    ),
]  # fmt: skip


@pytest.mark.parametrize(("header", "faults"), HEADERS)
def test_titles_are_matched_and_what_is_wrong_with_them_is_told(
    header: tuple[str, ...], faults: list[str]
) -> None:
    assert [str(fault) for fault in matched("cars", header).faults] == faults


def test_a_column_in_brackets_is_passed_over_even_with_a_title_of_ours() -> None:
    found = matched("cars", ("mark", "(number)", "specification", "(our remarks)"))
    assert [column and column.name for column in found.columns] == [
        "mark", None, "specification", None,
    ]  # fmt: skip
    assert [str(fault) for fault in found.faults] == [
        "row 1, number: want the column number, which must be there"
    ]


@pytest.mark.parametrize(
    "content", [b"mark\nZQKX\nZQAX\n", b"mark\nZQKX\nZQAX", b"\nmark\r\nZQKX\r\nZQAX\r\n"]
)
def test_how_many_rows_follow_is_told_before_they_are_read(content: bytes) -> None:
    assert sheets.read("cars.csv", content).about == 2


def read_cells(*rows: tuple[Any, ...]) -> list[list[str]]:
    """Every row of a workbook after its header, its cells as a person would see them."""
    sheet = sheets.read("e.xlsx", saved(workbook(("mark", "outcome", "notes"), *rows)))
    return [[cells.as_text(cell) for cell in row] for _, row in sheet.rows()]


FORMULA = "a formula without a stored value"
SPOILT: list[tuple[tuple[Any, ...], list[str]]] = [
    # the errors that a sheet shows are not empty cells
    (("ZQKX", "#N/A"), ["ZQKX", "#N/A", ""]),
    (("#REF!", "#VALUE!"), ["#REF!", "#VALUE!", ""]),
    # a program that writes workbooks stores no values with its formulas
    (("ZQKX", "=A1"), ["ZQKX", FORMULA, ""]),
    # past the last cell that holds anything else
    (("ZQKX", None, "=A1"), ["ZQKX", "", FORMULA]),
    # nothing but formulas
    (("=A1", "=A1"), [FORMULA, FORMULA]),
]


@pytest.mark.parametrize(("row", "wanted"), SPOILT)
def test_an_error_and_a_formula_without_a_value_are_not_read_as_empty(
    row: tuple[Any, ...], wanted: list[str]
) -> None:
    assert [found[: len(wanted)] for found in read_cells(row)] == [wanted]


def test_cells_without_a_value_are_told_in_their_own_rows() -> None:
    found = read_cells(("ZQKX", "pass"), ("ZQAX", "#N/A"), (), ("ZQBX", "fail"), ("ZQCX", "=B2"))
    assert [row[:2] for row in found] == [
        ["ZQKX", "pass"], ["ZQAX", "#N/A"], ["ZQBX", "fail"], ["ZQCX", FORMULA],
    ]  # fmt: skip


def test_cells_without_a_value_are_told_in_their_places_of_a_table_that_lies_within_a_sheet() -> (
    None
):
    book = Workbook()
    for place, cell in (("C3", "mark"), ("D3", "outcome"), ("C4", "ZQKX"), ("D4", "#N/A")):
        book.active[place] = cell
    sheet = sheets.read("e.xlsx", saved(book))
    assert [title for title in sheet.header if title] == ["mark", "outcome"]
    ((number, row),) = sheet.rows()
    told = dict(zip(sheet.header, map(cells.as_text, row), strict=True))
    assert (number, told["mark"], told["outcome"]) == (4, "ZQKX", "#N/A")


def rewritten(content: bytes, **swaps: tuple[bytes, bytes]) -> bytes:
    """A workbook with pieces of its sheets' XML swapped for others."""
    held = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(content)) as old, zipfile.ZipFile(held, "w") as new:
        for member in old.namelist():
            xml = old.read(member)
            for before, after in swaps.values():
                xml = xml.replace(before, after) if "worksheets" in member else xml
            new.writestr(member, xml)
    return held.getvalue()


STORED: list[tuple[str, bytes, str]] = [
    ("a number", b"<f>A1</f><v>7</v>", "7"),
    # a formula that gives an empty text has been worked out
    ("no text", b'" t="str"><f>A1</f><v></v>', ""),
    ("a text", b'" t="str"><f>A1</f><v>pass</v>', "pass"),
]


@pytest.mark.parametrize(("what", "xml", "seen"), STORED)
def test_a_formula_with_its_value_is_that_value(what: str, xml: bytes, seen: str) -> None:
    book = saved(workbook(("mark", "outcome"), ("ZQKX", "=A1")))
    # An empty element is written in either way, depending on which XML library is installed.
    swaps = {
        name: (b'">' + plain if xml.startswith(b'"') else plain, xml)
        for name, plain in (("short", b"<f>A1</f><v />"), ("long", b"<f>A1</f><v></v>"))
    }
    ((_, row),) = sheets.read("e.xlsx", rewritten(book, **swaps)).rows()
    assert cells.as_text(row[1]) == seen, what


def test_errors_are_found_whatever_prefix_the_writer_gives_its_elements() -> None:
    book = saved(workbook(("mark", "outcome"), ("ZQKX", "#N/A")))
    content = rewritten(
        book, opened=(b"<", b"<x:"), closed=(b"<x:/", b"</x:"), space=(b" xmlns=", b" xmlns:x=")
    )
    ((_, row),) = sheets.read("e.xlsx", content).rows()
    assert cells.as_text(row[1]) == "#N/A"


def test_a_workbook_full_of_formulas_without_values_is_refused_as_a_whole() -> None:
    book = workbook(("mark",), *[("=A1",)] * (sheets_spoilt.MOST + 1))
    with pytest.raises(Refused, match="Open the workbook, let it calculate and save it"):
        sheets.read("e.xlsx", saved(book))


def test_a_workbook_that_declares_entities_is_refused() -> None:
    book = saved(workbook(("mark", "outcome"), ("ZQKX", "#N/A")))
    declared = b'<!DOCTYPE worksheet [<!ENTITY a "b">]><worksheet'
    with pytest.raises(Refused, match="declares a document type"):
        sheets.read("e.xlsx", rewritten(book, doctype=(b"<worksheet", declared)))

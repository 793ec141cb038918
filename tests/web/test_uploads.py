"""Files brought in that were made to do harm: packed bombs, other kinds, endless rows."""

import io
import zipfile

import pytest

from app.errors import Refused
from app.files import sheets, sheets_csv, sheets_xlsx

HEADER = b"mark,number,specification\n"
BOOK = b'<workbook xmlns="x"><sheets/></workbook>'


def zipped(members: dict[str, bytes]) -> bytes:
    held = io.BytesIO()
    with zipfile.ZipFile(held, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in members.items():
            archive.writestr(name, content)
    return held.getvalue()


def test_a_small_archive_that_unpacks_to_very_much_is_refused_before_it_is_read(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(sheets_xlsx, "MOST_UNPACKED", 1 << 21)
    bomb = zipped({"xl/workbook.xml": BOOK, "xl/worksheets/sheet1.xml": b" " * (1 << 23)})
    assert len(bomb) < 20_000
    with pytest.raises(Refused, match="too large when unpacked"):
        sheets.read("bomb.xlsx", bomb)


def test_one_cell_far_out_asks_for_no_memory() -> None:
    cell = (
        b'<worksheet><sheetData><row r="1048576"><c r="XFD1048576"/></row></sheetData></worksheet>'
    )
    with pytest.raises(Refused, match="cells in a sheet"):
        sheets.read("far.xlsx", zipped({"xl/workbook.xml": BOOK, "xl/worksheets/s.xml": cell}))


def test_an_archive_of_very_many_files_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sheets_xlsx, "MOST_MEMBERS", 50)
    many = zipped({"xl/workbook.xml": BOOK} | {f"xl/media/{n}.png": b"" for n in range(60)})
    with pytest.raises(Refused, match="packs more than 50 files"):
        sheets.read("many.xlsx", many)


def test_a_name_inside_an_archive_leads_nowhere(tmp_path, monkeypatch) -> None:
    monkeypatch.chdir(tmp_path)
    outside = {"../../climbed.txt": b"x", "/climbed.txt": b"x"}
    with pytest.raises(Refused):
        sheets.read("climbing.xlsx", zipped({"xl/workbook.xml": BOOK} | outside))
    assert not list(tmp_path.rglob("climbed.txt"))
    assert not list(tmp_path.parent.glob("climbed.txt"))


@pytest.mark.parametrize(
    ("name", "content", "says"),
    [
        ("fleet.exe", HEADER + b"ZQKX,1,DOT 111A100W1\n", "another kind"),
        ("fleet.html", HEADER, "another kind"),
        ("fleet", HEADER, "another kind"),
        ("fleet.csv.php", HEADER, "another kind"),
        ("fleet.xlsx", HEADER, "named .xlsx but holds plain text"),
        ("fleet.csv", b"<html><script>alert(1)</script>", "is a web page"),
        ("fleet.csv", b"%PDF-1.7", "is a PDF"),
        ("fleet.csv", b"\x89PNG\r\n\x1a\n", "is a picture"),
        ("fleet.csv", b"MZ\x90\x00\x03", "zero byte"),  # a program
        ("fleet.xlsx", zipped({"word/document.xml": b"<w/>"}), "no .xlsx workbook"),
    ],
)
def test_a_file_of_another_kind_is_refused_by_name_or_content(
    name: str, content: bytes, says: str
) -> None:
    with pytest.raises(Refused, match=says):
        sheets.read(name, content)


def test_more_rows_than_a_table_has_are_refused_at_once(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sheets, "MOST_ROWS", 1_000)
    assert sheets.read("fleet.csv", HEADER + b"\n" * 999).about
    with pytest.raises(Refused, match="more than 1,000 rows"):
        sheets.read("fleet.csv", HEADER + b"\n" * 1_000)


def test_a_row_of_very_many_columns_is_refused() -> None:
    wide = HEADER + b"," * (sheets_csv.MOST_COLUMNS + 1) + b"\n"
    with pytest.raises(Refused, match="more than 1,000 columns"):
        list(sheets.read("fleet.csv", wide).rows())

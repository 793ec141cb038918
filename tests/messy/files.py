"""Messy files as offices send them, made with openpyxl and raw bytes, not by the program's writers.

Most kinds come broken, and mended as a person would mend them after reading what is wrong.
"""

from __future__ import annotations

from datetime import date
from pathlib import Path

from openpyxl import Workbook

BOM = b"\xef\xbb\xbf"
OWNER = "Example Foxtrot Cars (invented)"
SHOP = "Example Shop Four (invented)"


def cars_csv(path: Path, *, broken: bool) -> Path:
    """Byte order mark, semicolons, Windows line ends, dashes and spaces in marks and numbers,
    leading zeros, a row that stands there twice, rows of nothing at the end.
    """
    doubtful, letter, maybe = ("1/2/2019", "B", "maybe") if broken else ("2019-02-01", "A", "yes")
    rows = [
        "Number;Mark;Specification;Built on;Owner;Commodity;UN;Hazard class;Jacketed",
        f"000501;zqmx;dot 111a100w1;2001-05-14;{OWNER};Methanol;1230;3;N",
        f" 502 ;ZQ-MX;DOT-111-A-100-W-1;14.5.2001;{OWNER};Methanol;UN 1230;3;no",
        f"0 503;ZQMX ;DOT 111A100W1;May 14, 2001;{OWNER};Methanol;UN1230;3;",
        f"0 503;ZQMX ;DOT 111A100W1;May 14, 2001;{OWNER};Methanol;UN1230;3;",
        f"504;ZQMX;DOT 111A100W1;{doubtful};{OWNER};;;;",
        f"505;ZQMX;DOT 111A100W1;2001-05;{OWNER};;;;{maybe}",
        f"506;ZQMX;DOT 111{letter}100W1;May 2001;{OWNER};;;;",
        ";;;;;;;;",
        "",
        "",
    ]
    path.write_bytes(BOM + "\r\n".join(rows).encode())
    return path


def cars_xlsx(path: Path) -> Path:
    """An empty row on top, numbers as floats, true dates, a spreadsheet's day number, yes and no as
    true and false, a second sheet.
    """
    header = (
        "Mark", "Number", "Specification", "Built On", "Owner", "Material", "Inside diameter in",
        "Jacketed", "Commodity", "Corrosive or reactive",
    )  # fmt: skip
    built = date(2001, 5, 14)
    one = ("ZQMX", 601.0, "DOT 111A100W1", built, OWNER, "TC-128B", 119.0, False, "Sulfuric acid")
    two = ("ZQMX", "602", "DOT 111A100W1", 37025, OWNER, "a516-70", 119, True, "Toluene")
    book = _workbook([(), header, (*one, True), two, ()])
    book.create_sheet("Notes").append(["Ask the yard about 603"])
    book.save(path)
    return path


def events_xlsx(path: Path, *, broken: bool) -> Path:
    """Fractions, a reading with its point in the wrong place, a date that may be two days, a true
    date, a day number, a car that the file of cars lacks, a failing inspection, a repeated row.
    """
    inches, doubtful = ("4.37", "1/2/2019") if broken else ("0.437", date(2019, 2, 1))
    header = ("mark", "number", "on", "items", "outcome", "facility", "readings", "reference")
    readings = f"shell_bottom={inches}; shell top = 15/32; head_a=7/16; head_b=0.441 local 6/20"
    done = ("ZQMX", 601, date(2018, 3, 15), "Visual; Thickness", "pass", SHOP, readings, "R-1")
    rows = [
        header,
        done,
        done,
        ("zqmx", "0602", 43174, "visual,structural integrity", None, SHOP, None, "R-2"),
        ("ZQMX", 501, doubtful, "visual", "pass", SHOP),
        ("ZQMX", 699 if broken else 505, date(2019, 2, 1), "visual", "pass", SHOP, None, "R-9"),
        ("ZQMX", 502, date(2020, 8, 3), "relief device", "FAIL", SHOP, None, "R-3"),
    ]
    _workbook(rows).save(path)
    return path


def components_csv(path: Path) -> Path:
    """Tabs instead of commas, a month only, spaces and capitals in the kind, a unit in a number."""
    rows = [
        "mark\tnumber\tkind\tposition\tserial\tset_psig\ttested_on\tinstalled_on",
        "ZQMX\t601\tRelief valve\ttop B\tMX-1\t75 psig\t2018-01\t2018-03-15",
        "ZQMX\t601\tRelief valve\ttop A\tMX-2\t75\t15 Jan 2018\t2018-03",
        "",
    ]
    path.write_bytes("\n".join(rows).encode())
    return path


def picture(path: Path) -> Path:
    """A picture that somebody renamed."""
    path.write_bytes(b"\x89PNG\r\n\x1a\n" + bytes(200))
    return path


def windows_1252_csv(path: Path) -> Path:
    """Saved by an old program: the umlaut is one byte."""
    text = "mark,number,specification,region\nZQMX,701,DOT 111A100W1,Süd\n"
    path.write_bytes(text.encode("cp1252"))
    return path


def _workbook(rows: list[tuple[object, ...]]) -> Workbook:
    book = Workbook()
    for row in rows:
        book.active.append(row)
    return book

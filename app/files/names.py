"""Cells that name things the trade's way: mark and number, specification, numbers of ladings."""

from __future__ import annotations

import re

from app.files.cells import Cell, Unreadable, one_of, plain

MARK_WANTED = "a reporting mark of 2 to 4 letters"
NUMBER_WANTED = "the car's number, 1 to 999999"
TOGETHER = re.compile(r"([A-Z]{2,4})[ _-]*0*(\d{1,6})(?:\.0+)?")

_group = one_of(("I", "II", "III"), "a packing group")


def mark(cell: Cell) -> str:
    """Two to four letters, in capitals."""
    seen = plain(cell).upper()
    found = re.sub(r"[ _-]", "", seen)
    if re.fullmatch(r"[A-Z]{2,4}", found):
        return found
    if match := TOGETHER.fullmatch(seen):
        raise Unreadable(cell, f"the mark alone: {match[1]} here, and {match[2]} under number")
    raise Unreadable(cell, MARK_WANTED)


def number(cell: Cell) -> int:
    """1 to 999999; leading zeros, spaces and a spreadsheet's ".0" do not matter."""
    seen = plain(cell).upper()
    digits = re.sub(r"\.0+$", "", re.sub(r"[ _-]", "", seen))
    if re.fullmatch(r"0*[1-9][0-9]{0,5}", digits) and not seen.startswith("-"):
        return int(digits)
    if match := TOGETHER.fullmatch(seen):
        raise Unreadable(cell, f"the number alone: {match[2]} here, and {match[1]} under mark")
    raise Unreadable(cell, NUMBER_WANTED)


def mark_and_number(cell: Cell) -> tuple[str, int]:
    """Both in one cell, as people write them: `ZQKX 104512`, `zqkx-104512`."""
    match = TOGETHER.fullmatch(plain(cell).upper())
    if not match or not int(match[2]):
        raise Unreadable(cell, "mark and number such as ZQKX 104512")
    return match[1], int(match[2])


def specification(cell: Cell) -> str:
    """As stenciled, in capitals; whether it can be decoded is another question."""
    seen = plain(cell).upper()
    if len(seen) > 60:
        raise Unreadable(cell, "the specification as stenciled, such as DOT 111A100W1")
    return seen


def un_number(cell: Cell) -> str:
    """`UN1789`; `NA` stays; four digits alone are a UN number."""
    match = re.fullmatch(r"(UN|NA)?[ -]*(\d{4})", plain(cell).upper())
    if not match:
        raise Unreadable(cell, "an identification number such as UN1789 or NA1987")
    return f"{match[1] or 'UN'}{match[2]}"


def hazard_class(cell: Cell) -> str:
    """`3`, `2.3`: one figure, perhaps a division, perhaps a letter."""
    seen = re.sub(r"^CLASS ?", "", plain(cell).upper()).strip()
    if not re.fullmatch(r"[1-9](\.[1-9])?[A-Z]?", seen):
        raise Unreadable(cell, "a hazard class or division such as 3 or 2.3")
    return seen


def packing_group(cell: Cell) -> str:
    """`I`, `II` or `III`."""
    return _group(re.sub(r"^PG ?", "", plain(cell).upper()))

"""Days and months in cells: what is certain is taken, what may be read two ways is refused."""

from __future__ import annotations

import re
from datetime import date, datetime, time, timedelta
from typing import NamedTuple

from app.files.cells import Cell, Unreadable, plain

WANTED = "a date as YYYY-MM-DD"
WANTED_OR_MONTH = "a date as YYYY-MM-DD, or a month as YYYY-MM"
MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
EARLIEST_YEAR, LATEST_YEAR = 1850, 2199
# Day 60 of a spreadsheet is a day that never was; all days used here lie far behind it.
SPREADSHEET_DAY_ZERO = date(1899, 12, 30)
SPREADSHEET_DAYS = range(7_000, 110_000)  # 1919 to 2201: never a year or a month number

YEAR_FIRST = re.compile(r"(\d{4})([-/.])(\d{1,2})(?:\2(\d{1,2}))?(?:[T ]00:00(?::00(?:\.0+)?)?Z?)?")
YEAR_LAST = re.compile(r"(\d{1,2})([-/.])(\d{1,2})\2(\d{4})(?: 0?0:00(?::00)?)?")
MONTH_YEAR = re.compile(r"(\d{1,2})[-/.](\d{4})")
DAY_NAMED = re.compile(r"(\d{1,2})[ .-]*([A-Za-z]{3,9})\.?[ ,-]+(\d{4})")
NAMED_DAY = re.compile(r"([A-Za-z]{3,9})\.? (\d{1,2}),? (\d{4})")
NAMED_MONTH = re.compile(r"([A-Za-z]{3,9})\.?[ ,-]+(\d{4})")
COMPACT = re.compile(r"((?:18|19|20|21)\d\d)(\d\d)(\d\d)")


class Day(NamedTuple):
    """A day, or a month given by its first day."""

    on: date
    month_only: bool = False


def day_or_month(cell: Cell) -> Day:
    """A day, or a month (then its first day, the earliest it can have been)."""
    return _read(cell, WANTED_OR_MONTH)


def month_first(cell: Cell) -> date:
    """A day; a month counts as its first day."""
    return _read(cell, WANTED_OR_MONTH).on


def day(cell: Cell) -> date:
    """A day; a month alone is refused."""
    found = _read(cell, WANTED)
    if found.month_only:
        raise Unreadable(cell, f"{WANTED}; the month alone does not do here")
    return found.on


def stencil_due(cell: Cell) -> str:
    """A due date as painted: `YYYY`, `YYYY-MM` or `YYYY-MM-DD`."""
    if re.fullmatch(r"(19|20|21)\d\d", year := plain(cell)):
        return year
    found = _read(cell, "the date as painted: YYYY, YYYY-MM or YYYY-MM-DD")
    return found.on.strftime("%Y-%m") if found.month_only else found.on.isoformat()


def _read(cell: Cell, wanted: str) -> Day:
    found = _of_workbook(cell, wanted) if not isinstance(cell, str) else _of_text(cell, wanted)
    if not EARLIEST_YEAR <= found.on.year <= LATEST_YEAR:
        raise Unreadable(cell, f"{wanted}; the year {found.on.year} cannot be meant")
    return found


def _of_workbook(cell: Cell, wanted: str) -> Day:
    if isinstance(cell, datetime):
        if cell.time() != time():
            raise Unreadable(cell, f"{wanted}, without a time of day")
        return Day(cell.date())
    if isinstance(cell, date):
        return Day(cell)
    if isinstance(cell, bool):
        raise Unreadable(cell, wanted)
    if isinstance(cell, int) or (isinstance(cell, float) and cell.is_integer()):
        if int(cell) in SPREADSHEET_DAYS:
            return Day(SPREADSHEET_DAY_ZERO + timedelta(days=int(cell)))
        return _of_text(plain(cell), wanted)
    raise Unreadable(cell, wanted)


def _of_text(cell: str, wanted: str) -> Day:
    seen = plain(cell)
    found = _year_first(seen) or _year_last(seen, wanted) or _with_month_named(seen)
    if found is None:
        raise Unreadable(cell, wanted + _hint(seen))
    year, month, day_of_month = found
    try:
        return Day(date(year, month, day_of_month or 1), month_only=day_of_month is None)
    except ValueError:
        raise Unreadable(cell, f"{wanted}; there is no such day") from None


Parts = tuple[int, int, int | None]


def _year_first(seen: str) -> Parts | None:
    if match := YEAR_FIRST.fullmatch(seen):
        return int(match[1]), int(match[3]), int(match[4]) if match[4] else None
    if match := COMPACT.fullmatch(seen):
        return int(match[1]), int(match[2]), int(match[3])
    if match := MONTH_YEAR.fullmatch(seen):
        return int(match[2]), int(match[1]), None
    return None


def _year_last(seen: str, wanted: str) -> Parts | None:
    match = YEAR_LAST.fullmatch(seen)
    if not match:
        return None
    one, two, year = int(match[1]), int(match[3]), int(match[4])
    if one == two or (one <= 12 < two):
        return year, one, two
    if two <= 12 < one:
        return year, two, one
    if one > 12:
        raise Unreadable(seen, f"{wanted}; there is no such day")
    readings = f"{year}-{one:02}-{two:02} or {year}-{two:02}-{one:02}"
    raise Unreadable(seen, f"{wanted}; this one may mean {readings}")


def _with_month_named(seen: str) -> Parts | None:
    if match := DAY_NAMED.fullmatch(seen):
        return _named(match[3], match[2], match[1])
    if match := NAMED_DAY.fullmatch(seen):
        return _named(match[3], match[1], match[2])
    if match := NAMED_MONTH.fullmatch(seen):
        return _named(match[2], match[1], None)
    return None


def _named(year: str, name: str, day_of_month: str | None) -> Parts | None:
    full = ("january", "february", "march", "april", "may", "june", "july", "august",
            "september", "sept", "october", "november", "december")  # fmt: skip
    word = name.lower()
    if word not in MONTHS and word not in full:
        return None
    return int(year), MONTHS.index(word[:3]) + 1, int(day_of_month) if day_of_month else None


def _hint(seen: str) -> str:
    if seen.isdigit() and int(seen) in SPREADSHEET_DAYS:
        meant = SPREADSHEET_DAY_ZERO + timedelta(days=int(seen))
        return f"; this may be a spreadsheet's day number, then write {meant.isoformat()}"
    if re.fullmatch(r"\d{4}", seen):
        return "; the year alone does not do here"
    if re.fullmatch(r"\d{1,2}[-/.]\w{1,9}[-/.]\d{2}", seen):
        return "; write the year with four digits"
    return ""

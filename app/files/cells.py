"""One cell to one value, or a sentence on what was found and what is wanted.

A cell is text as typed in a form or a CSV file, or what a workbook holds: a number, a date,
yes or no.
Every reader here takes a cell that is not blank; `optional` is for those that may be.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from difflib import get_close_matches
from types import MappingProxyType
from typing import TypeVar

T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class Spoilt:
    """A cell whose value a workbook could not work out: what stands there, and what is wanted."""

    found: str
    wanted: str

    def __str__(self) -> str:
        return self.found


Cell = str | int | float | bool | Decimal | date | datetime | time | timedelta | Spoilt | None

# What formula injection is kept off with on the way out, and so taken off on the way in.
NEUTRALISED = re.compile(r"^'(?=[=+\-@\t\r])")
NOT_PRINTED = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f\u200b-\u200d\ufeff]")
LONGEST_TEXT = 200


class Unreadable(ValueError):
    """A cell that cannot be taken: `found` is what it holds, `wanted` a phrase on what to write."""

    def __init__(self, cell: Cell, wanted: str) -> None:
        self.found = shown(cell)
        self.wanted = wanted
        super().__init__(f"found {self.found!r}; want {wanted}")


def blank(cell: Cell) -> bool:
    """Nothing is said: no cell, or only spaces."""
    if isinstance(cell, str):
        return not cell.strip() or not (cell.isascii() or plain(cell))
    return cell is None


def optional(read: Callable[[Cell], T], cell: Cell) -> T | None:
    """What `read` makes of the cell, or None for a blank one."""
    return None if blank(cell) else read(cell)


def shown(cell: Cell) -> str:
    """The cell as a person would see it, cut short."""
    seen = as_text(cell)
    return seen if len(seen) <= 60 else f"{seen[:57]}..."


def as_text(cell: Cell) -> str:
    """The cell as text; a number without ".0", and with the 15 digits that a spreadsheet shows."""
    if isinstance(cell, str):
        return cell.strip()
    if isinstance(cell, bool):
        return "yes" if cell else "no"
    if isinstance(cell, float):
        return str(int(cell)) if cell.is_integer() else f"{cell:.15g}"
    if isinstance(cell, datetime):
        return cell.date().isoformat() if cell.time() == time() else cell.isoformat(" ")
    if isinstance(cell, date | time):
        return cell.isoformat()
    return "" if cell is None else str(cell)


def plain(cell: Cell) -> str:
    """The text with look-alike characters made plain, unprinted ones dropped, spaces made one."""
    seen = cell if isinstance(cell, str) else as_text(cell)
    if not seen.isascii():
        seen = NOT_PRINTED.sub("", unicodedata.normalize("NFKC", seen)).translate(LOOK_ALIKES)
    return " ".join(seen.split())


LOOK_ALIKES = str.maketrans({"⁄": "/", "−": "-", "‐": "-", "‑": "-", "–": "-", "—": "-"})


def text(cell: Cell) -> str:
    """Words as written, on one line, at most 200 characters."""
    words = " ".join(as_text(cell).split())
    if not words.isprintable() or words.startswith("'"):
        words = NEUTRALISED.sub("", NOT_PRINTED.sub("", words))
    if len(words) > LONGEST_TEXT:
        raise Unreadable(cell, f"at most {LONGEST_TEXT} characters, got {len(words)}")
    return words


def notes(cell: Cell) -> str:
    """Words as written, with their lines, at most 10,000 characters."""
    words = NEUTRALISED.sub("", NOT_PRINTED.sub("", as_text(cell)))
    if len(words) > 10_000:
        raise Unreadable(cell, f"at most 10000 characters, got {len(words)}")
    return words


def yes_or_no(cell: Cell) -> bool:
    word = plain(cell).lower()
    if word in ("yes", "y", "true", "1", "x"):
        return True
    if word in ("no", "n", "false", "0"):
        return False
    raise Unreadable(cell, "yes or no, or an empty cell when nobody knows")


def whole(lowest: int, highest: int, what: str) -> Callable[[Cell], int]:
    """A reader of whole numbers from `lowest` to `highest`, called `what` in its sentence."""

    def read(cell: Cell) -> int:
        digits = plain(cell).replace(" ", "")
        digits = re.sub(r"\.0+$", "", digits)
        if not re.fullmatch(r"[0-9]{1,12}", digits) or not lowest <= int(digits) <= highest:
            raise Unreadable(cell, f"{what}, a whole number from {lowest} to {highest}")
        return int(digits)

    return read


months = whole(1, 1200, "a number of months")


def one_of(
    words: Collection[str], what: str, also: Mapping[str, str] = MappingProxyType({})
) -> Callable[[Cell], str]:
    """A reader of one word of a list, or of what it is `also` called.

    Capitals, spaces, dashes and underscores do not matter.
    """
    known = {
        key(said): word for said, word in ({word: word for word in words} | dict(also)).items()
    }

    def read(cell: Cell) -> str:
        found = known.get(key(plain(cell)))
        if found is None:
            raise Unreadable(cell, what + (nearest(cell, words) or f": one of {', '.join(words)}"))
        return found

    return read


def several_of(words: Collection[str], what: str) -> Callable[[Cell], tuple[str, ...]]:
    """A reader of words of a list, semicolons or commas between them; gives the list's order."""
    one = one_of(words, what)

    def read(cell: Cell) -> tuple[str, ...]:
        found = {one(part) for part in re.split(r"[;,|\n]", plain(cell)) if part.strip()}
        if not found:
            raise Unreadable(cell, f"{what}, with semicolons between them")
        return tuple(word for word in words if word in found)

    return read


def key(word: str) -> str:
    """What two spellings of one word share."""
    return re.sub(r"[\s_\-]+", "", word).lower()


def nearest(cell: Cell, words: Collection[str]) -> str:
    """A question whether a word of the list was meant, or nothing when none is close."""
    by_key = {key(word): word for word in words}
    close = get_close_matches(key(plain(cell)), by_key, n=1, cutoff=0.75)
    return f" (did you mean {by_key[close[0]]}?)" if close else ""

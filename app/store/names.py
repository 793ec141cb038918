"""Finding cars by mark and number as people write them: ranges of the index, never patterns."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any

from sqlalchemy import ColumnElement, and_, or_, true

from app.errors import Refused

# A mark and its number.
Name = tuple[str, int]
LARGEST = 999_999
WHOLE = re.compile(r"\s*([A-Za-z]{2,4})[\s\-_./,;]*([0-9]{1,6})\s*")
WRITTEN = re.compile(r"([A-Z]{0,4})0*(\d{0,6})\Z")


@dataclass(frozen=True, slots=True)
class NamePrefix:
    """How a mark begins, and how a number does."""

    mark: str = ""
    digits: str = ""

    @property
    def few(self) -> bool:
        """Whether hardly more than a thousand names begin so: those of a mark with three digits or more."""
        return bool(self.mark) and len(self.digits) > 2


EVERY_NAME = NamePrefix()


def read_name(text: str) -> Name:
    """The mark and number that "ZQKX 1045", "zqkx-001045" or "ZQKX,1045" stands for; Refused for anything else.

    Nothing may stand within the number: an answer for another car would be worse than none.
    """
    match = WHOLE.fullmatch(text)
    if match is None or int(match[2]) == 0:
        raise Refused(f"{text.strip()!r} is not a mark and number. Write both, such as ZQKX 1045.")
    return match[1].upper(), int(match[2])


def read_prefix(text: str) -> NamePrefix:
    """What "ZQKX", "zqkx-1045", "ZQKX 001045" or "1045" looks for; Refused for anything else."""
    written = re.sub(r"[\s\-_./]+", "", text.upper())
    match = WRITTEN.match(written)
    if match is None:
        raise Refused(
            f"{text.strip()!r} is no mark and number. Write the mark, the number or both, "
            f"such as ZQKX 1045; a beginning of each is enough."
        )
    return NamePrefix(match[1], match[2])


def number_ranges(digits: str) -> list[tuple[int, int]]:
    """The numbers whose digits begin so: 1045, 10450 to 10459, 104500 to 104599."""
    first = last = int(digits)
    ranges = []
    while first <= LARGEST:
        ranges.append((first, min(last, LARGEST)))
        first, last = first * 10, last * 10 + 9
    return ranges


def matches(
    prefix: NamePrefix, mark: ColumnElement[str], number: ColumnElement[int]
) -> ColumnElement[bool]:
    """The condition on columns of mark and number."""
    conditions: list[ColumnElement[Any]] = []
    if len(prefix.mark) == 4 or (prefix.mark and prefix.digits):
        conditions.append(mark == prefix.mark)
    elif prefix.mark:
        conditions.append(and_(mark >= prefix.mark, mark < _after(prefix.mark)))
    if prefix.digits:
        conditions.append(or_(*(number.between(*pair) for pair in number_ranges(prefix.digits))))
    return and_(true(), *conditions)


def begins(prefix: NamePrefix, mark: str, number: int) -> bool:
    """Whether a name begins so: what `matches` is to columns."""
    whole_mark = len(prefix.mark) == 4 or (prefix.mark and prefix.digits)
    marked = mark == prefix.mark if whole_mark else mark.startswith(prefix.mark)
    return marked and str(number).startswith(prefix.digits)


def _after(mark: str) -> str:
    # Marks are capital letters; this sorts after every one that begins so, in any language.
    return mark + "ZZZZZ"

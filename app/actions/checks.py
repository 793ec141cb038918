"""What every change is held to before anything is written: sensible days, exact numbers, known words."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import fields
from datetime import date
from decimal import Decimal
from typing import Any

from app.actions.stamp import Stamp
from app.core.measure import Stated
from app.core.stencil import Unreadable, decode
from app.errors import Fault, Refused
from app.rules.reader import default_rulebook

MARK = re.compile(r"[A-Z]{2,4}\Z")
LARGEST_NUMBER = 999_999
LARGEST_DECIMAL = Decimal(10) ** 12
LONGEST_WORDS = 200
EARLIEST = date(1850, 1, 1)


class Faults:
    """Collects what is wrong, so that a person hears of everything at once."""

    def __init__(self) -> None:
        self.found: list[Fault] = []

    def add(self, path: str, problem: str) -> None:
        self.found.append(Fault(path, problem))

    def refuse(self) -> None:
        """Raise Refused when anything was found."""
        if self.found:
            raise Refused.because(self.found)

    def day(self, path: str, day: date | None, stamp: Stamp, built_on: date | None = None) -> None:
        """Nothing is dated in the future or before the car was built."""
        if day is None:
            return
        if day > stamp.today:
            self.add(path, f"{day} lies in the future; today is {stamp.today}")
        elif built_on and day < built_on:
            self.add(path, f"{day} lies before the car was built on {built_on}")
        elif day < EARLIEST:
            self.add(path, f"{day} is too long ago; want a day from {EARLIEST} on")

    def one_of(self, path: str, value: str | None, known: Iterable[str]) -> None:
        if value is not None and value not in known:
            self.add(path, f"{value!r} is not known; want one of {', '.join(known)}")

    def months(self, path: str, months: int | None) -> None:
        if months is not None and not 1 <= months <= 1200:
            self.add(path, f"must be 1 to 1200 months, got {months}")

    def name(self, path: str, mark: str, number: int) -> None:
        if not MARK.match(mark):
            self.add(f"{path}mark", f"{mark!r} is no mark; want 2 to 4 capital letters")
        if not 1 <= number <= LARGEST_NUMBER:
            self.add(f"{path}number", f"must be 1 to {LARGEST_NUMBER}, got {number}")

    def specification(self, path: str, text: str) -> None:
        try:
            decode(text, default_rulebook().stencils)
        except Unreadable as fault:
            self.add(path, str(fault))

    def plain(self, path: str, change: Any) -> None:
        """Every field of a change fits its column: exact decimals, words of a length."""
        for field in fields(change):
            value = getattr(change, field.name)
            if isinstance(value, Decimal | Stated):
                self._decimal(
                    f"{path}{field.name}", value.number if isinstance(value, Stated) else value
                )
            elif isinstance(value, str) and len(value) > LONGEST_WORDS and field.name not in LONG:
                self.add(f"{path}{field.name}", f"is longer than {LONGEST_WORDS} characters")

    def _decimal(self, path: str, value: Decimal) -> None:
        if not value.is_finite() or not 0 <= value < LARGEST_DECIMAL:
            self.add(path, f"must be 0 or more and below a million million, got {value}")
        elif value.normalize().as_tuple().exponent < -6:  # type: ignore[operator]
            self.add(path, f"has more than six decimals: {value}")


# Text of any length.
LONG = ("notes", "reason")


def tidy(text: str) -> str:
    """Words as they are kept: no spaces around, one between."""
    return " ".join(text.split())

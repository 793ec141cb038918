"""Measures as they were stated: in inches and psi, in which all is counted, or in millimetres and kilopascals, exactly.

The inch is 25.4 mm and the pound-force 4.4482216152605 N, both by definition (NIST SP 811, Appendix B.8): 11.1 mm is
111/254 in, which no decimal is. So what was stated is kept as it was, and compared as a fraction.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from functools import lru_cache
from math import floor

MM_PER_INCH = Fraction("25.4")
KPA_PER_PSI = Fraction("4.4482216152605") / Fraction("0.0254") ** 2 / 1000
# What one of a unit is in the unit that its kind of measure is counted in.
UNITS = {"mm": 1 / MM_PER_INCH, "kPa": 1 / KPA_PER_PSI}
MILLION = 1_000_000
WRITTEN = re.compile(r"(\d{1,7}(?:\.\d{1,6})?)(?: (mm|kPa))?", re.ASCII)


@dataclass(frozen=True, slots=True)
class Stated:
    """A number in a unit of `UNITS`; as text "11.1 mm"."""

    number: Decimal
    unit: str

    def __str__(self) -> str:
        return f"{self.number:f} {self.unit}"


# A decimal is in inches or psi.
Amount = Decimal | Stated


def exact(amount: Amount) -> Fraction:
    """In inches or psi."""
    if isinstance(amount, Stated):
        return Fraction(amount.number) * UNITS[amount.unit]
    return Fraction(amount)


def exact_or_none(amount: Amount | None) -> Fraction | None:
    return None if amount is None else exact(amount)


def kept(amount: Amount) -> Decimal:
    """In inches or psi, rounded down to the sixth place: for lists and sums, never for a verdict."""
    if isinstance(amount, Stated):
        return Decimal(floor(exact(amount) * MILLION)) / MILLION
    return amount


def kept_or_none(amount: Amount | None) -> Decimal | None:
    return None if amount is None else kept(amount)


def as_text(amount: Amount) -> str:
    """As it was said: "0.438", "11.1 mm"."""
    return str(amount) if isinstance(amount, Stated) else f"{amount.normalize():f}"


def with_unit(text: str, unit: str) -> str:
    """What an entry of field work states, with the unit of its field unless it has its own."""
    return text if " " in text else f"{text} {unit}"


def read(text: str) -> Amount:
    """What "0.438" or "11.1 mm" states. Raises ValueError for anything else."""
    found = WRITTEN.fullmatch(text)
    if found is None:
        raise ValueError(f"no measure: {text!r}")
    number = Decimal(found[1])
    return Stated(number, found[2]) if found[2] else number


def written(amounts: Mapping[str, Amount | None]) -> str | None:
    """Those that were stated in another unit, as a row keeps them: "inches=11.1 mm; span_in=150 mm"."""
    said = [f"{name}={amount}" for name, amount in amounts.items() if isinstance(amount, Stated)]
    return "; ".join(said) or None


def as_stated(name: str, kept: Decimal | None, stated: str | None) -> Amount | None:
    """The measure of a row as it was stated."""
    return (_said(stated).get(name) if stated else None) or kept


def must_agree(values: Mapping[str, object], stated: str) -> None:
    """Raise ValueError unless what a row keeps is what it states, rounded down, and nothing else is stated."""
    for name, said in _said(stated).items():
        if values.get(name) != kept(said):
            raise ValueError(f"{name} is {values.get(name)}, which is not {said}")


def exactly(name: str, millionths: int, stated: str) -> Fraction:
    """The measure of a row that states some in another unit, from the millionths that it keeps."""
    said = _said(stated).get(name)
    return Fraction(millionths, MILLION) if said is None else exact(said)


@lru_cache(maxsize=65_536)
def _said(stated: str) -> Mapping[str, Stated]:
    pairs = (each.partition("=") for each in stated.split("; "))
    return {name: _otherwise(text) for name, _, text in pairs}


def _otherwise(text: str) -> Stated:
    amount = read(text)
    if not isinstance(amount, Stated):
        raise ValueError(f"no other unit: {text!r}")
    return amount

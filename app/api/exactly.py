"""Exact fractions of a request as the decimals that the register keeps."""

from __future__ import annotations

from decimal import Decimal, localcontext
from fractions import Fraction

# A request's number has at most 30 digits, before or after its point.
DIGITS = 70


def as_decimal(number: Fraction) -> Decimal:
    """The decimal that was written: every number of a request came as one."""
    with localcontext(prec=DIGITS):
        return (Decimal(number.numerator) / number.denominator).normalize()


def decimal_or_none(number: Fraction | None) -> Decimal | None:
    return None if number is None else as_decimal(number)

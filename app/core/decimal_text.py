"""Exact numbers as decimal text of at most six places, as a tablet compares with them.

What is measured has at most six places. Rounded towards what is allowed, a bound then decides every such
number as the exact one does: at most 0.4722222… is at most 0.472222.
"""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction
from math import ceil, floor

PLACES = 6
_SCALE = 10**PLACES


def at_least(bound: Fraction) -> str:
    """The least number of six places that is not below `bound`."""
    return _text(ceil(bound * _SCALE))


def at_most(bound: Fraction) -> str:
    """The greatest number of six places that is not above `bound`."""
    return _text(floor(bound * _SCALE))


def near(value: Fraction) -> str:
    """`value` rounded half up, to be shown and not to be compared with."""
    return _text(floor(value * _SCALE + Fraction(1, 2)))


def _text(millionths: int) -> str:
    return f"{Decimal(millionths).scaleb(-PLACES).normalize():f}"

"""Bounds as decimal text decide every number of six places as the exact ones do (figure A of 180.509)."""

from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.core.decimal_text import at_least, at_most, near

BOUNDS = st.fractions(min_value=0, max_value=1500, max_denominator=10**9)
TEXTS = st.decimals(min_value=0, max_value=1500, places=6)


@pytest.mark.parametrize(
    ("value", "least", "most", "shown"),
    [
        (Fraction(13, 32), "0.40625", "0.40625", "0.40625"),
        (Fraction(17, 36), "0.472223", "0.472222", "0.472222"),
        (Fraction(75), "75", "75", "75"),
        (Fraction(100), "100", "100", "100"),
        (Fraction(2, 3), "0.666667", "0.666666", "0.666667"),
    ],
)
def test_a_number_as_text(value, least, most, shown):
    assert (at_least(value), at_most(value), near(value)) == (least, most, shown)


@given(BOUNDS, TEXTS)
def test_comparing_with_the_text_is_comparing_with_the_number(bound, measured):
    assert (measured <= Decimal(at_most(bound))) == (Fraction(measured) <= bound)
    assert (measured < Decimal(at_least(bound))) == (Fraction(measured) < bound)

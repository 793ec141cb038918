"""Finding cars as people write their names: ranges of an index, never patterns."""

import pytest

from app.errors import Refused
from app.store.names import NamePrefix, number_ranges, read_prefix


@pytest.mark.parametrize(
    ("written", "found"),
    [
        ("ZQKX", NamePrefix("ZQKX", "")),
        ("ZQKX 1045", NamePrefix("ZQKX", "1045")),
        ("zqkx-1045", NamePrefix("ZQKX", "1045")),
        ("  ZQKX001045 ", NamePrefix("ZQKX", "1045")),  # leading zeros, as painted
        ("1045", NamePrefix("", "1045")),
        ("zq", NamePrefix("ZQ", "")),
        ("", NamePrefix("", "")),
    ],
)
def test_a_search_is_read_as_people_write_it(written, found):
    assert read_prefix(written) == found


@pytest.mark.parametrize("written", ["ZQKXX 1", "ZQKX 1045678", "1045 ZQKX", "ZQ%", "ZQKX 10*"])
def test_what_is_no_name_is_refused_in_words(written):
    with pytest.raises(Refused, match="no mark and number"):
        read_prefix(written)


@pytest.mark.parametrize(
    ("digits", "ranges"),
    [
        ("1045", [(1045, 1045), (10450, 10459), (104500, 104599)]),
        ("999999", [(999999, 999999)]),
        ("10000", [(10000, 10000), (100000, 100009)]),
        ("7", [(7, 7), (70, 79), (700, 799), (7000, 7999), (70000, 79999), (700000, 799999)]),
    ],
)
def test_digits_are_ranges_of_numbers_that_begin_so(digits, ranges):
    assert number_ranges(digits) == ranges


def test_the_ranges_hold_exactly_the_numbers_whose_digits_begin_so():
    for digits in ("1", "10", "104", "9999", "12345"):
        held = {n for first, last in number_ranges(digits) for n in range(first, last + 1)}
        assert held == {n for n in range(1, 1_000_000) if str(n).startswith(digits)}

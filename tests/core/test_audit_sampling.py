"""Samples: drawn as the published words say, so large as published and reckoned tables say, proving what those say."""

import subprocess
from decimal import Decimal
from fractions import Fraction
from itertools import combinations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.core.audit.sampling import (
    at_most_wrong,
    chance_of_at_most,
    discovery_size,
    drawn,
    wrong_ones,
)

NAMES = [f"ZQKX {number}" for number in range(1001, 1041)]


def sorted_by_sha256sum(seed: str, names: list[str]) -> list[str]:
    """The published words done with the shell: `printf '%s:%s' SEED NAME | sha256sum`, then `sort`."""
    key = '$(printf "%s:%s" "$1" "$name" | sha256sum | cut -c1-64)'
    each = f'while IFS= read -r name; do printf "%s  %s\\n" "{key}" "$name"; done'
    script = f"{each} | LC_ALL=C sort"
    done = subprocess.run(
        ["sh", "-c", script, "sh", seed], input="\n".join(names) + "\n", capture_output=True,
        text=True, check=True,
    )  # fmt: skip
    return [line[66:] for line in done.stdout.splitlines()]


@pytest.mark.parametrize("seed", ["17", "a seed of words", "0"])
def test_the_draw_is_the_one_that_the_shell_makes_by_the_published_words(seed):
    ours = drawn(seed, zip(NAMES, range(len(NAMES)), strict=True), 12)
    assert [name for name, _ in ours] == sorted_by_sha256sum(seed, NAMES)[:12]


def test_another_order_of_the_cars_draws_the_same():
    cars = list(zip(NAMES, range(len(NAMES)), strict=True))
    assert drawn("17", cars, 7) == drawn("17", reversed(cars), 7)
    assert drawn("17", cars, 7) != drawn("18", cars, 7)


def test_a_larger_sample_holds_the_smaller_one():
    cars = list(zip(NAMES, range(len(NAMES)), strict=True))
    assert drawn("17", cars, 20)[:7] == drawn("17", cars, 7)


def test_two_cars_of_one_name_come_in_the_order_of_their_keys():
    assert drawn("17", [("ZQKX 1", 9), ("ZQKX 1", 4)], 2) == [("ZQKX 1", 4), ("ZQKX 1", 9)]


@pytest.mark.parametrize(
    ("population", "confidence", "percent", "size"),
    [
        # Cannon and Roe, Livestock Disease Surveys (1982), table 1, as its workbook of 2003 works it out.
        (1600, 99, "1", 399),
        # scipy 1.17.1: the least n with hypergeom.pmf(0, N, D, n) <= 1 - confidence.
        (100, 95, "5", 45),
        (20, 95, "5", 19),
        (50, 90, "10", 18),
        (500, 95, "5", 56),
        (1000, 95, "5", 57),
        (10_000, 95, "5", 59),
        (200, 99, "1", 180),
        (50_000, 95, "1", 298),
        # One wrong car among three is found for sure in all of them only.
        (3, 99, "1", 3),
        (1, 95, "5", 1),
    ],
)
def test_the_size_is_that_of_the_tables(population, confidence, percent, size):
    assert discovery_size(population, confidence, Decimal(percent)) == size


@pytest.mark.parametrize(
    ("population", "size", "found", "confidence", "most"),
    [
        # scipy 1.17.1: the most D with hypergeom.cdf(found, N, D, n) > 1 - confidence.
        (100, 45, 0, 95, 4),
        (100, 45, 1, 95, 8),
        (500, 56, 2, 95, 52),
        (20, 10, 0, 90, 3),
        (1000, 58, 3, 99, 159),
        # Whoever looks at all knows.
        (30, 30, 4, 95, 4),
    ],
)
def test_what_a_sample_proves_is_that_of_the_tables(population, size, found, confidence, most):
    assert at_most_wrong(population, size, found, confidence) == most


def test_a_share_of_cars_is_rounded_up():
    assert [wrong_ones(1243, Decimal(each)) for each in ("1", "5", "10")] == [13, 63, 125]


@given(st.integers(1, 9), st.data())
def test_the_chance_is_the_share_of_all_samples_that_there_are(population, data):
    wrong, size = (data.draw(st.integers(0, population)) for _ in range(2))
    found = data.draw(st.integers(0, population))
    every = list(combinations(range(population), size))
    so = sum(sum(each < wrong for each in sample) <= found for sample in every)
    assert Fraction(*chance_of_at_most(found, wrong, population, size)) == Fraction(so, len(every))


@given(
    st.integers(1, 400), st.sampled_from((90, 95, 99)), st.sampled_from((1, 2, 5, 10)).map(Decimal)
)
def test_nothing_found_in_a_sample_of_the_size_told_proves_what_was_asked(
    population, confidence, percent
):
    size = discovery_size(population, confidence, percent)
    wrong = wrong_ones(population, percent)
    assert at_most_wrong(population, size, 0, confidence) < wrong
    if size > 1:
        assert at_most_wrong(population, size - 1, 0, confidence) >= wrong

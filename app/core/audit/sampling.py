"""Drawing a sample so that anybody can draw it again, how large it should be, and what it proves.

Which cars are drawn depends on nothing but the seed and their names: no generator of random numbers, whose
results change with its version, has a part in it.
"""

from __future__ import annotations

from collections.abc import Iterable
from decimal import Decimal
from hashlib import sha256
from math import ceil, comb

# What a page, a file and the documents say of the method; a test draws by these words with `sha256sum`.
METHOD = (
    "For each car the text of seed, colon, mark, space and number without leading zeros, such as 17:ZQKX 1001, is "
    "put through SHA-256. The cars are sorted by the 64 hexadecimal digits that result, the least first, and the "
    "first ones are drawn, as many as the sample is to have. Two cars of one mark and number keep the order in "
    "which they were registered."
)


def place_of(seed: str, name: str) -> str:
    """What the cars are sorted by: the SHA-256 of "seed:MARK NUMBER" as hexadecimal digits."""
    return sha256(f"{seed}:{name}".encode()).hexdigest()


def drawn(seed: str, cars: Iterable[tuple[str, int]], size: int) -> list[tuple[str, int]]:
    """The first `size` of these cars, each its name and its key, in the order in which they are drawn."""
    return sorted(cars, key=lambda car: (place_of(seed, car[0]), car[1]))[:size]


def wrong_ones(population: int, percent: Decimal) -> int:
    """How many cars are this many percent, rounded up, and one at least."""
    return max(1, ceil(population * percent / 100))


def chance_of_at_most(found: int, wrong: int, population: int, size: int) -> tuple[int, int]:
    """The chance that a sample holds `found` cars of `wrong` ones or fewer, as a fraction, exact.

    Hypergeometric: each of the samples of this size is as likely as any other. Size and wrong ones may change
    places in it; the lesser of the two keeps the numbers small.
    """
    wrong, size = sorted((wrong, size), reverse=True)
    ways = sum(
        comb(wrong, each) * comb(population - wrong, size - each)
        for each in range(min(found, wrong, size) + 1)
    )
    return ways, comb(population, size)


def _surely(chance: tuple[int, int], confidence: int) -> bool:
    """Whether the chance is so little that the contrary holds with this confidence, in percent."""
    ways, every = chance
    return ways * 100 <= (100 - confidence) * every


def discovery_size(population: int, confidence: int, percent: Decimal) -> int:
    """The least sample that holds at least one wrong car with this confidence, in percent.

    As long as this many percent of the cars are wrong, or more; at most the whole population.
    """
    wrong = wrong_ones(population, percent)
    least, most = 1, population
    while least < most:
        size = (least + most) // 2
        if _surely(chance_of_at_most(0, wrong, population, size), confidence):
            most = size
        else:
            least = size + 1
    return least


def at_most_wrong(population: int, size: int, found: int, confidence: int) -> int:
    """The most wrong cars that a population can well have of which a sample of this size showed so many.

    With the confidence, in percent, there are no more: with one more, so few would be found too seldom.
    """
    least, most = found, population - (size - found)
    while least < most:
        wrong = (least + most + 1) // 2
        if _surely(chance_of_at_most(found, wrong, population, size), confidence):
            most = wrong - 1
        else:
            least = wrong
    return least

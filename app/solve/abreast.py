"""Two sums at once, on threads: NumPy and the solver let other threads run while they calculate.

How many are done at once is fixed, not taken from the machine, so that a plan does not depend on where it is made.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from concurrent.futures import ThreadPoolExecutor
from typing import TypeVar

Given = TypeVar("Given")
Found = TypeVar("Found")

ABREAST = 2


def abreast(each: Callable[[Given], Found], given: Iterable[Given]) -> list[Found]:
    """`each` of what is given, in its order; `each` must change nothing that another call reads."""
    given = list(given)
    if len(given) < 2:
        return [each(one) for one in given]
    with ThreadPoolExecutor(ABREAST) as threads:
        return list(threads.map(each, given))

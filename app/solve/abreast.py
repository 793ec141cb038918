"""Two sums at once, on threads: NumPy and the solver let other threads run while they calculate.

How many are done at once is fixed, not taken from the machine, so that a plan does not depend on where it is made.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
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


def in_turn(
    each: Callable[[Given], Found], given: Iterable[Given]
) -> Iterator[tuple[Given, Found]]:
    """What is given, maybe without end, with `each` of it, in its order; the next is taken while others are done."""
    going: deque[tuple[Given, Future[Found]]] = deque()
    with ThreadPoolExecutor(ABREAST) as threads:
        for one in given:
            going.append((one, threads.submit(each, one)))
            if len(going) > ABREAST:
                first, found = going.popleft()
                yield first, found.result()
        for first, found in going:
            yield first, found.result()

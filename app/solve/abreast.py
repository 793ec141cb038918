"""Two sums at once: on threads, since the solver lets other threads run while it calculates, or in processes.

Prices are answered by one thread alone: NumPy's calls are so short there that two wait for the interpreter, and take
longer than one.

How many are done at once is fixed, not taken from the machine, so that a plan does not depend on where it is made.
"""

from __future__ import annotations

import os
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import Executor, Future, ThreadPoolExecutor
from contextlib import contextmanager
from typing import TypeVar

from loky import ProcessPoolExecutor

Given = TypeVar("Given")
Found = TypeVar("Found")

ABREAST = 2
# How many wait for the first to be done, since some take fifty times as long as most.
AHEAD = 6
# Seconds after which processes that nobody asks anything end, as those of a parent that was killed.
IDLE = 60


def helpers(far: bool) -> Executor:
    """Those who calculate beside us: processes where `far`, which take a second to be ready, else threads.

    Small sums follow each other so fast that threads wait for the interpreter most of the time; processes do not.
    """
    if not far:
        return ThreadPoolExecutor(ABREAST)
    processes = ProcessPoolExecutor(ABREAST, timeout=IDLE)
    processes.submit(os.getpid)  # so that they start now
    return processes  # type: ignore[no-any-return]


@contextmanager
def helped(far: bool) -> Iterator[Executor]:
    """Helpers for as long as the block lasts; they end beside us what they are at by then, which is little."""
    beside = helpers(far)
    try:
        yield beside
    finally:
        beside.shutdown(wait=False)


def in_turn(
    begun: Callable[[Given], Future[Found]], given: Iterable[Given]
) -> Iterator[tuple[Given, Found]]:
    """What is given, maybe without end, with what came of each, in its order; the next are begun meanwhile."""
    going: deque[tuple[Given, Future[Found]]] = deque()
    for one in given:
        going.append((one, begun(one)))
        if len(going) > AHEAD:
            first, found = going.popleft()
            yield first, found.result()
    for first, found in going:
        yield first, found.result()

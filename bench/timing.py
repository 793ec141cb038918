"""How long something takes: by the clock and of processor, and two things in turn."""

from __future__ import annotations

import time
from collections.abc import Callable
from statistics import median
from typing import NamedTuple


class Spent(NamedTuple):
    """Seconds on the clock, and of processor time."""

    clock: float
    processor: float


def timed(work: Callable[[], object]) -> Spent:
    clock, processor = time.perf_counter(), time.process_time()
    work()
    return Spent(time.perf_counter() - clock, time.process_time() - processor)


def milliseconds(work: Callable[[], object]) -> Callable[[], float]:
    """Does the work and gives its milliseconds by the clock."""
    return lambda: timed(work).clock * 1000


def of_processor(work: Callable[[], object]) -> Callable[[], float]:
    """Does the work and gives its milliseconds of processor, in this process alone."""
    return lambda: timed(work).processor * 1000


def seconds(work: Callable[[], object]) -> Callable[[], float]:
    """Does the work and gives its seconds by the clock."""
    return lambda: timed(work).clock


def in_turn(*sides: Callable[[], float], times: int, unheard: int = 1) -> list[float]:
    """The median of what each side gives, all asked in turn so that they meet the same machine.

    The first rounds go unheard: they make connections, statements and templates.
    """
    rounds = [[side() for side in sides] for _ in range(unheard + times)][unheard:]
    return [median(each) for each in zip(*rounds, strict=True)]

"""From shares to whole columns: fix those that are sure, solve the relaxed problem anew around them, and so on.

Most sure are columns of which a car takes the whole and whose next best would cost it most; beside them some of the
largest of the true shares. Cars that have as good a choice elsewhere stay free the longest, to fill what is left.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from math import inf

from app.solve.columns import Column
from app.solve.fleet import Floats
from app.solve.relaxed import Relaxation, fits, priced_at, take
from app.solve.watch import Watch

# The share of the free cars fixed in each round, and when so few are left that all whole ones are.
ROUND = 0.15
WHOLE_ROUND = 0.5
FEW = 40
# How close the relaxed problem is solved between rounds.
CLOSE = 1e-3
WHOLE = 1 - 1e-6


def dive(relaxed: Relaxation, watch: Watch) -> list[Column]:
    """A column for each car of a settled relaxation, which fit together; the relaxation is used up.

    When time is over the rest take what costs them least in the room that is left.
    """
    while relaxed.batches:
        if watch.over():
            relaxed.fix_answers()
            break
        relaxed.fix(_surest(relaxed))
        if relaxed.batches:
            relaxed.settle(watch, CLOSE)
    return list(relaxed.fixed.values())


def _surest(relaxed: Relaxation) -> list[int]:
    """The numbers of the columns to fix next; at least one, and they fit together."""
    whole, part = _graded(relaxed)
    few = len(whole) + len(part) < FEW or not part
    sure = whole if few else whole[: int(WHOLE_ROUND * len(whole))]
    return _fitting(relaxed, [*sure, *part[: max(1, int(ROUND * len(part)))]])


def _graded(relaxed: Relaxation) -> tuple[list[int], list[int]]:
    """The largest column of each free car: those taken whole, surest first, and the others by their share."""
    assert relaxed.prices is not None
    prices, columns = relaxed.prices.ravel().tolist(), relaxed.master.columns
    shares = relaxed.shares.of_column.tolist()
    whole: list[tuple[float, int]] = []
    part: list[tuple[float, int]] = []
    for numbers in _by_car(relaxed).values():
        top = max(numbers, key=shares.__getitem__)
        if shares[top] >= WHOLE:
            costs = (priced_at(columns[at], prices) for at in numbers if at != top)
            whole.append((min(costs, default=inf) - priced_at(columns[top], prices), top))
        else:
            part.append((shares[top], top))
    return _largest_first(whole), _largest_first(part)


def _largest_first(graded: Iterable[tuple[float, int]]) -> list[int]:
    return [at for _, at in sorted(graded, key=lambda each: (-each[0], each[1]))]


def _by_car(relaxed: Relaxation) -> dict[int, list[int]]:
    numbers: dict[int, list[int]] = defaultdict(list)
    for at, column in enumerate(relaxed.columns()):
        numbers[column.car].append(at)
    return numbers


def _fitting(relaxed: Relaxation, numbers: Iterable[int]) -> list[int]:
    room: Floats = relaxed.room.copy()
    taken = []
    for at in numbers:
        if fits(room, relaxed.master.columns[at]):
            take(room, relaxed.master.columns[at])
            taken.append(at)
    return taken

"""How long a search may go on, what it tells meanwhile, and its being watched: told of and ended whatever it is at."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import Future, ThreadPoolExecutor, wait
from dataclasses import dataclass, field
from threading import Event
from time import monotonic

from app.solve.columns import Column
from app.solve.fleet import Floats

# Bound and best cost so far.
Tell = Callable[[float, float], None]
# Between two looks at a search, and for it to end by itself once it is to.
SECONDS_BETWEEN, SECONDS_TO_END = 0.25, 1.0
# How much more of its time, or how many seconds at least, a search may take that has nothing yet when time is up, as on
# a very busy machine.
LATE, SECONDS_LATE = 0.1, 10.0


@dataclass(frozen=True, slots=True)
class Found:
    """A column for each car, and a bound that no choice of columns goes below; `prices` are those it was found at."""

    columns: Sequence[Column]
    bound: float
    prices: Floats

    @property
    def cost(self) -> float:
        return sum(column.cost for column in self.columns)


def nobody(*_: object) -> None:
    """Nobody is told."""


def never() -> bool:
    return False


@dataclass(slots=True)
class Watch:
    """`stop` is asked now and then whether to stop, keeping the best; `tell` is told of each step forward."""

    seconds: float
    tell: Callable[[Found], None] = nobody
    stop: Callable[[], bool] = never
    began: float = field(default_factory=monotonic)

    @property
    def spent(self) -> float:
        return monotonic() - self.began

    @property
    def left(self) -> float:
        return max(0.0, self.seconds - self.spent)

    def over(self) -> bool:
        return self.left <= 0 or self.stop()

    def until(self, share: float) -> Watch:
        """A watch that ends when `share` of the whole time is spent; told and stopped as this one."""
        return Watch(self.seconds * share, self.tell, self.stop, self.began)


@dataclass(slots=True)
class Best:
    """The best columns and the best bound of all that a search told of."""

    found: Found
    cost: float = field(init=False)

    def __post_init__(self) -> None:
        self.cost = self.found.cost

    def hear(self, new: Found) -> None:
        best, cost = self.found, new.cost
        columns = new.columns if cost < self.cost else best.columns
        proven = new if new.bound > best.bound else best
        self.found, self.cost = Found(columns, proven.bound, proven.prices), min(cost, self.cost)


def watched(
    search: Callable[[Watch], Found],
    seconds: float,
    first: Found,
    tell: Tell,
    stop: Callable[[], bool],
    patience: float = 0.0,
) -> Found:
    """What a search comes to; once `stop` says so or time is up, the best that it has told of, `first` at worst.

    The search goes on beside us, so that however long it is at one thing, `stop` is asked several times a second.
    What is told never gets worse. While there is nothing better than `first`, a search that is stopped has so many
    seconds of `patience` to end by itself.
    """
    best, ended = Best(first), Event()
    late = monotonic() + seconds + SECONDS_TO_END

    def over() -> bool:
        return stop() or monotonic() > late

    beside = ThreadPoolExecutor(1)
    searching = beside.submit(search, Watch(seconds, best.hear, ended.is_set))
    beside.shutdown(wait=False)
    try:
        _look_on(searching, best, tell, over)
    finally:
        ended.set()
    wait([searching], SECONDS_TO_END)
    until = monotonic() + (patience if stop() else min(patience, max(SECONDS_LATE, seconds * LATE)))

    def enough() -> bool:
        return best.found.columns is not first.columns or monotonic() > until

    if not searching.done():
        _look_on(searching, best, tell, enough)
    return searching.result() if searching.done() else best.found


def _look_on(searching: Future[Found], best: Best, tell: Tell, stop: Callable[[], bool]) -> None:
    """Until the search is over or `stop` says so, telling what is new."""
    told: tuple[float, float] | None = None
    while True:
        done, found = searching.done(), best.found
        if told != (told := (found.bound, found.cost)):
            tell(*told)
        if done or stop():
            return
        wait([searching], SECONDS_BETWEEN)

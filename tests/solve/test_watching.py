"""A search is told of and stopped whatever it is at, and nothing it tells gets worse."""

import os
from collections.abc import Callable
from itertools import pairwise
from time import monotonic, sleep

import numpy as np
import pytest

from app.core.plan.check import faults
from app.core.plan.cost import cost
from app.solve import search, solve
from app.solve.abreast import helped
from app.solve.columns import Column
from app.solve.fleet import fleet_of
from app.solve.search import no_prices
from app.solve.watch import Found, Watch, watched
from bench.plan_problems import problem

# It takes far longer than these tests to prove.
LONG = problem(100, 1, shops=3, months=12)
SLACK = 2.0  # seconds


class Watcher:
    """Whoever looks on: stops the search so long after `begun`, and notes when it was asked and what it heard."""

    def __init__(self, seconds: float) -> None:
        self.seconds = seconds
        self.asked: list[float] = []
        self.told: list[tuple[float, float, float]] = []
        self.begun: float | None = None

    def begin(self) -> None:
        self.begun = monotonic()

    def stop(self) -> bool:
        self.asked.append(monotonic())
        return self.begun is not None and monotonic() - self.begun > self.seconds

    def tell(self, bound: float, best: float) -> None:
        self.told.append((monotonic(), bound, best))


@pytest.fixture
def watcher(monkeypatch: pytest.MonkeyPatch) -> Watcher:
    """One who stops three seconds after the proof was begun."""
    watcher, prove = Watcher(3.0), search.prove

    def proving(*given: object) -> Found:
        watcher.begin()
        return prove(*given)

    monkeypatch.setattr(search, "prove", proving)
    return watcher


def test_a_search_is_told_of_while_it_proves_and_ends_soon_when_it_is_stopped(watcher: Watcher):
    solved = solve(LONG, 60, watcher.tell, watcher.stop)
    ended = monotonic()
    assert watcher.begun is not None
    assert ended - watcher.begun < watcher.seconds + SLACK
    moments = [*watcher.asked, ended]
    assert max(later - earlier for earlier, later in pairwise(moments)) < SLACK
    while_proving = [each for each in watcher.told if each[0] > watcher.begun + 0.5]
    assert while_proving, "neither plan nor bound moved"
    assert faults(LONG, solved.visits) == []
    _, bound, best = watcher.told[-1]
    assert solved.cost <= best + 1e-6
    assert bound - 1e-6 <= solved.lower_bound <= solved.cost


def test_what_is_told_begins_with_the_plan_that_is_known_and_never_gets_worse(watcher: Watcher):
    known = solve(LONG, 2).visits
    watcher.told.clear()
    watcher.begun = None
    solved = solve(LONG, 3, watcher.tell, known=known)
    assert watcher.told[0][2] == pytest.approx(cost(LONG, known))
    for (_, bound, best), (_, later_bound, later_best) in pairwise(watcher.told):
        assert bound <= later_bound <= later_best <= best
    assert solved.cost <= watcher.told[-1][2] + 1e-6


# ---- whatever it is at ----

FLEET = fleet_of(problem(5, 1, shops=2, months=12))
FIRST = Found([Column(0, (), 9.0, ())], -np.inf, no_prices(FLEET))
BETTER = Found([Column(0, (), 7.0, ())], 3.0, no_prices(FLEET))
WORSE = Found([Column(0, (), 8.0, ())], 4.0, no_prices(FLEET))


def _busy(*telling: Found) -> Callable[[Watch], Found]:
    """A search that tells of these, and then hears of nothing for long."""

    def search(watch: Watch) -> Found:
        for found in telling:
            watch.tell(found)
        sleep(4)
        return FIRST

    return search


def test_a_search_that_hears_of_nothing_for_long_is_left_with_the_best_it_told_of():
    began = monotonic()
    found = watched(_busy(BETTER, WORSE), 60, FIRST, lambda *_: None, lambda: True)
    assert monotonic() - began < SLACK
    assert (found.cost, found.bound) == (7.0, 4.0)


def test_a_search_that_told_of_nothing_is_left_with_the_first_plan():
    assert watched(_busy(), 60, FIRST, lambda *_: None, lambda: True) is FIRST


def test_a_search_that_told_of_nothing_is_waited_for_where_the_first_plan_is_a_poor_one():
    began = monotonic()
    found = watched(_busy(), 60, WORSE, lambda *_: None, lambda: True, patience=30)
    assert found is FIRST
    assert monotonic() - began < 6
    assert watched(_busy(), 60, WORSE, lambda *_: None, lambda: True, patience=0.5) is WORSE


def test_what_goes_wrong_in_a_search_goes_wrong_for_whoever_asked():
    def search(_: Watch) -> Found:
        raise MemoryError

    with pytest.raises(MemoryError):
        watched(search, 60, FIRST, lambda *_: None, lambda: False)


def test_a_search_ends_when_whoever_looks_on_fails():
    ended: list[bool] = []

    def search(watch: Watch) -> Found:
        while not watch.over():
            sleep(0.01)
        ended.append(True)
        return FIRST

    def stop() -> bool:
        raise ConnectionError

    with pytest.raises(ConnectionError):
        watched(search, 60, FIRST, lambda *_: None, stop)
    sleep(0.1)
    assert ended


@pytest.mark.parametrize("far", [False, True])
def test_nobody_waits_for_helpers_and_those_far_away_end_what_they_are_at(far: bool):
    with helped(far) as beside:
        process = beside.submit(os.getpid).result()
        beside.submit(sleep, 1)
        began = monotonic()
    assert monotonic() - began < 0.5
    while process != os.getpid() and _lives(process):
        assert monotonic() - began < 5
        sleep(0.1)


def _lives(process: int) -> bool:
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return False
    return True


def test_when_time_is_up_a_search_that_hears_of_nothing_is_left_as_well():
    began = monotonic()
    found = watched(_busy(BETTER, WORSE), 0.2, FIRST, lambda *_: None, lambda: False)
    assert monotonic() - began < 0.2 + 1 + SLACK
    assert found.cost == 7.0

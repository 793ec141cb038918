"""Exchanges made two at once: they keep to the room, win what they say, and come out the same each time."""

import os
from concurrent.futures import BrokenExecutor, Executor
from itertools import count, islice
from operator import mul

import numpy as np
import pytest

from app.core.plan.soonest import soonest_due_first
from app.solve.abreast import helpers, in_turn
from app.solve.exchange import MOST_COLUMNS, Exchange
from app.solve.fleet import Floats, fleet_of
from app.solve.search import columns_for, left_out
from app.solve.watch import Watch
from bench.plan_problems import problem

ASKED = problem(150, 7, shops=4, months=24)
FLEET = fleet_of(ASKED)
SOONEST = columns_for(FLEET, soonest_due_first(ASKED))
THREADS = helpers(far=False)


def _prices() -> Floats:
    return np.full((len(ASKED.shops), ASKED.months), 40.0)


def _exchanged(times: int, beside: Executor = THREADS) -> Exchange:
    exchange = Exchange(FLEET, FLEET.room, SOONEST, _prices(), beside)
    before = exchange.cost
    for won in islice(exchange._exchanges(Watch(1e6)), 2 * times):
        assert exchange.cost == pytest.approx(before - won)
        before = exchange.cost
    return exchange


@pytest.mark.parametrize("far", [False, True])
def test_what_is_done_at_once_is_given_in_its_order(far: bool) -> None:
    squares = [(each, each * each) for each in range(9)]
    with helpers(far) as beside:
        begun = lambda each: beside.submit(mul, each, each)  # noqa: E731
        assert list(in_turn(begun, range(9))) == squares
        assert list(islice(in_turn(begun, count()), 9)) == squares


def test_processes_choose_what_threads_choose() -> None:
    with helpers(far=True) as processes:
        assert _exchanged(6, processes).chosen == _exchanged(6).chosen


def test_a_plan_stays_as_it_is_when_a_process_is_killed() -> None:
    with helpers(far=True) as processes:
        exchange = _exchanged(2, processes)
        before = exchange.cost
        with pytest.raises(BrokenExecutor):
            processes.submit(os._exit, 1).result()
        exchange.improve(Watch(1e6), 0.0)
        assert exchange.cost == before


def test_exchanges_made_at_once_never_fill_a_slot_past_its_days() -> None:
    exchange = _exchanged(12)
    used = np.zeros(FLEET.slots)
    for column in exchange.chosen.values():
        for slot, days in column.days:
            used[slot] += days
    assert (used <= FLEET.room + 1e-6).all()
    assert exchange.room == pytest.approx(FLEET.room - used)
    assert exchange.cost < sum(column.cost for column in SOONEST)


def test_an_exchange_for_days_that_another_took_meanwhile_is_not_made() -> None:
    exchange = Exchange(FLEET, FLEET.room, SOONEST, _prices(), THREADS)
    before, after = next(
        (exchange.chosen[car], column)
        for car, choices in exchange.choices.items()
        for _, column in choices
        if column.cost < exchange.chosen[car].cost
        and any(
            exchange.room[slot] < 0.5
            for slot, _ in set(column.days) - set(exchange.chosen[car].days)
        )
    )
    room = exchange.room.copy()
    assert exchange._exchange([before], [after]) == 0
    assert exchange.chosen[before.car] is before
    assert exchange.room == pytest.approx(room)


def test_exchanges_made_at_once_come_out_the_same() -> None:
    assert _exchanged(6).chosen == _exchanged(6).chosen


def test_a_car_that_pays_far_too_much_has_more_to_choose_from() -> None:
    """Else it would know only what it cannot get, and the worst."""
    exchange = Exchange(FLEET, FLEET.room, left_out(FLEET), _prices(), THREADS)
    assert all(len(choices) > MOST_COLUMNS + 1 for choices in exchange.choices.values())

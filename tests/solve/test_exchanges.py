"""Exchanges made two at once: they keep to the room, win what they say, and come out the same each time."""

import numpy as np
import pytest

from app.core.plan.soonest import soonest_due_first
from app.solve.abreast import abreast
from app.solve.exchange import MOST_COLUMNS, Exchange
from app.solve.fleet import Floats, fleet_of
from app.solve.search import columns_for, left_out
from app.solve.watch import Watch
from bench.plan_problems import problem

ASKED = problem(150, 7, shops=4, months=24)
FLEET = fleet_of(ASKED)
SOONEST = columns_for(FLEET, soonest_due_first(ASKED))


def _prices() -> Floats:
    return np.full((len(ASKED.shops), ASKED.months), 40.0)


def _exchanged(times: int) -> Exchange:
    exchange = Exchange(FLEET, FLEET.room, SOONEST, _prices())
    for _ in range(times):
        before = exchange.cost
        won = exchange._exchanges(Watch(1e6))
        assert exchange.cost == pytest.approx(before - won)
    return exchange


def test_what_is_done_at_once_is_given_in_its_order() -> None:
    assert abreast(lambda each: each * each, range(9)) == [each * each for each in range(9)]


def test_exchanges_made_at_once_never_fill_a_slot_past_its_days() -> None:
    exchange = _exchanged(12)
    used = np.zeros(FLEET.slots)
    for column in exchange.chosen.values():
        for slot, days in column.days:
            used[slot] += days
    assert (used <= FLEET.room + 1e-6).all()
    assert exchange.room == pytest.approx(FLEET.room - used)
    assert exchange.cost < sum(column.cost for column in SOONEST)


def test_exchanges_made_at_once_come_out_the_same() -> None:
    assert _exchanged(6).chosen == _exchanged(6).chosen


def test_a_car_that_pays_far_too_much_has_more_to_choose_from() -> None:
    """Else it would know only what it cannot get, and the worst."""
    exchange = Exchange(FLEET, FLEET.room, left_out(FLEET), _prices())
    assert all(len(choices) > MOST_COLUMNS + 1 for choices in exchange.choices.values())

"""A plan that changing one car alone makes no cheaper: each has its cheapest plan in the room that the others leave."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

import numpy as np

from app.core.plan.problem import TOLERANCE
from app.solve.columns import Column, columns_of
from app.solve.fleet import Batch, Fleet, Floats
from app.solve.pricing import price
from app.solve.relaxed import fits, take
from app.solve.watch import Watch


def best_alone(fleet: Fleet, columns: Iterable[Column], watch: Watch) -> list[Column]:
    """The columns, one a car, with each moved to where it costs less by itself, until none is or the watch is over."""
    chosen = {column.car: column for column in columns}
    room = fleet.room.copy()
    for column in chosen.values():
        take(room, column)
    moving = True
    while moving and not watch.over():
        moving = False
        for batch in fleet.batches:
            if watch.over():
                break
            for column in _cheaper(fleet, batch, room, chosen):
                moving |= _moved(room, chosen, column)
    return list(chosen.values())


def _cheaper(
    fleet: Fleet, batch: Batch, room: Floats, chosen: dict[int, Column]
) -> Iterator[Column]:
    """For those of a batch that have a cheaper plan in the room that the others leave, that plan; most gained first."""
    cars = batch.cars.tolist()
    rooms = _without_own(fleet, room, [chosen[car] for car in cars])
    found = price(batch, np.zeros(rooms.shape[:2]), rooms, fleet.problem.unplaced_cost)
    gained = np.array([chosen[car].cost for car in cars]) - found.values
    gaining = np.flatnonzero(gained > TOLERANCE)
    order = gaining[np.argsort(-gained[gaining], kind="stable")]
    yield from columns_of(fleet, batch, found.slots[:, order], order)


def _without_own(fleet: Fleet, room: Floats, columns: Sequence[Column]) -> Floats:
    """The room that each of some cars finds when its own days are given back, [shops, months, cars]."""
    rooms = np.repeat(room[:, None], len(columns), axis=1)
    for at, column in enumerate(columns):
        for slot, days in column.days:
            rooms[slot, at] += days
    return rooms.reshape(len(fleet.problem.shops), fleet.problem.months, len(columns))


def _moved(room: Floats, chosen: dict[int, Column], column: Column) -> bool:
    """Whether the car has this plan now: those that moved before it may have taken its room."""
    before = chosen[column.car]
    for slot, days in before.days:
        room[slot] += days
    moves = fits(room, column)
    chosen[column.car] = column if moves else before
    take(room, chosen[column.car])
    return moves

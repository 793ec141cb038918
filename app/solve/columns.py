"""Columns: whole plans of single cars, each with its cost and the days it takes in each slot."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from app.core.plan.problem import Problem
from app.solve.fleet import NOWHERE, Batch, Fleet, Floats, Ints


class Column(NamedTuple):
    """`car` is the car's number in the problem, `slots` those of its jobs; `days` by slot, at most one a visit."""

    car: int
    slots: tuple[int, ...]
    cost: float
    days: tuple[tuple[int, float], ...]


def columns_of(fleet: Fleet, batch: Batch, slots: Ints, cars: Ints | None = None) -> list[Column]:
    """The columns that `slots`, [jobs, plans], make of the cars at the places `cars` in a batch, else of each once."""
    cars = np.arange(batch.size) if cars is None else cars
    costs = costs_of(fleet.problem, batch, slots, cars).tolist()
    days = batch.days[:, cars].T.tolist()
    return [
        Column(car, tuple(each), cost, _days(each, taken))
        for car, each, cost, taken in zip(
            batch.cars[cars].tolist(), slots.T.tolist(), costs, days, strict=True
        )
    ]


def _days(slots: Sequence[int], days: Sequence[float]) -> tuple[tuple[int, float], ...]:
    used: dict[int, float] = {}
    for slot, each in zip(slots, days, strict=True):
        if slot != NOWHERE:
            used[slot] = used.get(slot, 0.0) + each
    return tuple(used.items())


def costs_of(problem: Problem, batch: Batch, slots: Ints, cars: Ints) -> Floats:
    """What each plan costs without prices; its visits are counted once a month."""
    total = np.zeros(len(cars))
    counted = np.zeros((problem.months, len(cars)), dtype=bool)
    for job in range(len(slots)):
        total[slots[job] == NOWHERE] += problem.unplaced_cost
        gone = np.flatnonzero(slots[job] != NOWHERE)
        shop, month = np.divmod(slots[job, gone], problem.months)
        total[gone] += batch.in_month[job, month, cars[gone]]
        new = ~counted[month, gone]
        total[gone[new]] += _opening(batch, shop[new], month[new], cars[gone[new]])
        counted[month, gone] = True
    return total


def _opening(batch: Batch, shops: Ints, months: Ints, cars: Ints) -> Floats:
    costs = np.zeros(len(cars))
    for month in np.unique(months).tolist():
        at = months == month
        costs[at] = batch.opening_in(month)[shops[at], cars[at]]
    return costs

"""The relaxed problem over the columns found so far: shares of columns, one whole per car, days within each slot."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import highspy
import numpy as np
import numpy.typing as npt

from app.solve.columns import Column
from app.solve.fleet import Floats

_Index = npt.NDArray[np.int32]


class _Solver(highspy.Highs):
    """A solver that prints nothing and does the same each time."""

    def __init__(self) -> None:
        super().__init__()  # type: ignore[no-untyped-call]
        self.setOptionValue("threads", 1)
        self.setOptionValue("random_seed", 1)

    def enableCallbacks(self) -> None:  # noqa: N802 (the library's name)
        """Called while it is made, which is when it would print its header."""
        self.setOptionValue("output_flag", False)
        super().enableCallbacks()  # type: ignore[no-untyped-call]


@dataclass(frozen=True, slots=True)
class Shares:
    """The least cost, the price of a day by slot, and how much of each column it takes."""

    cost: float
    prices: Floats
    of_column: Floats


class Master:
    """A linear program that grows by columns. Rows: the slots, then the cars in the order given."""

    def __init__(self, room: Floats, cars: Sequence[int]) -> None:
        self.solver = _Solver()
        self.slots = len(room)
        self.columns: list[Column] = []
        self._row = {car: self.slots + at for at, car in enumerate(cars)}
        rows = self.slots + len(cars)
        lower = np.concatenate([np.full(self.slots, -highspy.kHighsInf), np.ones(len(cars))])
        upper = np.concatenate([room, np.ones(len(cars))])
        self.solver.addRows(rows, lower, upper, 0, _index([0] * rows), _index([]), np.array([]))

    def add(self, columns: Sequence[Column]) -> None:
        index: list[int] = []
        value: list[float] = []
        starts = []
        for column in columns:
            starts.append(len(index))
            index += [slot for slot, _ in column.days]
            value += [days for _, days in column.days]
            index.append(self._row[column.car])
            value.append(1.0)
        many = len(columns)
        costs = np.array([column.cost for column in columns])
        upper = np.full(many, highspy.kHighsInf)
        self.solver.addCols(many, costs, np.zeros(many), upper, len(index), _index(starts),
                            _index(index), np.array(value))  # fmt: skip
        self.columns += columns

    def hold(self, columns: Sequence[int], share: float) -> None:
        """Take the columns with these numbers wholly, or not at all."""
        shares = np.full(len(columns), share)
        self.solver.changeColsBounds(len(columns), _index(columns), shares, shares)

    def solve(self) -> Shares:
        self.solver.run()
        found = self.solver.getSolution()
        prices = np.maximum(-np.array(found.row_dual[: self.slots]), 0.0)
        return Shares(
            self.solver.getInfo().objective_function_value, prices, np.array(found.col_value)
        )

    def choose(
        self, start: Sequence[float], gap: float, seconds: float, nodes: int
    ) -> list[Column]:
        """The best whole columns found, one a car, at least as good as `start`; `gap` is what may be left to win."""
        many = len(self.columns)
        whole = np.array([highspy.HighsVarType.kInteger] * many)
        self.solver.changeColsIntegrality(many, _index(range(many)), whole)
        self.solver.changeColsBounds(many, _index(range(many)), np.zeros(many), np.ones(many))
        first = highspy.HighsSolution()
        first.col_value = list(start)
        self.solver.setSolution(first)
        options = {
            "mip_rel_gap": 0.0,
            "mip_abs_gap": gap,
            "time_limit": seconds,
            "mip_max_nodes": nodes,
        }
        for option, value in options.items():
            self.solver.setOptionValue(option, value)
        self.solver.run()
        values = np.array(self.solver.getSolution().col_value)
        return [self.columns[at] for at in np.flatnonzero(values > 0.5).tolist()]

    @property
    def proven(self) -> float:
        """After `choose`: no whole choice of these columns costs less."""
        return float(self.solver.getInfo().mip_dual_bound)


def _index(numbers: Iterable[int]) -> _Index:
    return np.fromiter(numbers, dtype=np.int32)

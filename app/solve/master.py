"""The relaxed problem over the columns found so far: shares of columns, one whole per car, days within each slot."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from time import monotonic

import highspy
import numpy as np
import numpy.typing as npt
from highspy.highs import HighsCallbackEvent

from app.solve.columns import Column
from app.solve.fleet import Floats
from app.solve.watch import SECONDS_BETWEEN

_Index = npt.NDArray[np.int32]


# What the solver tries beside its search. For a few cars that have a plan already it takes half of the time, and finds
# one in a hundred of what is won.
SLOW = (
    "mip_allow_restart",
    "mip_heuristic_run_feasibility_jump",
    "mip_heuristic_run_rens",
    "mip_heuristic_run_rins",
    "mip_heuristic_run_root_reduced_cost",
)


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


@dataclass(frozen=True, slots=True)
class Packed:
    """Columns as the solver reads them: what each costs, where its rows start, the rows, how much of each it takes."""

    costs: Floats
    starts: _Index
    rows: _Index
    values: Floats


class _Heard:
    """What the solver says while it chooses whole columns, which is told now and then, and better columns at once."""

    def __init__(self, tell: Callable[[list[int], float], None], stop: Callable[[], bool]) -> None:
        self.tell, self.stop = tell, stop
        self.taken: list[int] = []
        self.bound, self.told = -np.inf, monotonic()

    def better(self, event: HighsCallbackEvent) -> None:
        self.taken = _taken(event.data_out.mip_solution)
        self.tell(self.taken, self.bound)

    def asked(self, event: HighsCallbackEvent) -> None:
        self.bound = max(self.bound, event.data_out.mip_dual_bound)
        if monotonic() - self.told > SECONDS_BETWEEN:
            self.told = monotonic()
            self.tell(self.taken, self.bound)
        if self.stop():
            event.interrupt()


class Program:
    """A linear program that grows by columns. Rows: the slots, then the cars, of each of which one column is taken."""

    def __init__(self, room: Floats, cars: int) -> None:
        self.solver = _Solver()
        self.slots = len(room)
        rows = self.slots + cars
        lower = np.concatenate([np.full(self.slots, -highspy.kHighsInf), np.ones(cars)])
        upper = np.concatenate([room, np.ones(cars)])
        self.solver.addRows(rows, lower, upper, 0, _index([0] * rows), _index([]), np.array([]))

    def put(self, columns: Packed) -> None:
        many = len(columns.costs)
        upper = np.full(many, highspy.kHighsInf)
        self.solver.addCols(many, columns.costs, np.zeros(many), upper, len(columns.rows), columns.starts,
                            columns.rows, columns.values)  # fmt: skip

    def solve(self) -> Shares:
        self.solver.run()
        found = self.solver.getSolution()
        prices = np.maximum(-np.array(found.row_dual[: self.slots]), 0.0)
        return Shares(
            self.solver.getInfo().objective_function_value, prices, np.array(found.col_value)
        )

    def choose(self, start: Floats, gap: float, seconds: float, nodes: int) -> list[int]:
        """The best whole columns found, one a car, at least as good as `start`; `gap` is what may be left to win."""
        many = len(start)
        whole = np.array([highspy.HighsVarType.kInteger] * many)
        self.solver.changeColsIntegrality(many, _index(range(many)), whole)
        self.solver.changeColsBounds(many, _index(range(many)), np.zeros(many), np.ones(many))
        first = highspy.HighsSolution()
        first.col_value = start.tolist()
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
        return _taken(np.array(self.solver.getSolution().col_value))

    def tell(self, tell: Callable[[list[int], float], None], stop: Callable[[], bool]) -> None:
        """While it chooses, have it tell of the best whole columns and what is `proven`, and end when `stop` says so.

        It asks wherever it can be interrupted: often, but for some seconds now and then.
        """
        heard = _Heard(tell, stop)
        self.solver.cbMipImprovingSolution += heard.better
        self.solver.cbMipInterrupt += heard.asked

    @property
    def proven(self) -> float:
        """After `choose`: no whole choice of these columns costs less."""
        return float(self.solver.getInfo().mip_dual_bound)


class Master(Program):
    """The program of the columns found so far."""

    def __init__(self, room: Floats, cars: Sequence[int]) -> None:
        super().__init__(room, len(cars))
        self.columns: list[Column] = []
        self._row = rows_of(room, cars)

    def add(self, columns: Sequence[Column]) -> None:
        self.put(in_rows(columns, self._row))
        self.columns += columns

    def rest(self, room: Floats, cars: Sequence[int], kept: Sequence[int]) -> Master:
        """The program of `cars` alone in the room left to them, with the columns numbered `kept`; begun as it ended."""
        rest = Master(room, cars)
        rest.add([self.columns[at] for at in kept])
        before, begun = self.solver.getBasis(), highspy.HighsBasis()
        of_column, of_row = before.col_status, before.row_status
        begun.col_status = [of_column[at] for at in kept]
        begun.row_status = [*of_row[: self.slots], *(of_row[self._row[car]] for car in cars)]
        rest.solver.setBasis(begun)
        return rest


def rows_of(room: Floats, cars: Iterable[int]) -> dict[int, int]:
    return {car: len(room) + at for at, car in enumerate(cars)}


def in_rows(columns: Sequence[Column], row: Mapping[int, int]) -> Packed:
    """`row` is by car."""
    rows: list[int] = []
    values: list[float] = []
    starts = []
    for column in columns:
        starts.append(len(rows))
        rows += [slot for slot, _ in column.days]
        values += [days for _, days in column.days]
        rows.append(row[column.car])
        values.append(1.0)
    costs = np.array([column.cost for column in columns])
    return Packed(costs, _index(starts), _index(rows), np.array(values))


@dataclass(frozen=True, slots=True)
class Choice:
    """A choice of a whole column for each of a few cars, as plain arrays, so that another process can make it.

    `left` is what may be left to win, `start` the columns taken so far.
    """

    room: Floats
    cars: int
    columns: Packed
    start: Floats
    left: float
    seconds: float
    nodes: int


def chosen(choice: Choice) -> list[int]:
    """The numbers of the best columns found."""
    program = Program(choice.room, choice.cars)
    program.put(choice.columns)
    for option in SLOW:
        program.solver.setOptionValue(option, False)
    return program.choose(choice.start, choice.left, choice.seconds, choice.nodes)


def _taken(values: Floats) -> list[int]:
    return np.flatnonzero(values > 0.5).tolist()


def _index(numbers: Iterable[int]) -> _Index:
    return np.fromiter(numbers, dtype=np.int32)

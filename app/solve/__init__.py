"""The search for the cheapest shop plan: the model is ours, a solver of linear and whole-number programs sums."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from app.core.plan.problem import Problem, Solved, Visit
from app.solve.watch import Tell, never, nobody

__all__ = ["solve"]


def solve(
    problem: Problem,
    seconds: float,
    tell: Tell = nobody,
    stop: Callable[[], bool] = never,
    known: Sequence[Visit] = (),
) -> Solved:
    """As `search.solve`, which is loaded with its solver by those alone who plan: a server rarely does."""
    from app.solve import search

    return search.solve(problem, seconds, tell, stop, known)

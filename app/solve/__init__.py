"""The search for the cheapest shop plan: the model is ours, a solver of linear and whole-number programs sums."""

from app.solve.search import solve

__all__ = ["solve"]

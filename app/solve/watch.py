"""How long a search may go on, and what it tells meanwhile."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from time import monotonic

# Bound and best cost so far.
Tell = Callable[[float, float], None]


def nobody(bound: float, best: float) -> None:
    """Nobody is told."""


def never() -> bool:
    return False


@dataclass(slots=True)
class Watch:
    """`stop` is asked now and then whether to stop, keeping the best; `tell` is told of each step forward."""

    seconds: float
    tell: Tell = nobody
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

"""A row of the table of what is measured: ours beside a reference, and what is asked of it."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

Size = Literal["small", "full"]


@dataclass(frozen=True, slots=True)
class Row:
    """What ours costs and what the reference does, both in `unit`, the less the better.

    `against` says in words what the reference is. Asked for is at most `most` of ours, in its unit, and at
    most `times` the reference; what is None is not asked for.
    """

    name: str
    ours: float
    reference: float
    unit: str
    against: str
    most: float | None = None
    times: float | None = None

    def __post_init__(self) -> None:
        if self.most is None and self.times is None:
            raise ValueError(f"Nothing is asked of {self.name}.")

    @property
    def ratio(self) -> float:
        return self.ours / self.reference

    @property
    def met(self) -> bool:
        return (self.most is None or self.ours <= self.most) and (
            self.times is None or self.ratio <= self.times
        )

    @property
    def target(self) -> str:
        """What is asked for, in words."""
        asked = []
        if self.most is not None:
            asked.append(f"at most {figure(self.most)} {self.unit}")
        if self.times is not None:
            asked.append(f"at most {figure(self.times)} times")
        return ", ".join(asked)


@dataclass(frozen=True, slots=True)
class Part:
    """What is measured in one go: `rows` gives its rows at a size, working in a folder.

    The folder may hold stores that an earlier part made. `sizes`: those at which there is anything to measure.
    """

    about: str
    rows: Callable[[Size, Path], Iterable[Row]]
    sizes: tuple[Size, ...] = ("small", "full")


def figure(value: float) -> str:
    """Three digits that count; near one, where a ratio of a plan lies, five."""
    if value >= 1_000:
        return f"{value:,.0f}"
    return f"{value:.{5 if 0.95 < value < 1.05 else 3}g}"

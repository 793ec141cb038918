"""Is the tank lined on the day asked for, and since when?"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from app.core.facts import Reason
from app.core.known import Case


@dataclass(frozen=True, slots=True)
class Lined:
    """`applied_on` is None when the tank is lined since a day that nobody knows."""

    yes: bool
    applied_on: date | None
    reason: Reason


def lined(case: Case) -> Lined:
    """The latest of applications and removals decides; else a stated lining or suffix 5 does."""
    steps = _steps(case)
    if steps:
        on, applied = _latest(steps)
        what = "applied" if applied else "removed"
        return Lined(applied, on if applied else None, Reason(f"Lining {what} on {on}"))
    if case.spec.lined_by_suffix:
        return Lined(
            True,
            None,
            Reason("Suffix 5 of the specification means a lined tank", "49 CFR 179.201-1"),
        )
    if case.car.lining is not None:
        return Lined(True, None, Reason("A lining is stated, without the day it was applied"))
    return Lined(False, None, Reason("No lining is known"))


def _steps(case: Case) -> list[tuple[date, bool]]:
    """Applications (true) and removals (false) in order; on one day the lining's own date comes before the events."""
    stated = case.car.lining.applied_on if case.car.lining else None
    steps = [(stated, True)] if stated else []
    for event in case.events:
        for name in event.items:
            if name in ("lining_applied", "lining_removed"):
                steps.append((event.on, name == "lining_applied"))
    return steps


def _latest(steps: list[tuple[date, bool]]) -> tuple[date, bool]:
    last_day = max(on for on, _ in steps)
    return [step for step in steps if step[0] == last_day][-1]

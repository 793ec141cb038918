"""Is the tank lined on the day asked for, and since when?"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from app.core.facts import Event, Lining, Reason
from app.core.known import Case


@dataclass(frozen=True, slots=True)
class Lined:
    """`applied_on` is None when the tank is lined since a day that nobody knows."""

    yes: bool
    applied_on: date | None
    reason: Reason


def lined(case: Case) -> Lined:
    """The latest of applications and removals decides; else a stated lining or suffix 5 does."""
    steps = lining_steps(case.car.lining, case.events)
    if steps:
        on, applied = latest_step(steps)
        what = "applied" if applied else "removed"
        return Lined(
            applied, on if applied else None, Reason(f"Lining {what} on {on}", part="counted")
        )
    if case.spec.lined_by_suffix:
        return Lined(
            True,
            None,
            Reason(
                "Suffix 5 of the specification means a lined tank", "49 CFR 179.201-1", "counted"
            ),
        )
    if case.car.lining is not None:
        return Lined(
            True, None, Reason("A lining is stated, without the day it was applied", part="counted")
        )
    return Lined(False, None, Reason("No lining is known", part="counted"))


def lining_steps(stated: Lining | None, events: Iterable[Event]) -> list[tuple[date, bool]]:
    """Applications (true) and removals (false) in order; on one day the lining's own date comes before the events."""
    applied_on = stated.applied_on if stated else None
    steps = [(applied_on, True)] if applied_on else []
    for event in events:
        for name in event.items:
            if name in ("lining_applied", "lining_removed"):
                steps.append((event.on, name == "lining_applied"))
    return steps


def latest_step(steps: list[tuple[date, bool]]) -> tuple[date, bool]:
    last_day = max(on for on, _ in steps)
    return [step for step in steps if step[0] == last_day][-1]

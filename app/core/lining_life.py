"""How long linings last: from an application to the next or a removal, and whether one failed before its interval."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from app.core.months import add_months
from app.core.rule import Rulebook


@dataclass(frozen=True, slots=True)
class Applied:
    """A lining put on: what is known of it. `on` is None where nobody knows the day; `by` is who applied it."""

    on: date | None
    kind: str = ""
    by: str = ""
    owner_interval_months: int | None = None
    documented: bool = False


@dataclass(frozen=True, slots=True)
class Life:
    """One lining: `until` it was replaced or stripped, `due_on` ends its interval, `failed_on` is its first failure."""

    applied: Applied
    until: date | None
    due_on: date | None
    failed_on: date | None

    @property
    def failed_early(self) -> bool:
        """Whether it failed before its interval was over (180.509(i)); not told without the day it was applied."""
        return bool(self.failed_on and self.due_on and self.failed_on < self.due_on)


def lives(
    applied: Sequence[Applied], removed: Sequence[date], failed: Sequence[date], rulebook: Rulebook
) -> tuple[Life, ...]:
    """The linings of one car, oldest first, one without a day before all; what fails on its last day failed of it."""
    ordered = sorted(applied, key=lambda each: each.on or date.min)
    ends = sorted({*removed, *(each.on for each in ordered if each.on)})
    return tuple(_life(each, ends, sorted(failed), rulebook) for each in ordered)


def _life(
    applied: Applied, ends: Sequence[date], failed: Sequence[date], rulebook: Rulebook
) -> Life:
    since = applied.on or date.min
    until = next((end for end in ends if end > since), None)
    first = next(
        (on for on in failed if on > since and (until is None or on <= until)), None
    )  # fmt: skip
    due_on = add_months(applied.on, _interval(applied, rulebook)) if applied.on else None
    return Life(applied, until, due_on, first)


def _interval(applied: Applied, rulebook: Rulebook) -> int:
    """The lining owner's months; more than the rule's only where that is documented (180.509(i))."""
    most = rulebook.rule("lining").months
    asked = applied.owner_interval_months or most
    return asked if applied.documented else min(asked, most)

"""From which day the report of an inspection need be kept no longer (49 CFR 180.517, 2019 edition).

A report is kept until the next inspection of the same type is successfully completed. Readings that still
count for a zone's thickness are kept for as long as they do, whatever else was inspected since.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from app.core.months import add_months

CITATION = "49 CFR 180.517"


@dataclass(frozen=True, slots=True)
class Report:
    """An event that counts; `last` is the last day on which it can have happened, where a month is known.

    `zones` are those that it measured.
    """

    key: int
    on: date
    last: date
    items: frozenset[str]
    passed: bool
    zones: frozenset[str] = frozenset()


def let_go(reports: Sequence[Report]) -> dict[int, date]:
    """Of one car's reports those that need not be kept for ever, each with the first day without the duty."""
    found = {}
    for report in reports:
        later = [each for each in reports if each.on > report.last]
        days = [_passed(later, item) for item in report.items]
        days += [_measured(later, zone) for zone in report.zones]
        known = [day for day in days if day is not None]
        if known and len(known) == len(days):
            found[report.key] = max(known)
    return found


def papers_until(left_on: date) -> date:
    """Until when a former owner keeps the papers of construction: a year after the car left."""
    return add_months(left_on, 12)


def _passed(later: Sequence[Report], item: str) -> date | None:
    """The day on which an inspection of the same type was first passed afterwards."""
    return min((each.last for each in later if each.passed and item in each.items), default=None)


def _measured(later: Sequence[Report], zone: str) -> date | None:
    """The day on which a thickness test first measured the zone afterwards."""
    return min(
        (each.last for each in later if "thickness" in each.items and zone in each.zones),
        default=None,
    )

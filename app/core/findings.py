"""What the items of a car need to know, worked out once, and the item that has nothing but its rule's interval."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache

from app.core.basis import calendar_basis
from app.core.calendar_item import Dated, Interval, dated
from app.core.facts import ZoneThickness
from app.core.known import Case
from app.core.lading import Corrosive
from app.core.lining import Lined
from app.core.owed import Owing, Owings
from app.core.rule import Rule
from app.core.thickness import Lines


@dataclass(frozen=True, slots=True, eq=False)
class Findings:
    """What several items need to know of a case, worked out once."""

    case: Case
    owings: Owings
    lined: Lined
    corrosive: Corrosive
    lines: Mapping[str, Lines]
    zones: tuple[ZoneThickness, ...]

    def owed(self, item: str) -> Sequence[Owing]:
        return self.owings.get(item, ())


ItemFunction = Callable[[Findings], Dated | None]


@lru_cache
def by_rule(rule: Rule, *, year_end: bool = False) -> Interval:
    """The rule's own interval and nothing else."""
    return Interval(rule.months, rule.months, (rule.reason,), rule.id, rule.confidence, year_end)


def every(item: str) -> ItemFunction:
    """The item that counts by its rule's interval alone."""

    def due(found: Findings) -> Dated:
        interval = by_rule(found.case.rulebook.rule(item))
        return dated(found.case, item, calendar_basis(found.case, item), interval, found.owed(item))

    return due

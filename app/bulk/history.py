"""What the events of a fleet come to, by car: when each item passed last, what stands open since when, linings."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from app.bulk.days import NONE, Days, Flags, Numbers
from app.bulk.kinds import PLACE, Kinds
from app.core.owed import REPLACED_BY

NEVER = -1


class Open(NamedTuple):
    """Since when an item stands open (NONE: it does not), and the citation of what opened it first."""

    since: Days
    citation: NDArray[np.object_]

    def joined(self, other: Open) -> Open:
        """Both; what is told first is this one's."""
        since = np.where(self.since == NONE, other.since, self.since)
        both = (self.since != NONE) & (other.since != NONE)
        since[both] = np.minimum(self.since, other.since)[both]
        return Open(since, np.where(self.since == NONE, other.citation, self.citation))


@dataclass(eq=False)
class History:
    """Events in the order in which they count: the place of the car, the day and the kind of each."""

    cars: int
    car: Numbers
    on: Days
    kind: Numbers
    kinds: Kinds

    def last(self, events: Numbers, of: Numbers | None = None, many: int | None = None) -> Numbers:
        """By car the last of these events, NEVER where there is none; `of` and `many` for another axis than cars."""
        found = np.full(self.cars if many is None else many, NEVER)
        # Of several values for one place the last one stays.
        found[self.car[events] if of is None else of] = events
        return found

    def day_of(self, events: Numbers) -> Days:
        """The days of events, NONE for NEVER."""
        if not self.on.size:
            return np.full(events.shape, NONE)
        return np.where(events == NEVER, NONE, self.on[events])

    def with_name(self, name: str) -> Numbers:
        return np.flatnonzero(self.kinds.marked[name][self.kind])

    def last_pass(self, item: str) -> Numbers:
        place = PLACE[item]
        if place not in self._passes:
            passed = self.kinds.passed[:, place]
            self._passes[place] = self.last(np.flatnonzero(passed[self.kind]))
        return self._passes[place]

    def passed_on(self, item: str) -> Days:
        return self.day_of(self.last_pass(item))

    @cached_property
    def _passes(self) -> dict[int, Numbers]:
        return {}

    @cached_property
    def _opening(self) -> Numbers:
        """Events that open anything: few of many."""
        opens = np.logical_or.reduce(self.kinds.failed | self.kinds.changed, axis=1)
        return np.flatnonzero(opens[self.kind])

    def opening(self, item: str) -> tuple[Numbers, Flags, Flags]:
        """Events that opened the item with no pass in them or since, and whether by a failure, by a change."""
        place, at = PLACE[item], self._opening
        failed = self.kinds.failed[self.kind[at], place]
        changed = self.kinds.changed[self.kind[at], place]
        standing = (failed | changed) & (at > self.last_pass(item)[self.car[at]])
        return at[standing], failed[standing], changed[standing]

    def open(self, item: str) -> Open:
        """By car; a failure is closed also by a later change that puts another in place."""
        at, failed, changed = self.opening(item)
        if item in REPLACED_BY:
            replaced = self.last(self.with_name(REPLACED_BY[item]))
            failed = failed & (at >= replaced[self.car[at]])
        return self.first_open(item, at, failed, changed, self.car[at], self.cars)

    def first_open(
        self, item: str, at: Numbers, failed: Flags, changed: Flags, of: Numbers, many: int
    ) -> Open:
        """The first of these opening events on each place of an axis."""
        left = failed | changed
        at, failed, of = at[left][::-1], failed[left][::-1], of[left][::-1]
        since, citation = np.full(many, NONE), np.full(many, "", dtype=object)
        since[of] = self.on[at]
        kind, place = self.kind[at], PLACE[item]
        citation[of] = np.where(
            failed, self.kinds.citation[kind, place], self.kinds.change_citation[kind, place]
        )
        return Open(since, citation)

    def lining_step(self) -> tuple[Days, Flags]:
        """By car the day of its last application or removal, and whether it was an application."""
        step = self.kinds.lining
        last = self.last(np.flatnonzero((step != -1)[self.kind]))
        if not self.on.size:
            return np.full(self.cars, NONE), np.zeros(self.cars, dtype=bool)
        return self.day_of(last), (last != NEVER) & (step[self.kind[last]] == 1)

    def uncompared(self, citation: str) -> Open:
        """Air brake tests since the sheeting passed last, with the citation of the rule that asks to compare."""
        at = self.with_name("air_brake")
        at = at[at > self.last_pass("reflective_sheeting")[self.car[at]]][::-1]
        since, told = np.full(self.cars, NONE), np.full(self.cars, "", dtype=object)
        since[self.car[at]], told[self.car[at]] = self.on[at], citation
        return Open(since, told)

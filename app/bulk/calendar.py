"""From basis and interval to a due date, in columns: approvals, the sum, the precision, what is owed, the stencil.

The same steps as `core.calendar_item`, without the reasons.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from app.bulk.days import NONE, Days, Flags, Numbers, add_months, earliest, known, to_precision
from app.bulk.history import Open
from app.core.months import Precision
from app.core.rule import Rule

STATES = ("owed", "dated", "by_event", "unknown", "not_required")
OWED, DATED, BY_EVENT, UNKNOWN, NOT_REQUIRED = range(len(STATES))


@dataclass(slots=True)
class Column:
    """One item of some cars. `on` are the cars' places; rule and citation are texts shared by many."""

    on: Numbers
    state: Numbers
    due_on: Days
    basis_on: Days
    months: Numbers
    calculated: Days
    from_memory: Flags
    rule: NDArray[np.object_]
    citation: NDArray[np.object_]

    def taken(self, at: NDArray[np.int64]) -> Column:
        """The rows at these places."""
        return Column(*(getattr(self, name)[at] for name in self.__slots__))


@dataclass(slots=True)
class Interval:
    """Months, the rule's most, the rule's id, its citation, and whether it is from memory; all by car."""

    months: Numbers
    maximum: Numbers
    rule: NDArray[np.object_]
    citation: NDArray[np.object_]
    from_memory: Flags
    year_end: bool = False


@dataclass(slots=True)
class Movable:
    """What may move an item's date besides: approved months, what is painted and by when, the day precision."""

    approved: Numbers
    approval_rule: str
    painted: Days
    overtaken: Flags


def filled(many: int, value: object) -> NDArray[np.object_]:
    return np.full(many, value, dtype=object)


def by_rule(many: int, rule: Rule, *, year_end: bool = False) -> Interval:
    months = np.full(many, rule.months)
    memory = np.full(many, rule.confidence == "memory")
    return Interval(
        months, months, filled(many, rule.id), filled(many, rule.citation), memory, year_end
    )


def dated(
    on: Numbers,
    basis: Days,
    interval: Interval,
    owing: Open,
    movable: Movable | None = None,
    precision: Precision = "day",
) -> Column:
    """The item of the cars `on` by calendar; all columns are theirs. `precision` counts where it is movable."""
    if movable:
        interval = _approved(interval, movable)
    total = add_months(basis, interval.months)
    moved: Precision = "year_end" if interval.year_end else precision if movable else "day"
    calculated = to_precision(total, moved)
    due_on = calculated
    if movable:
        painted = _painted(movable, basis, interval)
        due_on = np.where(known(painted), painted, calculated)
    state = np.where(known(due_on), DATED, UNKNOWN)
    citation, owed = interval.citation, known(owing.since)
    if owed.any():
        state[owed] = OWED
        due_on = np.where(owed, earliest(owing.since, calculated), due_on)
        citation = np.where(owed, owing.citation, citation)
    return Column(
        on, state, due_on, basis, interval.months, calculated, interval.from_memory,
        interval.rule, citation,
    )  # fmt: skip


def by_event(on: Numbers, rule: Rule, unknown: Flags, owing: Open) -> Column:
    """An item without a calendar: owed, or not known, or by event."""
    owed = known(owing.since)
    many = len(on)
    return Column(
        on,
        np.where(owed, OWED, np.where(unknown, UNKNOWN, BY_EVENT)),
        owing.since,
        np.full(many, NONE),
        np.zeros(many, dtype=np.int64),
        np.full(many, NONE),
        np.full(many, rule.confidence == "memory"),
        filled(many, rule.id),
        np.where(owed, owing.citation, rule.citation),
    )


def _approved(interval: Interval, movable: Movable) -> Interval:
    """A stenciled approval replaces interval and maximum (rule 9); the citation told first stays the item's rule's."""
    approved = movable.approved > 0
    if not approved.any():
        return interval
    return Interval(
        np.where(approved, movable.approved, interval.months),
        np.where(approved, movable.approved, interval.maximum),
        np.where(approved, movable.approval_rule, interval.rule),
        interval.citation,
        interval.from_memory,
    )


def _painted(movable: Movable, basis: Days, interval: Interval) -> Days:
    """The date by which the stencil controls, NONE where it does not (rule 8)."""
    painted = np.where(movable.overtaken, NONE, movable.painted)
    if not known(painted).any():
        return painted
    most = add_months(basis, interval.maximum)
    return np.where(known(most) & (painted > most), most, painted)

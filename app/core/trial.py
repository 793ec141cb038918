"""What would be if: the facts of a car with a change that nobody recorded, and what that does to its due items.

Nothing here is stored; a trial is asked the same question as the record is.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import date
from typing import Any, Literal

from app.core.devices import urgency
from app.core.facts import (
    ITEMS,
    Answer,
    Approval,
    Car,
    Due,
    Event,
    Facts,
    Lining,
    ReliefDevice,
    Service,
    Settings,
    StencilMarks,
)
from app.core.known import case_of
from app.core.lining import lined
from app.core.months import Precision
from app.core.rule import Rulebook
from app.core.words import counted, label

Direction = Literal["earlier", "later", "unchanged"]


@dataclass(frozen=True, slots=True)
class LiningWork:
    """A lining applied or removed on a day; `inspected` when what that asks for passed on the same day."""

    what: Literal["applied", "removed"]
    on: date
    inspected: bool = False


@dataclass(frozen=True, slots=True)
class Change:
    """What is tried on a car; what is None stays as it is. A new stencil replaces the whole of the old one.

    `stated` are single facts of the lading stated otherwise, by field of Service.
    """

    service: Service | None = None
    stated: tuple[tuple[str, Any], ...] = ()
    lining: LiningWork | None = None
    stencil: StencilMarks | None = None
    approval: Approval | None = None
    service_equipment_months: int | None = None
    relief_device_months: int | None = None
    lining_months: int | None = None
    due_precision: Precision | None = None
    stencil_year: Literal["start", "end"] | None = None

    @property
    def nothing(self) -> bool:
        return self == NOTHING


NOTHING = Change()


def changed(facts: Facts, change: Change, rulebook: Rulebook) -> Facts:
    """The same question with the change in it; `facts` is left as it was."""
    if change.nothing:
        return facts
    events = facts.events + _work(change.lining, rulebook)
    worked = replace(facts, events=events, settings=_settings(facts.settings, change))
    return replace(worked, car=_car(worked, change, rulebook))


def _work(lining: LiningWork | None, rulebook: Rulebook) -> tuple[Event, ...]:
    """Work on the lining as an event; what it asks for is measured and inspected in it, or left owed."""
    if lining is None:
        return ()
    asked = ("thickness",) if lining.what == "applied" else rulebook.opens["lining_removed"]
    return (Event(lining.on, (f"lining_{lining.what}", *(asked if lining.inspected else ()))),)


def _settings(settings: Settings, change: Change) -> Settings:
    return replace(
        settings,
        due_precision=change.due_precision or settings.due_precision,
        stencil_year=change.stencil_year or settings.stencil_year,
    )


def _car(facts: Facts, change: Change, rulebook: Rulebook) -> Car:
    car = facts.car
    return replace(
        car,
        service=replace(change.service or car.service, **dict(change.stated)),
        lining=_lining(facts, change.lining_months, rulebook),
        stencil=car.stencil if change.stencil is None else change.stencil,
        approvals=_approvals(car.approvals, change.approval),
        service_equipment_interval_months=(
            change.service_equipment_months or car.service_equipment_interval_months
        ),
        relief_device=_device(car.relief_device, change.relief_device_months),
    )


def _lining(facts: Facts, months: int | None, rulebook: Rulebook) -> Lining | None:
    """An interval is a lining's own: where there is none, it must not make one."""
    held = facts.car.lining
    if months is None or not lined(case_of(facts, rulebook)).yes:
        return held
    return replace(held or Lining(), owner_interval_months=months)


def _device(device: ReliefDevice | None, months: int | None) -> ReliefDevice | None:
    return (
        device
        if months is None
        else replace(device or ReliefDevice(), owner_interval_months=months)
    )


def _approvals(held: tuple[Approval, ...], tried: Approval | None) -> tuple[Approval, ...]:
    """The tried one beside those there are; in place of one of the same item and reference."""
    if tried is None:
        return held
    same = (tried.item, tried.reference)
    return (*(each for each in held if (each.item, each.reference) != same), tried)


# What it does -----------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Move:
    """A due item before and after; None where the car has no such item."""

    item: str
    before: Due | None
    after: Due | None

    @property
    def direction(self) -> Direction:
        """By what comes first: owed, then unknown, then by date, then what has no date."""
        was, would_be = urgency(self.before), urgency(self.after)
        if was == would_be:
            return "unchanged"
        return "earlier" if would_be < was else "later"

    @property
    def days(self) -> int | None:
        """Days from the date before to the date after; None when one of them has none."""
        dates = [due.due_on for due in (self.before, self.after) if due and due.due_on]
        return (dates[1] - dates[0]).days if len(dates) == 2 else None

    @property
    def changes(self) -> bool:
        """Whether anything differs, its reasons among it."""
        return self.before != self.after

    def in_words(self) -> str:
        """What changes, as a phrase: "1826 days earlier; 60 instead of 120 months"."""
        return "; ".join(_told(self)) or (self._same if self.changes else "nothing changes")

    @property
    def _same(self) -> str:
        """What stays although something differs: the date, or that there is none."""
        if self.after is None or self.after.due_on:
            return "the same date"
        return f"still {label(self.after.state)}, for other reasons"


def moves(before: Answer, after: Answer) -> tuple[Move, ...]:
    """Every item of either, in the order of every list."""
    both = [(item, before.item(item), after.item(item)) for item in ITEMS]
    return tuple(Move(item, was, is_) for item, was, is_ in both if was or is_)


def _told(move: Move) -> Iterable[str]:
    was, would_be = move.before, move.after
    if was is None or would_be is None:
        yield "asked for only then" if was is None else "asked for no longer"
        return
    if was.state != would_be.state:
        yield f"{_STATE_WORDS[was.state]} becomes {_STATE_WORDS[would_be.state]}"
    if move.days:
        count = abs(move.days)
        yield f"{counted(count, 'day')} {'earlier' if move.days < 0 else 'later'}"
    if was.interval_months and would_be.interval_months not in (None, was.interval_months):
        yield f"{would_be.interval_months} instead of {was.interval_months} months"


_STATE_WORDS = {"owed": "due now", "dated": "dated"} | {
    state: label(state) for state in ("by_event", "unknown", "not_required")
}

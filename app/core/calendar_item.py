"""From a basis and an interval to a due date: approvals, the sum, the precision, what is owed, and the stencil."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import date

from app.core.basis import Basis
from app.core.closing import closing
from app.core.facts import STENCILED_ITEMS, Approval, Confidence, Due, Reason, State
from app.core.known import Case
from app.core.months import Precision, add_months, to_precision, year_end
from app.core.owed import Owing
from app.core.rule import Rule
from app.core.words import sentence, words


@dataclass(frozen=True, slots=True)
class Interval:
    """Months to the next time, the most that the rule allows, and why; `year_end` moves the sum to December 31.

    `rule` is the id of the rule that sets it; `would_change` is what would make it another.
    """

    months: int
    maximum: int
    reasons: tuple[Reason, ...]
    rule: str
    confidence: Confidence = "verified"
    year_end: bool = False
    would_change: tuple[Reason, ...] = ()


@dataclass(frozen=True, slots=True)
class Dated:
    """A due item with what else is to be said of it; `stale_stencil` asks for a look before loading (rule 8)."""

    due: Due
    warnings: tuple[Reason, ...] = ()
    stale_stencil: Reason | None = None


@dataclass(frozen=True, slots=True)
class _Painted:
    """What the stencil does to an item: the date that controls, if it controls, and what is to be said."""

    on: date | None = None
    reasons: tuple[Reason, ...] = ()
    warnings: tuple[Reason, ...] = field(default=())
    stale: Reason | None = None


_NOT_PAINTED = _Painted()


def dated(
    case: Case,
    item: str,
    basis: Basis,
    interval: Interval,
    owings: Sequence[Owing],
    *,
    asked_for: bool = True,
) -> Dated:
    """The due item by calendar, with everything that may move its date.

    What is not `asked_for` is only told what its date would be.
    """
    movable = case.spec.regime == "fusion_welded" and item in STENCILED_ITEMS
    interval = _approved(case, item, interval) if movable else interval
    total = add_months(basis.on, interval.months) if basis.on else None
    precision = _precision(case, interval, movable)
    calculated = to_precision(total, precision) if total else None
    told = _sum_told(basis, interval, total, calculated, asked_for)
    counted = (*interval.reasons, basis.reason, *told)
    otherwise = (*basis.would_change, *interval.would_change)
    counts = basis.on, interval.months, calculated, interval.confidence
    if owings:
        since, owed = _owed(item, owings, calculated)
        reasons = (*owed, *counted, *otherwise)
        return Dated(Due(item, "owed", since, *counts, reasons, interval.rule))
    painted = _stencil(case, item, basis, interval) if movable and asked_for else _NOT_PAINTED
    due_on, warnings = painted.on or calculated, painted.warnings
    if due_on is None:
        warnings = (*warnings, Reason(f"{sentence(item)}: {basis.reason.text}"))
    state: State = "dated" if due_on else "unknown"
    reasons = (*counted, *painted.reasons, *otherwise)
    due = Due(item, state, due_on, *counts, reasons, interval.rule)
    return Dated(due, warnings, painted.stale)


def owed_by_event(
    item: str, owings: Sequence[Owing], reasons: tuple[Reason, ...], rule: Rule
) -> Due:
    """An item without a calendar that is owed."""
    since, told = _owed(item, owings, None)
    return Due(
        item, "owed", since, confidence=rule.confidence, reasons=(*told, *reasons), rule=rule.id
    )


def by_event(item: str, reasons: tuple[Reason, ...], rule: Rule) -> Due:
    """An item without a calendar, nothing of it owed."""
    return Due(item, "by_event", confidence=rule.confidence, reasons=reasons, rule=rule.id)


def not_known(item: str, reasons: tuple[Reason, ...], rule: Rule) -> Due:
    """An item that applies, with nothing to count it from."""
    return Due(item, "unknown", confidence=rule.confidence, reasons=reasons, rule=rule.id)


def _owed(
    item: str, owings: Sequence[Owing], calculated: date | None
) -> tuple[date, tuple[Reason, ...]]:
    """Owed since the earliest of the days it became owed, or since its calendar date when that is earlier.

    With why, and what closes it.
    """
    days = [owing.since for owing in owings] + ([calculated] if calculated else [])
    return min(days), (*(owing.reason for owing in owings), closing(item, owings))


def _precision(case: Case, interval: Interval, movable: bool) -> Precision:
    """What the sum is moved to: the calendar year's end for ton tanks, else the setting where it applies."""
    if interval.year_end:
        return "year_end"
    return case.settings.due_precision if movable else "day"


def _sum_told(
    basis: Basis, interval: Interval, total: date | None, calculated: date | None, asked_for: bool
) -> tuple[Reason, ...]:
    if total is None:
        return ()
    told = f"{basis.on} plus {interval.months} months is {total}"
    if not asked_for:
        told = f"If it were asked for: {told}"
    if interval.year_end:
        told += f"; any day of that calendar year will do: {calculated}"
    elif total != calculated:
        told += f", moved to {calculated} by the setting for the end of month or year (common practice, no source)"
    return (Reason(told, part="counted"),)


# Approvals (rule 9) -----------------------------------------------------------------------------------------------


def _approved(case: Case, item: str, interval: Interval) -> Interval:
    """A stenciled approval replaces interval and maximum; one not yet stenciled is told and changes nothing."""
    mine = [approval for approval in case.car.approvals if approval.item == item]
    if not mine:
        return interval
    rule = case.rulebook.rule("approval")
    waiting = tuple(
        case.rulebook.rule("stencil").because(
            f"{_name(one)} for {one.interval_months} months is not yet stenciled and changes nothing until it is",
            "would_change",
        )
        for one in mine if not one.stenciled
    )  # fmt: skip
    stenciled = [one for one in mine if one.stenciled]
    if not stenciled:
        return replace(interval, reasons=interval.reasons + waiting)
    shortest = min(stenciled, key=lambda one: one.interval_months)
    months = shortest.interval_months
    told = rule.because(f"{_name(shortest)}, stenciled, sets {months} months", "counted")
    reasons = (*interval.reasons, told, *_against_programme(case, interval, months, rule), *waiting)
    return Interval(months, months, reasons, rule.id, interval.confidence)


def _against_programme(
    case: Case, interval: Interval, months: int, rule: Rule
) -> tuple[Reason, ...]:
    """That a longer approval stands although the owner's programme asks for less."""
    asked = case.rulebook.rule(interval.rule)
    if asked.stricter_than is None or months <= asked.months:
        return ()
    text = (
        f"The owner's programme asks for {asked.months} months; the approval stenciled on the car stands, "
        f"by {rule.citation}, and its {months} months count"
    )
    return (rule.because(text, "counted"),)


def _name(approval: Approval) -> str:
    return f"Approval {approval.reference}" if approval.reference else "An approval"


# The stencil (rule 8) ---------------------------------------------------------------------------------------------


def _stencil(case: Case, item: str, basis: Basis, interval: Interval) -> _Painted:
    text = dict(case.car.stencil.due).get(item)
    if text is None or _marked_before_installed(case, item):
        return _NOT_PAINTED
    painted = painted_day(text, case.settings.stencil_year)
    rule = case.rulebook.rule("stencil")
    marked_on = case.car.stencil.marked_on
    overtaking = [event.on for event in case.passes(item) if marked_on and event.on > marked_on]
    if overtaking:
        told = Reason(
            f"The stencil of {marked_on} says {text}; {words(item)} passed after it, on {overtaking[-1]}",
            rule.citation,
            "counted",
        )
        return _overtaken(case, item, painted, told)
    reading = _year_told(text, case.settings.stencil_year)
    most = add_months(basis.on, interval.maximum) if basis.on else None
    if most is not None and painted > most:
        told = Reason(
            f"The stencil says {text}{reading}, past the most that the rule allows from {basis.on}: "
            f"{most} controls",
            rule.citation,
            "counted",
        )  # fmt: skip
        return _Painted(most, (told,), (replace(told, text=f"{sentence(item)}: {told.text}"),))
    told = Reason(f"The stencil says {text}{reading}, and it controls", rule.citation, "counted")
    swapped = _changed_since_marking(case, item)
    return _Painted(painted, (told, *swapped, _overtaking(item, marked_on, rule)), swapped)


def _overtaking(item: str, marked_on: date | None, rule: Rule) -> Reason:
    """What would take the date from the stencil."""
    if marked_on is None:
        text = "The day it was marked is not known, so no inspection overtakes it; that day would let later ones count"
    else:
        text = f"A passing {words(item)} after {marked_on}, when it was marked, would overtake it"
    return Reason(text, rule.citation, "would_change")


def painted_day(text: str, year: str) -> date:
    """The day a stencil means: a month's first day, a year's first or last day (a setting)."""
    if len(text) == 4:
        start = date(int(text), 1, 1)
        return start if year == "start" else year_end(start)
    return date.fromisoformat(text if len(text) == 10 else f"{text}-01")


def _year_told(text: str, year: str) -> str:
    if len(text) != 4:
        return ""
    return f", read as the {year} of that year" + (
        " (common practice, no source)" if year == "end" else ", the safe side"
    )


def _marked_before_installed(case: Case, item: str) -> bool:
    device, marked_on = case.car.relief_device, case.car.stencil.marked_on
    installed = device.installed_on if item == "relief_device" and device else None
    return bool(installed and marked_on and marked_on < installed)


def _overtaken(case: Case, item: str, painted: date, told: Reason) -> _Painted:
    if painted >= case.as_of:
        return _Painted(reasons=(told,))
    stale = Reason(
        f"{sentence(item)}: the car still shows {painted}, which is past, and not its new date",
        told.citation,
    )
    return _Painted(reasons=(told,), warnings=(stale,), stale=stale)


def _changed_since_marking(case: Case, item: str) -> tuple[Reason, ...]:
    """A stencil older than a swap of the relief device may speak of the old one."""
    marked_on = case.car.stencil.marked_on
    if item != "relief_device" or marked_on is None:
        return ()
    changed = [event.on for event in case.changes("relief_device_changed") if event.on > marked_on]
    if not changed:
        return ()
    return (
        Reason(
            f"Relief device: changed on {changed[-1]}, after the stencil was marked; "
            "make sure that the stencil speaks of the device on the car"
        ),
    )

"""What any freight car must have done: air brake, reflective sheeting, and its age (parts 215, 224 and 232)."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from app.core.basis import Basis
from app.core.calendar_item import Dated, by_event, dated, owed_by_event
from app.core.facts import Reason
from app.core.findings import Findings, by_rule
from app.core.known import Case
from app.core.owed import Owing

# Items that fall due for the first time by a rule of their own, and from then on by the one of their name.
FIRST_BY_ANOTHER = ("air_brake",)


def air_brake(found: Findings) -> Dated:
    """5 years after the last test; 8 after built or rebuilt when that is later (232.305(c), (d))."""
    case, item = found.case, "air_brake"
    passes = case.passes(item)
    last = passes[-1].on if passes else None
    made = max((day for day in (case.car.built_on, case.car.rebuilt_on) if day), default=None)
    first = made is not None and (last is None or made > last)
    rule = case.rulebook.rule("air_brake_first" if first else "air_brake")
    basis = _brake_basis(last, made, first, rebuilt=made is not None and made != case.car.built_on)
    return dated(case, item, basis, by_rule(rule), found.owed(item))


def _brake_basis(last: date | None, made: date | None, first: bool, *, rebuilt: bool) -> Basis:
    if first:
        how = "rebuilt" if rebuilt else "built"
        told = Reason(f"Counted from {made}, when the car was {how}", part="counted")
        return Basis(made, told, _TESTED)
    if last:
        told = Reason(f"Counted from {last}, the latest passing air brake test", part="counted")
        return Basis(last, told)
    return _UNTESTED


def reflective_sheeting(found: Findings) -> Dated:
    """Replaced every 10 years, or compared with a panel at each air brake test (224.111(b), (c))."""
    if found.case.car.reflective_sheeting.method == "comparator":
        return _compared(found)
    item = "reflective_sheeting"
    interval = by_rule(found.case.rulebook.rule(item))
    return dated(found.case, item, _sheeting_basis(found.case), interval, found.owed(item))


def _sheeting_basis(case: Case) -> Basis:
    replaced = [event.on for event in case.changes("sheeting_replaced")]
    installed = case.car.reflective_sheeting.installed_on
    days = [*replaced, *([installed] if installed else [])]
    if days:
        told = Reason(f"Counted from {max(days)}, when the sheeting was installed", part="counted")
        return Basis(max(days), told, _COMPARED)
    rule, built = case.rulebook.rule("sheeting_from_built"), case.car.built_on
    if built and built > rule.turning_day:
        text = (
            f"Counted from {built}, when the car was built: {rule.text[:1].lower()}{rule.text[1:]}"
        )
        return Basis(built, rule.because(text, "assumed"), (*_REPLACED, *_COMPARED))
    return _NO_SHEETING


def _compared(found: Findings) -> Dated:
    """Owed from an air brake test, whatever its outcome, until the sheeting passes in it or later."""
    rule = found.case.rulebook.rule("sheeting_comparator")
    owings = [*_uncompared(found.case), *found.owed("reflective_sheeting")]
    if owings:
        return Dated(owed_by_event("reflective_sheeting", owings, (rule.reason,), rule))
    return Dated(by_event("reflective_sheeting", (rule.reason,), rule))


def _uncompared(case: Case) -> Sequence[Owing]:
    rule = case.rulebook.rule("sheeting_comparator")
    since: list[date] = []
    for event in case.events:
        if "air_brake" in event.items:
            since.append(event.on)
        if event.outcome == "pass" and "reflective_sheeting" in event.items:
            since.clear()
    return [
        Owing(day, False, rule.because(f"Owed since the air brake test on {day}", "owed"))
        for day in since
    ]


def age_limit(found: Findings) -> Dated:
    """The last day within 50 years of original construction; the anniversary is still allowed."""
    built = found.case.car.built_on
    basis = _UNBUILT
    if built:
        told = Reason(f"Counted from {built}, the original construction", part="counted")
        basis = Basis(built, told, _OLDER)
    return dated(found.case, "age_limit", basis, by_rule(found.case.rulebook.rule("age_limit")), ())


def _otherwise(text: str) -> tuple[Reason, ...]:
    return (Reason(text, part="would_change"),)


def _unknown(what: str, wanted: str) -> Basis:
    told = Reason(f"Not known from when to count: {what}", part="counted")
    return Basis(None, told, _otherwise(f"{wanted} would make it known"))


_TESTED = _otherwise(
    "The first test on record would be counted from instead, by the shorter interval"
)
_UNTESTED = _unknown(
    "no air brake test and no day built is known", "The last test, or the day built or rebuilt,"
)
_COMPARED = _otherwise("Kept up by comparison with a panel, it would go by the air brake tests")
_REPLACED = _otherwise("The day it was put on or replaced would be counted from instead")
_NO_SHEETING = _unknown(
    "the day the sheeting was installed is not known", "The day it was put on or replaced"
)
_UNBUILT = _unknown(
    "the day of original construction is not known", "The day of original construction"
)
_OLDER = _otherwise("An approval to run longer is for the agency to give, and is not counted here")

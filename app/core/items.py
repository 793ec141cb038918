"""The items of fusion-welded cars that are more than an interval: one function each."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import lru_cache

from app.core.basis import calendar_basis, lining_basis, relief_basis
from app.core.calendar_item import (
    Dated,
    Interval,
    by_event,
    dated,
    not_known,
    owed_by_event,
)
from app.core.facts import SHELL_AND_HEAD_ZONES, Confidence, Due, Event, Reason, ZoneThickness
from app.core.findings import Findings, by_rule
from app.core.known import Case
from app.core.lading import Corrosive
from app.core.months import add_months
from app.core.rule import Rule
from app.core.thickness import surely_above_c
from app.core.thin import above_c, why_thin, would_change
from app.core.words import capitalized, label


def service_equipment(found: Findings) -> Dated:
    item = "service_equipment"
    interval = _owner_shorter(found.case, item, found.case.car.service_equipment_interval_months)
    return dated(found.case, item, calendar_basis(found.case, item), interval, found.owed(item))


def relief_device(found: Findings) -> Dated | None:
    item, device = "relief_device", found.case.car.relief_device
    if device and device.kind == "none":
        return None
    interval = _owner_shorter(found.case, item, device.owner_interval_months if device else None)
    return dated(found.case, item, relief_basis(found.case), interval, found.owed(item))


def lining(found: Findings) -> Dated | None:
    """Only for a lined tank; not required when the lading is not corrosive or reactive to it."""
    if not found.lined.yes:
        return None
    case, rule = found.case, found.case.rulebook.rule("lining")
    interval = _for_lading(_lining_interval(case), found.corrosive, rule)
    basis, owings, asked_for = (
        lining_basis(case, found.lined),
        found.owed("lining"),
        found.corrosive.yes,
    )
    result = dated(case, "lining", basis, interval, owings, asked_for=asked_for)
    result = replace(
        result,
        due=_stated_since_failure(result.due, found),
        warnings=result.warnings + _interval_warnings(case, interval),
    )
    if found.corrosive.yes:
        confidence = _weaker(result.due.confidence, found.corrosive.confidence)
        return replace(result, due=replace(result.due, confidence=confidence))
    told = rule.because(
        "Not required: the rule asks for it only where the lading is corrosive or reactive to the tank"
    )
    due = replace(
        result.due, state="not_required", due_on=None, reasons=(told, *result.due.reasons)
    )
    return Dated(due)


def _stated_since_failure(due: Due, found: Findings) -> Due:
    """Why a failure stays open beside a lining that is stated as applied later: no event says so."""
    stated, owings = found.case.car.lining, found.owed("lining")
    applied = stated.applied_on if stated else None
    if applied is None or not any(owing.failed and owing.since < applied for owing in owings):
        return due
    text = (
        f"A lining applied on {applied} is stated, after that failure, but its application is not on record as an "
        "event: whether it replaced what failed is not known, so the failure stays open, the safe side"
    )
    # After what is owed, before what closes it.
    at = len(owings)
    told = Reason(text, found.case.rulebook.rule("failed").citation, "owed")
    return replace(due, reasons=(*due.reasons[:at], told, *due.reasons[at:]))


def _for_lading(interval: Interval, corrosive: Corrosive, rule: Rule) -> Interval:
    """The lining's interval, with what of the lading makes it asked for at all."""
    if not corrosive.yes:
        text = "A lading corrosive or reactive to the tank would make it asked for"
    elif corrosive.assumed:
        text = "A stated “not corrosive or reactive to the tank” would make it not required"
    else:
        text = ""
    otherwise = (Reason(text, rule.citation, "would_change"),) if text else ()
    return replace(
        interval,
        reasons=(*interval.reasons, *corrosive.reasons),
        would_change=(*interval.would_change, *otherwise),
    )


def thickness(found: Findings) -> Dated:
    return _thickness_lined(found) if found.lined.yes else _thickness_unlined(found)


def _thickness_lined(found: Findings) -> Dated:
    """By event: measured at the lining's application (180.509(f)(2)(i))."""
    case, rule = found.case, found.case.rulebook.rule("thickness_lined")
    reasons: tuple[Reason, ...] = (rule.reason, found.lined.reason)
    if found.owed("thickness"):
        return Dated(owed_by_event("thickness", found.owed("thickness"), reasons, rule))
    applied_on = found.lined.applied_on
    if applied_on is None:
        missing = "the day the lining was applied is not known"
        told = f"Not known from when to count: {missing}"
        wanted = "The day it was applied, and a passing thickness test for it, would make it known"
    else:
        since = add_months(applied_on, -int(rule.limit("months_before_application")))
        measured = [event.on for event in case.passes("thickness") if event.on >= since]
        if measured:
            basis = Reason(
                f"Measured on {measured[-1]}, for the lining of {applied_on}", part="counted"
            )
            return Dated(by_event("thickness", (*reasons, basis, _RELINED), rule))
        missing = (
            f"no passing thickness measurement is known since {since}, "
            f"six months before the lining of {applied_on}"
        )
        told = capitalized(missing)
        wanted = f"A passing thickness test on {since} or later would make it known"
    reasons += (Reason(told, part="counted"), Reason(wanted, part="would_change"))
    due = not_known("thickness", reasons, rule)
    return Dated(due, (Reason(f"Thickness: {missing}", rule.citation),))


def _thickness_unlined(found: Findings) -> Dated:
    """By calendar: 5 years when the lading is corrosive and a zone is not surely above line C, else 10."""
    case = found.case
    thin = [
        zone
        for zone in found.zones
        if zone.zone in SHELL_AND_HEAD_ZONES and not _surely_above_c(found, zone)
    ]
    short = found.corrosive.yes and bool(thin)
    rule = case.rulebook.rule("thickness_thin" if short else "thickness")
    reasons = (rule.reason, *(found.corrosive.reasons if thin else (above_c(rule),)))
    if short:
        reasons += why_thin(thin, rule.citation)
    reasons += (*_figures_from_memory(found), *_in_part(case))
    confidence = _weaker(rule.confidence, _thickness_confidence(found, thin))
    otherwise = would_change(thin, found.corrosive, case.rulebook)
    interval = Interval(
        rule.months, rule.months, reasons, rule.id, confidence, would_change=otherwise
    )
    return dated(
        case, "thickness", calendar_basis(case, "thickness"), interval, found.owed("thickness")
    )


def _surely_above_c(found: Findings, zone: ZoneThickness) -> bool:
    return surely_above_c(zone, found.lines[zone.zone])


def _thickness_confidence(found: Findings, thin: Sequence[ZoneThickness]) -> Confidence:
    """From memory when the lading is corrosive only by its UN number, or a line rests on a strength from memory."""
    if not found.corrosive.yes:
        return "verified"
    if thin and found.corrosive.confidence == "memory":
        return "memory"
    known = found.lines.values()
    return "memory" if any(line.confidence == "memory" for line in known) else "verified"


def _figures_from_memory(found: Findings) -> tuple[Reason, ...]:
    """What of the lines that the interval goes by nobody verified, each once."""
    if not found.corrosive.yes:
        return ()
    figures = (
        source.reason
        for line in found.lines.values()
        for source in line.sources
        if source.confidence == "memory"
    )
    return tuple(
        replace(each, text=f"Line C rests on this: {each.text}") for each in dict.fromkeys(figures)
    )


def _in_part(case: Case) -> tuple[Reason, ...]:
    """How a passing test of less than the whole tank is read, where the latest looks like one (an open question)."""
    passes = case.passes("thickness")
    measured = {reading.zone for reading in passes[-1].readings} if passes else set()
    read = [label(zone) for zone in SHELL_AND_HEAD_ZONES if zone in measured]
    if not read or len(read) == len(SHELL_AND_HEAD_ZONES):
        return ()
    text = (
        f"The test of {passes[-1].on} has readings of {', '.join(read)} alone. Whether a test of a part starts the "
        "years anew the rule does not say (an open question): a passing one counts here as a test of the whole "
        "tank, so record it as passed only if it was"
    )
    rule = case.rulebook.rule("repair_reducing_thickness")
    # Counted, not assumed: it is not the safe side.
    return (Reason(text, rule.citation, "counted"),)


def _lining_interval(case: Case) -> Interval:
    """The owner's months; without them 96, and never more than 96 unless service history or analysis supports it."""
    rule, stated = case.rulebook.rule("lining"), case.car.lining
    months = stated.owner_interval_months if stated else None
    documented = bool(stated and stated.documented)
    if months is None:
        told = Reason(
            f"The lining owner's interval is not known: {rule.months} months, the outer bound",
            rule.citation,
            "assumed",
        )
        return _at_most(rule, told, "The owner's own interval would be counted with, up to that")
    if months > rule.months and not documented:
        told = Reason(
            f"The lining owner's {months} months are more than {rule.months} and not documented: {rule.months} count",
            rule.citation,
            "assumed",
        )
        return _at_most(
            rule,
            told,
            f"Service history or analysis on record as supporting them would make it {months} months",
        )
    # The owner's own shorter interval is no maximum of the rule; only a documented longer one lifts it.
    maximum = max(months, rule.months)
    told = Reason(
        f"The lining owner's interval is {months} months" + (", documented" if documented else ""),
        rule.citation,
        "counted",
    )
    reasons = (rule.reason, told, *_against_programme(months, rule))
    return Interval(months, maximum, reasons, rule.id, rule.confidence)


def _against_programme(months: int, rule: Rule) -> tuple[Reason, ...]:
    """That a documented interval stands although the owner's programme asks for less."""
    if rule.stricter_than is None or months <= rule.months:
        return ()
    text = (
        f"The owner's programme asks for {rule.months} months; the lining's {months} months are documented "
        f"and stand, by {rule.stricter_than}"
    )
    return (Reason(text, rule.stricter_than, "counted"),)


def _at_most(rule: Rule, told: Reason, otherwise: str) -> Interval:
    """The rule's own months, with what would make them others."""
    return Interval(
        rule.months, rule.months, (rule.reason, told), rule.id, rule.confidence,
        would_change=(Reason(otherwise, rule.citation, "would_change"),),
    )  # fmt: skip


def _interval_warnings(case: Case, interval: Interval) -> tuple[Reason, ...]:
    """The owner should state an interval, or support one of more than 8 years (180.509(i))."""
    stated = case.car.lining
    months = stated.owner_interval_months if stated else None
    if months is not None and months <= interval.maximum:
        return ()
    return (replace(interval.reasons[1], text=f"Lining: {interval.reasons[1].text}"),)


def _owner_shorter(case: Case, item: str, owner_months: int | None) -> Interval:
    rule = case.rulebook.rule(item)
    if owner_months is None or owner_months >= rule.months:
        return _by_rule_alone(rule, owner_months)
    told = Reason(
        f"The owner's interval is shorter: {owner_months} months", rule.citation, "counted"
    )
    return Interval(owner_months, rule.months, (rule.reason, told), rule.id, rule.confidence)


@lru_cache
def _by_rule_alone(rule: Rule, owner_months: int | None) -> Interval:
    interval = by_rule(rule)
    if owner_months is None:
        text = "A shorter interval stated by the owner would be counted with"
        otherwise = Reason(text, rule.citation, "would_change")
        return replace(interval, would_change=(otherwise,))
    told = Reason(f"The owner's {owner_months} months are not shorter", rule.citation, "counted")
    return replace(interval, reasons=(*interval.reasons, told))


def _weaker(one: Confidence, other: Confidence) -> Confidence:
    return "memory" if "memory" in (one, other) else "verified"


def leakage(found: Findings) -> Dated:
    """By event: owed by changes; not known when the latest qualification of equipment shows no leak test (rule 10)."""
    case, rule = found.case, found.case.rulebook.rule("leakage")
    if found.owed("leakage"):
        return Dated(owed_by_event("leakage", found.owed("leakage"), (rule.reason,), rule))
    qualified = [
        at for at, event in enumerate(case.events)
        if event.outcome == "pass" and not _EQUIPMENT.isdisjoint(event.items)
    ]  # fmt: skip
    if not qualified or any(_passes(event, "leakage") for event in case.events[qualified[-1] :]):
        return Dated(by_event("leakage", (rule.reason, _LEAKAGE_ASKED), rule))
    day = case.events[qualified[-1]].on
    missing = f"no passing leakage test is known for the qualification of {day}"
    wanted = f"A passing leakage test on {day} or later would make it known"
    told = (rule.because(capitalized(missing), "counted"), rule.because(wanted, "would_change"))
    due = not_known("leakage", (rule.reason, *told), rule)
    return Dated(due, (rule.because(f"Leakage: {missing}"),))


_RELINED = Reason(
    "Another lining, or taking this one off, asks for a measurement again", part="would_change"
)
_LEAKAGE_ASKED = Reason(
    "Installing, replacing or qualifying service equipment or the relief device asks for it",
    part="would_change",
)
_EQUIPMENT = frozenset({"service_equipment", "relief_device"})


def _passes(event: Event, item: str) -> bool:
    return event.outcome == "pass" and item in event.items

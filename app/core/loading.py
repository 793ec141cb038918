"""May the car be loaded today (173.31(a)(3), (c), (d)(1); 180.509(f)(4))?"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import date

from app.core.decimal_text import near
from app.core.facts import Due, Loading, LoadingVerdict, Reason, ZoneThickness
from app.core.known import Case
from app.core.orders import ITEM as ORDERED
from app.core.orders import doubtful, forbidding, open_yet, undecided, undecided_yet
from app.core.status import days_left, state_on
from app.core.test_pressure import PressureNeeded, pressure_needed
from app.core.words import counted, sentence

# Mechanical items are told, but never decide.
MECHANICAL = frozenset({"air_brake", "reflective_sheeting", "age_limit"})
_STRICTEST_FIRST: Sequence[LoadingVerdict] = ("may_not_load", "check", "may_load")
# Class 2 and its divisions, 173.115.
GAS = "2"
_BY_EVENT = frozenset({"leakage", "thickness_lined"})
CAUTION = (
    "A calculation aid, not a permission: the rule in force, the owner's written instructions and the qualified "
    "shop decide whether this car may be loaded."
)


def loading(
    case: Case,
    items: Sequence[Due],
    zones: Iterable[ZoneThickness],
    stale: Sequence[Reason],
) -> Loading:
    """The worst that anything says; `stale` are stencils that show a past date."""
    zones = tuple(zones)
    hazardous = case.car.service.hazardous
    orders, came = case.car.orders, case.car.told_orders
    needed = pressure_needed(case.spec, case.car, case.rulebook)
    forbidden = (
        _held(case)
        + forbidding(orders, case.as_of)
        + _condemned(case, zones)
        + (_short(needed) + _past(case, items) if hazardous else ())
    )
    told = _mechanical(case, items) + open_yet(orders, case.as_of)
    told += undecided_yet(came, case.as_of)
    if forbidden:
        return Loading("may_not_load", forbidden + told, CAUTION)
    doubts = doubtful(orders, case.as_of) + undecided(came, case.as_of) + _not_in_service(case)
    doubts += _against_itself(case) + _not_compared(case)
    doubts += (_perhaps_short(needed) + _unknown(items, zones) + tuple(stale)) if hazardous else ()
    if doubts:
        return Loading("check", doubts + told, CAUTION)
    if not hazardous:
        told += (
            Reason(
                "The lading is stated not to be hazardous: overdue items do not forbid loading",
                case.rulebook.rule("filling").citation,
            ),
        )
    return Loading("may_load", told, CAUTION)


def with_doubts(loading: Loading, doubts: Sequence[Reason]) -> Loading:
    """The answer where there are these doubts as well."""
    if not doubts:
        return loading
    verdict: LoadingVerdict = "check" if loading.verdict == "may_load" else loading.verdict
    return replace(loading, verdict=verdict, reasons=(*doubts, *loading.reasons))


def strictest(answers: Iterable[Loading]) -> Loading:
    """Of several answers the first that allows least."""
    return min(answers, key=lambda each: _STRICTEST_FIRST.index(each.verdict))


def in_date_through(items: Iterable[Due]) -> date | None:
    """The last day on which no date that decides is past; None where there is no such date."""
    return min((due.due_on for due in _deciding(items) if due.due_on), default=None)


def falling_due(items: Iterable[Due], day: date, days: int) -> tuple[Reason, ...]:
    """What is in date on the day and falls due at most so many days later, when the car may be under way."""
    return tuple(
        Reason(f"{sentence(due.item)} falls due on {due.due_on}, {_in_days(days_left(due.due_on, day) or 0)}")
        for due in _deciding(items) if state_on(due.state, due.due_on, day, days) == "soon"
    )  # fmt: skip


def _deciding(items: Iterable[Due]) -> Iterable[Due]:
    return (due for due in items if due.item not in MECHANICAL)


def _in_days(days: int) -> str:
    return "that very day" if days == 0 else "a day later" if days == 1 else f"{days} days later"


def _held(case: Case) -> tuple[Reason, ...]:
    """Whatever the dates say: somebody who knew more stopped the car."""
    hold = case.car.hold
    if hold is None:
        return ()
    since = "" if hold.since == date.min else f" since {hold.since}"
    return (Reason(f"On hold{since}: {hold.reason}"),)


def _not_in_service(case: Case) -> tuple[Reason, ...]:
    stands = case.car.stands
    if stands is None:
        return ()
    since = "" if stands.since == date.min else f" since {stands.since}"
    why = f": {stands.reason}" if stands.reason else ""
    return (Reason(f"{sentence(stands.standing)}{since}{why}"),)


def _against_itself(case: Case) -> tuple[Reason, ...]:
    """A lading that is stated not to be hazardous bears what only a hazardous one does (172.101)."""
    service = case.car.service
    bears = [
        each
        for each in (service.un, service.hazard_class and f"class {service.hazard_class}")
        if each
    ]
    if service.hazardous or not bears or not case.car.on_record:
        return ()
    text = f"The lading is stated not to be hazardous, and is recorded as {' and '.join(bears)}: one of them is a slip"
    return (Reason(text, "49 CFR 172.101"),)


def _not_compared(case: Case) -> tuple[Reason, ...]:
    """A gas of which no vapor pressure is on record: the marked test pressure was compared with nothing (173.31(c))."""
    service, spec = case.car.service, case.spec
    gas = service.hazardous and (service.hazard_class or "").startswith(GAS)
    asked = case.car.on_record and spec.regime == "fusion_welded" and spec.test_psig is not None
    if not gas or not asked or service.pressures.has_vapor_pressure:
        return ()
    named = f" of {service.commodity}" if service.commodity else ""
    text = f"No vapor pressure{named} is on record: whether the marked test pressure is enough was not compared"
    return (Reason(text, "49 CFR 173.31(c)"),)


def _condemned(case: Case, zones: Iterable[ZoneThickness]) -> tuple[Reason, ...]:
    citation = case.rulebook.rule("condemned").citation
    return tuple(
        Reason(f"{sentence(zone.zone)} is below its condemning line", citation)
        for zone in zones if zone.verdict == "condemned"
    )  # fmt: skip


def _short(needed: PressureNeeded | None) -> tuple[Reason, ...]:
    """The lading asks for more test pressure than the car is marked with (173.31(c))."""
    if needed is None or needed.verdict != "short":
        return ()
    text = (
        f"The lading asks for a test pressure of {near(needed.needed_psig)} psig, {needed.governing.text}; the car is "
        f"marked with {near(needed.marked_psig)} psig"
    )
    return (Reason(text, needed.reasons[0].citation),)


def _perhaps_short(needed: PressureNeeded | None) -> tuple[Reason, ...]:
    if needed is None or needed.verdict != "check":
        return ()
    text = (
        f"Whether the marked test pressure of {near(needed.marked_psig)} psig is enough for the lading cannot be told "
        f"without {', '.join(needed.missing)}"
    )
    return (Reason(text, needed.reasons[0].citation),)


def _past(case: Case, items: Iterable[Due]) -> tuple[Reason, ...]:
    rule = case.rulebook.rule("filling")
    return tuple(
        _last_day_past(due) if due.item == "service_end"
        else Reason(f"{sentence(due.item)} {_since(case, due)}", rule.citation)
        for due in items if due.item not in (*MECHANICAL, ORDERED) and _is_past(case, due)
    )  # fmt: skip


def _last_day_past(due: Due) -> Reason:
    """No inspection brings a car back from its last day for a lading: told with the ban and its citation."""
    ban = due.reasons[1]  # after the rule comes the ban that sets the day
    return Reason(f"The last day for this lading was {due.due_on}: {ban.text}", ban.citation)


def _is_past(case: Case, due: Due) -> bool:
    return state_on(due.state, due.due_on, case.as_of, 0) in ("overdue", "due_now")


def _since(case: Case, due: Due) -> str:
    if due.state == "owed":
        return f"is due now, since {due.due_on}"
    past = -(days_left(due.due_on, case.as_of) or 0)
    return f"is overdue since {due.due_on}, {counted(past, 'day')}"


def _unknown(items: Iterable[Due], zones: Iterable[ZoneThickness]) -> tuple[Reason, ...]:
    missing = [due for due in items if due.state == "unknown" and due.item not in MECHANICAL]
    unjudged = [zone.zone for zone in zones if zone.verdict == "unknown"]
    return tuple(
        [Reason(f"{sentence(due.item)}: {_not_known(due)} is not known") for due in missing]
        + [Reason(f"{sentence(zone)}: no lines to judge its thickness by") for zone in unjudged]
    )


def _not_known(due: Due) -> str:
    """What of an unknown item is: work by event is owed or not, a lading has a last day or not."""
    if due.item == "service_end":
        return "whether it has come"
    return "whether it is owed" if due.rule in _BY_EVENT else "when it is due"


def _mechanical(case: Case, items: Iterable[Due]) -> tuple[Reason, ...]:
    return tuple(
        Reason(
            f"{sentence(due.item)} {_since(case, due)}; a mechanical item, it does not decide about the lading",
            part="mechanical",
        )
        for due in items if due.item in MECHANICAL and _is_past(case, due)
    )  # fmt: skip

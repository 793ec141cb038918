"""The last day a car is authorised for its lading: poison by inhalation, and flammable liquids in class 111 cars."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import date, timedelta

from app.core.calendar_item import Dated
from app.core.facts import Car, Confidence, Due, Reason
from app.core.findings import Findings
from app.core.known import Case
from app.core.rule import FlammableBan, Rulebook, marked

ITEM = "service_end"


@dataclass(frozen=True, slots=True)
class _Ban:
    """The last allowed day; None when it is not known whether or when the ban begins.

    `rule` is the id of the rule that states it; the bans of flammable liquids are a table instead.
    """

    last_day: date | None
    reason: Reason
    would_change: str
    rule: str = ITEM
    confidence: Confidence = "verified"


def service_end(found: Findings) -> Dated:
    """The earliest last day of the bans that apply; unknown while one of them is; not required with none (rule 12)."""
    case, rule = found.case, found.case.rulebook.rule(ITEM)
    if not case.car.service.hazardous:
        told = Reason("Not required: the lading is stated not to be hazardous", part="counted")
        return Dated(Due(ITEM, "not_required", reasons=(told,), rule=ITEM))
    bans = [ban for ban in (_poison(case), _flammable(case)) if ban]
    if not bans:
        told = rule.because(
            "Not required: no ban that is known here applies to this car and lading", "counted"
        )
        return Dated(Due(ITEM, "not_required", reasons=(told, _OTHER_LADING), rule=ITEM))
    unknown = [ban for ban in bans if ban.last_day is None]
    if unknown:
        reasons = (*(ban.reason for ban in bans), *map(_otherwise, bans))
        warning = Reason(f"End of service: {unknown[0].reason.text}", unknown[0].reason.citation)
        due = Due(ITEM, "unknown", reasons=(rule.reason, *reasons), rule=unknown[0].rule)
        return Dated(due, (warning,))
    first = min(bans, key=lambda ban: ban.last_day or date.max)
    reasons = (
        rule.reason,
        first.reason,
        *(ban.reason for ban in bans if ban is not first),
        _otherwise(first),
    )
    return Dated(
        Due(
            ITEM,
            "dated",
            first.last_day,
            calculated_due_on=first.last_day,
            confidence=first.confidence,
            reasons=reasons,
            rule=first.rule,
        )
    )


def _otherwise(ban: _Ban) -> Reason:
    return Reason(ban.would_change, ban.reason.citation, "would_change")


_OTHER_LADING = Reason("Another lading may have a last day", part="would_change")


# Poison by inhalation ---------------------------------------------------------------------------------------------


def _poison(case: Case) -> _Ban | None:
    poison, rules = _is_poison(case), case.rulebook
    if poison is False:
        return None
    old = rules.rule("poison_non_normalized")
    if poison is None:
        told = "Whether the lading is poisonous by inhalation is not stated, and its class does not say"
        wanted = "State whether it is poisonous by inhalation, or its hazard class"
        return _Ban(None, Reason(told, old.citation, "counted"), wanted, old.id)
    assumed = "" if case.car.service.poison_by_inhalation else "; class 2.3 counts as such"
    normalized = case.car.tank.normalized_steel
    if normalized is None:
        told = "Whether the tank is of normalized steel is not known"
        wanted = "State whether shell and heads are of normalized steel"
        return _Ban(None, Reason(told, old.citation, "counted"), wanted, old.id)
    if not normalized:
        barred = old.because(f"{old.text}{assumed}", "counted")
        return _Ban(old.turning_day, barred, _NOT_POISON, old.id, old.confidence)
    if _to_2009_standard(case):
        return None
    newer = rules.rule("poison_not_2009")
    barred = newer.because(f"{newer.text}{assumed}", "counted")
    wanted = (
        "A tank built to the 2009 standard, stated so or shown by its stencil, has no such last day"
    )
    return _Ban(newer.turning_day, barred, wanted, newer.id, newer.confidence)


_NOT_POISON = "A lading not poisonous by inhalation would have no such last day"


def _is_poison(case: Case) -> bool | None:
    """As stated; else yes for class 2.3, not known for class 6.1 or without a class, and no for the others."""
    service = case.car.service
    if service.poison_by_inhalation is not None:
        return service.poison_by_inhalation
    class_ = hazard_class(case.car)
    if class_ == "2.3":
        return True
    return None if class_ in ("", "6.1") else False


def _to_2009_standard(case: Case) -> bool:
    spec = case.spec
    return spec.delimiter == "H" or spec.weld == "I" or case.car.tank.built_to == "PIH-2009"


def hazard_class(car: Car) -> str:
    """The primary class or division: `3` of `3`, `Class 3` or `3 (6.1)`.

    Empty when it is not stated, or stated in words that say no number: that is not known either.
    """
    stated = re.match(r"(?:class|division|div\.?)?\s*(\d(?:\.\d)?)(?!\d)", _class_text(car))
    return stated.group(1) if stated else ""


def _class_text(car: Car) -> str:
    return (car.service.hazard_class or "").strip().lower()


# Flammable liquids in class 111 cars ------------------------------------------------------------------------------


def _flammable(case: Case) -> _Ban | None:
    if case.spec.class_ != "111" or hazard_class(case.car) != "3":
        return None
    ban = _ban_of(case.car, case.rulebook)
    begins, assumed = _begins(ban, case)
    if not case.car.service.packing_group and ban.packing_groups:
        assumed = "; no packing group is stated: counted as I, the earliest" + assumed
    cpc = "CPC-1232 " if case.car.tank.built_to == "CPC-1232" else ""
    text = f"A {cpc}class 111 car may not carry {ban.lading} on or after {begins}{assumed}"
    return _Ban(
        begins - timedelta(days=1),
        Reason(
            marked(text, ban.confidence, ban.known_from),
            ban.citation,
            "assumed" if assumed else "counted",
            known_from=ban.known_from,
        ),
        _retrofit(case.car, bool(assumed)),
        confidence=ban.confidence,
    )


def _retrofit(car: Car, assumed: bool) -> str:
    """What would give the car another last day for a flammable lading."""
    missing = [
        what
        for what, known in (
            ("the packing group", car.service.packing_group),
            ("whether it is jacketed", car.tank.jacketed is not None),
            ("whether it was built to CPC-1232", car.tank.built_to),
        )
        if not known
    ]
    text = "Retrofitted and re-stenciled as a class 117 car it has no such last day"
    return f"{text}; stated as well: {', '.join(missing)}" if assumed and missing else text


def _ban_of(car: Car, rulebook: Rulebook) -> FlammableBan:
    """By UN number where the ban names it, else by packing group; a group not stated counts as I, the earliest."""
    group = car.service.packing_group or "I"
    named = [ban for ban in rulebook.flammable_bans if car.service.un in ban.un_numbers]
    grouped = [ban for ban in rulebook.flammable_bans if group in ban.packing_groups]
    return (named or grouped)[0]


def _begins(ban: FlammableBan, case: Case) -> tuple[date, str]:
    """The ban's day for this car; a jacket not stated counts as the earlier of both."""
    cpc = case.car.tank.built_to == "CPC-1232"
    bare, jacketed = (
        (ban.cpc_without_jacket, ban.cpc_jacketed) if cpc else (ban.without_jacket, ban.jacketed)
    )
    if case.car.tank.jacketed is None:
        told = (
            "; whether it is jacketed is not known: the earlier day, the safe side"
            if bare != jacketed
            else ""
        )
        return min(bare, jacketed), told
    return (jacketed if case.car.tank.jacketed else bare), ""

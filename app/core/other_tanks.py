"""The items of tanks that are not fusion-welded to the car: ton tanks, seamless tanks and cryogenic cars."""

from __future__ import annotations

from dataclasses import replace

from app.core.basis import calendar_basis, relief_basis
from app.core.calendar_item import Dated, Interval, dated, not_known
from app.core.facts import Reason
from app.core.findings import Findings, ItemFunction, by_rule
from app.core.words import sentence


def ton_tank_retest(found: Findings) -> Dated:
    """Every 5 years, at any time during the calendar year (180.519(a))."""
    item = "tank_retest"
    interval = by_rule(found.case.rulebook.rule(item), year_end=True)
    return dated(found.case, item, calendar_basis(found.case, item), interval, found.owed(item))


def ton_tank_relief_device(found: Findings) -> Dated | None:
    """Every 2 years, or 5 for spring-loaded valves on tanks for fluorinated hydrocarbons only."""
    device = found.case.car.relief_device
    longer = (
        found.case.car.service.fluorinated_hydrocarbon_only and device and device.kind == "valve"
    )
    rule = found.case.rulebook.rule(
        "relief_device_fluorinated" if longer else "relief_device_ton_tank"
    )
    interval = by_rule(rule, year_end=True)
    return _relief_device(found, interval if longer else _fluorinated_longer(found, interval))


def _fluorinated_longer(found: Findings, interval: Interval) -> Interval:
    rule = found.case.rulebook.rule("relief_device_fluorinated")
    text = (
        "Stated to be a spring-loaded valve on a tank for fluorinated hydrocarbons only, "
        f"it would be {rule.months} months"
    )
    return replace(interval, would_change=(Reason(text, rule.citation, "would_change"),))


def cryogenic_relief_device(found: Findings) -> Dated | None:
    """Every 5 years (173.319(e))."""
    return _relief_device(found, by_rule(found.case.rulebook.rule("relief_device_cryogenic")))


def _relief_device(found: Findings, interval: Interval) -> Dated | None:
    item, device = "relief_device", found.case.car.relief_device
    if device and device.kind == "none":
        return None
    return dated(found.case, item, relief_basis(found.case), interval, found.owed(item))


def seamless(item: str) -> ItemFunction:
    """Always unknown: the rules of before July 1, 1996 govern, and their intervals were not found."""

    def due(found: Findings) -> Dated | None:
        device = found.case.car.relief_device
        if item == "relief_device" and device and device.kind == "none":
            return None
        rule = found.case.rulebook.rule("seamless")
        warning = Reason(f"{sentence(item)}: {rule.text}", rule.citation)
        return Dated(not_known(item, (rule.reason,), rule), (warning,))

    return due

"""What an item counts from: the latest passing event, else construction.

Linings and relief devices have rules of their own.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from functools import lru_cache

from app.core.facts import Reason, ReliefDevice
from app.core.known import Case
from app.core.lining import Lined
from app.core.months import add_months
from app.core.rule import Rule
from app.core.words import words


@dataclass(frozen=True, slots=True)
class Basis:
    """The day counted from and why; without a day, `reason` says what is missing.

    `would_change` is what would give another day, or one at all.
    """

    on: date | None
    reason: Reason
    would_change: tuple[Reason, ...] = ()

    @property
    def missing(self) -> bool:
        return self.on is None


def calendar_basis(case: Case, item: str) -> Basis:
    """The latest passing event, else the day the car was built, else nothing."""
    passes = case.passes(item)
    if passes:
        return _passed(item, passes[-1].on)
    if case.car.built_on:
        practice = case.rulebook.rule("first_qualification").text
        return Basis(
            case.car.built_on,
            Reason(
                f"Counted from {case.car.built_on}, when the car was built. {practice}",
                part="counted",
            ),
            _record_counts(item),
        )
    return _missing(
        f"no passing {words(item)} and no day built is known",
        f"The day built, or a passing {words(item)}, would make it known",
    )


def lining_basis(case: Case, lined: Lined) -> Basis:
    """The latest of the lining's application and of a passing lining inspection."""
    passes = case.passes("lining")
    inspected = passes[-1].on if passes else None
    if lined.applied_on and not (inspected and inspected > lined.applied_on):
        return Basis(
            lined.applied_on,
            Reason(f"Counted from {lined.applied_on}, when the lining was applied", part="counted"),
        )
    if inspected:
        return _passed("lining", inspected)
    return _missing(
        "the day the lining was applied is not known and no passing lining inspection is",
        "The day it was applied, or a passing lining inspection, would make it known",
    )


def relief_basis(case: Case) -> Basis:
    """The device on the car now: its test, or its installation under the six-month clause, or what was passed since."""
    device = case.car.relief_device or ReliefDevice()
    dates = [day for day in (device.installed_on, device.tested_on) if day]
    passes = case.passes("relief_device")
    changed = [at for at, event in enumerate(case.events) if "relief_device_changed" in event.items]
    if changed and all(case.events[changed[-1]].on > day for day in dates):
        return _since_change(case, changed[-1])
    if not dates:
        return calendar_basis(case, "relief_device")
    if passes and passes[-1].on >= max(dates):
        return _passed("relief_device", passes[-1].on)
    return _stated(case, device)


def _since_change(case: Case, at: int) -> Basis:
    """After a change that no known date covers it is another device: only what passed in or after the change counts."""
    since = [
        event.on for event in case.events[at:]
        if event.outcome == "pass" and "relief_device" in event.items
    ]  # fmt: skip
    if since:
        return _passed("relief_device", since[-1])
    return _missing(
        f"the relief device was changed on {case.events[at].on} and its test is not known",
        _TEST_WANTED,
    )


def _stated(case: Case, device: ReliefDevice) -> Basis:
    if device.tested_on is None:
        return _missing(
            f"the relief device was installed on {device.installed_on} and its test is not known",
            _TEST_WANTED,
        )
    rule = case.rulebook.rule("relief_device_installed")
    if _six_month_clause(case, device, int(rule.limit("months"))):
        text = (
            f"Counted from {device.installed_on}, when it was installed: tested on {device.tested_on}, "
            "within six months before, and protected in storage"
        )
        return Basis(device.installed_on, Reason(text, rule.citation, "counted"))
    why, not_stated = _not_by_clause(case, device, int(rule.limit("months")))
    text = (
        f"Counted from {device.tested_on}, when it was tested; "
        f"the six-month clause for a later installation does not apply: {why}"
    )
    told = Reason(text, rule.citation, "assumed" if not_stated else "counted")
    return Basis(device.tested_on, told, (_clause_would_count(rule),) if not_stated else ())


def _six_month_clause(case: Case, device: ReliefDevice, months: int) -> bool:
    """180.515(c)."""
    return (
        case.spec.regime == "fusion_welded"
        and device.kind in ("valve", "combination")
        and device.protected_in_storage is True
        and _within(device, months)
    )


def _within(device: ReliefDevice, months: int) -> bool:
    """Installed in time after its test; an installation known by its month is tried with the month's last day."""
    installed = device.installed_by or device.installed_on
    if device.tested_on is None or installed is None or device.installed_on is None:
        return False
    return device.tested_on <= installed <= add_months(device.tested_on, months)


def _not_by_clause(case: Case, device: ReliefDevice, months: int) -> tuple[str, bool]:
    """What keeps the clause from counting; whether that is only something which nobody stated."""
    if case.spec.regime != "fusion_welded":
        return "it is for fusion-welded tanks", False
    if device.installed_on is None:
        return "no day of installation is known", False
    if not _within(device, months):
        return f"installed on {device.installed_on}, not within six months after its test", False
    if device.kind == "disc":
        return "it is for devices that reclose", False
    if device.kind is None:
        return "whether it is a valve is not stated", True
    if device.protected_in_storage is None:
        return "whether it was protected in storage is not stated", True
    return "it was not protected in storage", False


@lru_cache
def _clause_would_count(rule: Rule) -> Reason:
    text = (
        "Stated to be a valve that was protected in storage, it would count from its installation"
    )
    return Reason(text, rule.citation, "would_change")


@lru_cache
def _record_counts(item: str) -> tuple[Reason, ...]:
    text = f"A passing {words(item)} on record would be counted from instead"
    return (Reason(text, part="would_change"),)


def _passed(item: str, on: date) -> Basis:
    return Basis(on, Reason(f"Counted from {on}, the latest passing {words(item)}", part="counted"))


def _missing(what: str, would_help: str) -> Basis:
    told = Reason(f"Not known from when to count: {what}", part="counted")
    return Basis(None, told, (Reason(would_help, part="would_change"),))


_TEST_WANTED = "The day it was tested, or a passing qualification since, would make it known"

"""What an item counts from: the latest passing event, else construction.

Linings and relief devices have rules of their own.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from functools import lru_cache

from app.core.facts import Event, Reason, ReliefDevice
from app.core.known import Case
from app.core.lining import Lined
from app.core.months import add_months
from app.core.rule import Rule
from app.core.words import on_or_in, words


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
        return _passed(item, passes[-1])
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
    inspected = passes[-1] if passes else None
    if lined.applied_on and not (inspected and inspected.on > lined.applied_on):
        return Basis(
            lined.applied_on,
            Reason(f"Counted from {lined.applied_on}, when the lining was applied", part="counted"),
        )
    if inspected:
        return _passed("lining", inspected)
    return _missing(
        "neither the day the lining was applied nor a passing lining inspection is known",
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
        return _passed("relief_device", passes[-1])
    return _stated(case, device)


def _since_change(case: Case, at: int) -> Basis:
    """After a change that no known date covers it is another device: only what passed in or after the change counts."""
    since = [
        event for event in case.events[at:]
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
            f"the relief device was installed {_installed(device)} and its test is not known",
            _TEST_WANTED,
        )
    rule = case.rulebook.rule("relief_device_installed")
    months = int(rule.limit("months"))
    if _by_clause(case, device) and _within(device, months):
        return _from_installation(device, device.tested_on, rule)
    if device.tested_on == device.installed_on == (device.installed_by or device.installed_on):
        # The clause could move nothing, whatever is stated.
        text = f"Counted from {device.tested_on}, when it was tested and installed"
        return Basis(device.tested_on, Reason(text, part="counted"))
    why, not_stated = _not_by_clause(case, device, months)
    text = (
        f"Counted from {device.tested_on}, when it was tested; "
        f"the six-month clause for a later installation does not apply: {why}"
    )
    told = Reason(text, rule.citation, "assumed" if not_stated else "counted")
    return Basis(device.tested_on, told, _would_count(case, device, rule, not_stated))


def _from_installation(device: ReliefDevice, tested_on: date, rule: Rule) -> Basis:
    """By the clause; of a month alone the first day counts, though the test may lie later in it."""
    on = device.installed_on
    if on == (device.installed_by or on):
        text = (
            f"Counted from {on}, when it was installed: tested on {tested_on}, at most six months before, "
            "and protected in storage"
        )
        return Basis(on, Reason(text, rule.citation, "counted"))
    when = (
        "within that same month"
        if on and tested_on >= on
        else "at most six months before that month's last day"
    )
    text = (
        f"Counted from {on}, the first day of the month in which it was installed: no day is stated, and the "
        f"earliest is the safe side. Tested on {tested_on}, {when}, and protected in storage"
    )
    told = Reason(text, rule.citation, "assumed")
    return Basis(on, told, (_DAY_MAKES_LATER,))


def _by_clause(case: Case, device: ReliefDevice) -> bool:
    """180.515(c), but for the days."""
    return (
        case.spec.regime == "fusion_welded"
        and device.kind in ("valve", "combination")
        and device.protected_in_storage is True
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
        return _not_in_time(device, months)
    if device.kind == "disc":
        return "it is for devices that reclose", False
    if device.kind is None:
        return "whether it is a valve is not stated", True
    if device.protected_in_storage is None:
        return "whether it was protected in storage is not stated", True
    return "it was not protected in storage", False


def _not_in_time(device: ReliefDevice, months: int) -> tuple[str, bool]:
    """The same of the days alone; an early day of a month that ends too late would do, were it stated."""
    installed, tested = device.installed_on, device.tested_on
    if _last_in_time(device, months):
        why = (
            f"installed {_installed(device)}, no day stated, and that month's last day, which is the safe one "
            "to try, lies more than six months after its test"
        )
        return why, True
    before = tested and installed and (device.installed_by or installed) < tested
    how = "before its test" if before else "more than six months after its test"
    return f"installed {_installed(device)}, {how}", False


def _last_in_time(device: ReliefDevice, months: int) -> date | None:
    """Of a month that ends too late, the last day that would still be in time."""
    installed, tested, last = device.installed_on, device.tested_on, device.installed_by
    if installed is None or tested is None or last is None:
        return None
    in_time = add_months(tested, months)
    return in_time if installed <= in_time < last else None


def _would_count(
    case: Case, device: ReliefDevice, rule: Rule, not_stated: bool
) -> tuple[Reason, ...]:
    """What would make the installation count."""
    if not not_stated:
        return ()
    in_time = _last_in_time(device, int(rule.limit("months")))
    if in_time is None:
        return (_clause_would_count(rule),)
    if not _by_clause(case, device):
        return ()
    text = f"A day of its installation up to {in_time} would be counted from instead"
    return (Reason(text, rule.citation, "would_change"),)


def _installed(device: ReliefDevice) -> str:
    return on_or_in(device.installed_on, device.installed_by)


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


def _passed(item: str, event: Event) -> Basis:
    text = f"Counted from {event.on}, the latest passing {words(item)}"
    if not event.month_only:
        return Basis(event.on, Reason(text, part="counted"))
    text += ": only its month is known, and the first day of it counts, the earliest and so the safe side"
    return Basis(event.on, Reason(text, part="assumed"), _LATER_IN_MONTH)


def _missing(what: str, would_help: str) -> Basis:
    told = Reason(f"Not known from when to count: {what}", part="counted")
    return Basis(None, told, (Reason(would_help, part="would_change"),))


_TEST_WANTED = "The day it was tested, or a passing qualification since, would make it known"
_LATER_IN_MONTH = (
    Reason("The day of that inspection could only make it later", part="would_change"),
)
_DAY_MAKES_LATER = Reason(
    "The day of its installation could only make it later", part="would_change"
)

"""What is owed: failures, and changes that open an item until it passes (180.509(b), (d)(2), (f), (j))."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import date

from app.core.facts import CHANGES, Event, Reason
from app.core.known import Case
from app.core.rule import Rulebook
from app.core.words import words

# Only these say themselves what they open.
CHOOSING = frozenset({"damage", "fire_damage", "ordered_inspection"})
_CHANGES = frozenset(CHANGES)
# A failure of these is closed also by putting another in place.
REPLACED_BY = {"relief_device": "relief_device_changed", "lining": "lining_applied"}


@dataclass(frozen=True, slots=True)
class Owing:
    """Since when an item is owed and why; `failed` tells a failure from a change."""

    since: date
    failed: bool
    reason: Reason


Owings = dict[str, list[Owing]]


def owed(case: Case) -> Owings:
    """By item, what stands open on the day asked for, in the order in which it was opened."""
    owings: Owings = {}
    for event in case.events:
        _replace(owings, event)
        for item, owing in opened(event, case.rulebook):
            owings.setdefault(item, []).append(owing)
        if event.outcome == "pass":
            for item in event.items:
                owings.pop(item, None)
    _installed_since(owings, case)
    return owings


def opened(event: Event, rulebook: Rulebook) -> Iterator[tuple[str, Owing]]:
    """The items that an event opens, each with why, in the order of its names."""
    for name in event.items:
        if name in _CHANGES:
            rule = rulebook.rule(name)
            told = f"Owed since {event.on}: {rule.text}{_by_default(name, event)}"
            reason = Reason(told, rule.citation, "owed")
            for item in _opens(name, event, rulebook):
                yield item, Owing(event.on, False, reason)
        elif event.outcome == "fail":
            rule = rulebook.rule("failed")
            yield (
                name,
                Owing(
                    event.on,
                    True,
                    Reason(f"Failed on {event.on} and has not passed since", rule.citation, "owed"),
                ),
            )


def _by_default(change: str, event: Event) -> str:
    """That a choice which opens nothing of this car does not count."""
    if change not in CHOOSING or event.opens or not event.opens_left_out:
        return ""
    named = ", ".join(map(words, event.opens_left_out))
    return (
        f"; what it is said to open ({named}) this car does not have, so all that the rule opens is owed, "
        "the safe side"
    )


def _opens(change: str, event: Event, rulebook: Rulebook) -> tuple[str, ...]:
    return event.opens if change in CHOOSING and event.opens else rulebook.opens[change]


def opens_nothing(case: Case) -> list[Event]:
    """Events whose damage or order opens nothing of what the car has, by choice or by the rule."""
    its_own = case.rulebook.regime_items[case.spec.regime]
    return [
        event
        for event in case.events
        if (chosen := CHOOSING.intersection(event.items))
        and not any(
            item in its_own for name in chosen for item in _opens(name, event, case.rulebook)
        )
    ]


def _replace(owings: Owings, event: Event) -> None:
    """A later change puts another device or lining in the failed one's place."""
    for item, change in REPLACED_BY.items():
        if item in owings and change in event.items:
            _drop_failures(owings, item, lambda owing: True)


def _installed_since(owings: Owings, case: Case) -> None:
    device = case.car.relief_device
    installed = device.installed_on if device else None
    if installed and "relief_device" in owings:
        _drop_failures(owings, "relief_device", lambda owing: owing.since < installed)


def _drop_failures(owings: Owings, item: str, closed: Callable[[Owing], bool]) -> None:
    left = [owing for owing in owings[item] if not (owing.failed and closed(owing))]
    if left:
        owings[item] = left
    else:
        del owings[item]

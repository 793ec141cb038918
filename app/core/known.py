"""What counts of the facts on the day asked for: whatever is dated later is as if it were not there, with a warning."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import date
from operator import attrgetter

from app.core.at_odds import at_odds
from app.core.facts import (
    CHANGES,
    Car,
    Event,
    Facts,
    Lining,
    Reason,
    ReflectiveSheeting,
    ReliefDevice,
    Settings,
    StencilMarks,
)
from app.core.rule import Rulebook
from app.core.stencil import Specification, decode

_CHANGES = frozenset(CHANGES)


@dataclass(frozen=True, slots=True, eq=False)
class Case:
    """A car as the calculator looks at it: its specification read, its events in order, nothing later than `as_of`."""

    as_of: date
    car: Car
    spec: Specification
    events: tuple[Event, ...]
    settings: Settings
    rulebook: Rulebook
    warnings: tuple[Reason, ...]

    def passes(self, item: str) -> list[Event]:
        """The passing events for an item, in order."""
        return [event for event in self.events if event.outcome == "pass" and item in event.items]

    def changes(self, change: str) -> list[Event]:
        return [event for event in self.events if change in event.items]


def case_of(facts: Facts, rulebook: Rulebook) -> Case:
    """The case on the day; raises stencil.Unreadable for a specification that no table knows."""
    spec = decode(facts.car.specification, rulebook.stencils)
    car, later = _car_as_known(facts.car, facts.as_of)
    events, warnings = _events_as_known(facts, frozenset(rulebook.regime_items[spec.regime]))
    read = tuple(Reason(text, spec.family.citation) for text in spec.warnings)
    happened = [each for each in enumerate(facts.events) if each[1].on <= facts.as_of]
    happened.sort(key=lambda each: each[1].on)
    warnings += at_odds(car, happened, rulebook)
    return Case(facts.as_of, car, spec, events, facts.settings, rulebook, read + later + warnings)


def _later(what: str, day: date) -> Reason:
    return Reason(f"{what} on {day} lies after the day asked for and is left out")


def _car_as_known(car: Car, as_of: date) -> tuple[Car, tuple[Reason, ...]]:
    lining, lining_told = _lining(car.lining, as_of)
    device, device_told = _device(car.relief_device, as_of)
    stencil, stencil_told = _stencil(car.stencil, as_of)
    sheeting, sheeting_told = _sheeting(car.reflective_sheeting, as_of)
    told = (*lining_told, *device_told, *stencil_told, *sheeting_told)
    if car.rebuilt_on and car.rebuilt_on > as_of:
        told = (_later("The rebuild", car.rebuilt_on), *told)
        car = replace(car, rebuilt_on=None)
    if not told:
        return car, ()
    known = replace(
        car, lining=lining, relief_device=device, stencil=stencil, reflective_sheeting=sheeting
    )
    return known, told


def _lining(lining: Lining | None, as_of: date) -> tuple[Lining | None, tuple[Reason, ...]]:
    if lining and lining.applied_on and lining.applied_on > as_of:
        return None, (_later("The lining applied", lining.applied_on),)
    return lining, ()


def _device(
    device: ReliefDevice | None, as_of: date
) -> tuple[ReliefDevice | None, tuple[Reason, ...]]:
    told: tuple[Reason, ...] = ()
    if device and device.tested_on and device.tested_on > as_of:
        told += (_later("The relief device's test", device.tested_on),)
        device = replace(device, tested_on=None)
    if device and device.installed_on and device.installed_on > as_of:
        told += (_later("The relief device's installation", device.installed_on),)
        device = replace(device, installed_on=None, installed_by=None)
    return device, told


def _stencil(stencil: StencilMarks, as_of: date) -> tuple[StencilMarks, tuple[Reason, ...]]:
    if stencil.marked_on and stencil.marked_on > as_of:
        return StencilMarks(), (_later("The stencil marked", stencil.marked_on),)
    return stencil, ()


def _sheeting(
    sheeting: ReflectiveSheeting, as_of: date
) -> tuple[ReflectiveSheeting, tuple[Reason, ...]]:
    if sheeting.installed_on and sheeting.installed_on > as_of:
        told = (_later("The reflective sheeting installed", sheeting.installed_on),)
        return replace(sheeting, installed_on=None), told
    return sheeting, ()


def _events_as_known(
    facts: Facts, regime_items: frozenset[str]
) -> tuple[tuple[Event, ...], tuple[Reason, ...]]:
    """Events up to the day, ordered by day and then by place, without items foreign to the car's regime."""
    known = sorted(
        (event for event in facts.events if event.on <= facts.as_of), key=attrgetter("on")
    )
    warnings = [_later("An event", event.on) for event in facts.events if event.on > facts.as_of]
    kept = []
    for event in known:
        foreign = _foreign((*event.items, *event.opens), regime_items)
        if foreign:
            names = ", ".join(foreign)
            warnings.append(
                Reason(
                    f"The event on {event.on} names {names}, which this car does not have: left out"
                )
            )
            event = replace(
                event,
                items=_without(event.items, foreign),
                opens=_without(event.opens, foreign),
                opens_left_out=tuple(name for name in event.opens if name in foreign),
            )
        kept.append(event)
    return tuple(kept), tuple(warnings)


def _foreign(names: Iterable[str], regime_items: frozenset[str]) -> list[str]:
    return [
        name for name in dict.fromkeys(names) if name not in regime_items and name not in _CHANGES
    ]


def _without(names: tuple[str, ...], foreign: Iterable[str]) -> tuple[str, ...]:
    return tuple(name for name in names if name not in foreign)

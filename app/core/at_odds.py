"""Facts of a car that cannot all be true: each told with its field, and with what counts until one is mended.

Nothing is refused here and no date moves: which of the facts is the slip, only a person can say.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import date

from app.core.facts import CHANGES, Car, Event, Reason, ReliefDevice, Tank
from app.core.months import month_end
from app.core.rule import Rulebook, marked
from app.core.words import on_or_in, words

_CHANGES = frozenset(CHANGES)


def at_odds(
    car: Car, events: Sequence[tuple[int, Event]], rulebook: Rulebook
) -> tuple[Reason, ...]:
    """What contradicts itself in these facts; `events` each with its place in the question, in order of day."""
    return (
        *_strength(car.tank, rulebook),
        *_no_device(car.relief_device, events),
        *_on_before_built(car),
        *(told for place, event in events for told in _idle_outcome(place, event)),
    )


def device_before_built(device: ReliefDevice, built_on: date | None) -> Iterator[Reason]:
    """A relief device that was on the car before there was a car."""
    latest = device.installed_by or device.installed_on
    if built_on and latest and latest < built_on:
        path = "car.relief_device.installed_on"
        yield _before(
            "The relief device", on_or_in(device.installed_on, device.installed_by), built_on, path
        )


def _strength(tank: Tank, rulebook: Rulebook) -> Iterator[Reason]:
    material, stated = rulebook.materials.get(tank.material or ""), tank.tensile_psi
    if material is None or stated is None or stated == material.tensile_psi:
        return
    text = (
        f"A tensile strength of {float(stated):g} psi is stated, and {material.code} has "
        f"{float(material.tensile_psi):g} psi: the lesser counts, the safe side, since it asks for more plate"
    )
    told = marked(text, material.confidence)
    yield Reason(told, material.citation, path="car.tank.tensile_psi")


def _no_device(
    device: ReliefDevice | None, events: Sequence[tuple[int, Event]]
) -> Iterator[Reason]:
    """A device that is said not to be there, and facts that only one which is there can have."""
    if device and device.denied:
        text = (
            "It is stated that the car has no relief device, and one is on record as on it: counted with that "
            "device, the safe side. Take it off if it is gone, or mend what is stated"
        )
        yield Reason(text, path="car.relief_device.kind")
    if device is None or device.kind != "none":
        return
    stated = [*_facts_of(device), *_open_failure(events)]
    if stated:
        text = (
            f"It is stated that the car has no relief device, and of one {' and '.join(stated)}: "
            "counted as having none, so none falls due here. If there is one, state its kind"
        )
        yield Reason(text, path="car.relief_device.kind")


def _facts_of(device: ReliefDevice) -> Iterator[str]:
    if device.tested_on:
        yield f"its test on {device.tested_on}"
    if device.installed_on:
        yield f"its installation {on_or_in(device.installed_on, device.installed_by)}"
    if device.set_psig is not None:
        yield f"its setting of {float(device.set_psig):g} psig"


def _open_failure(events: Sequence[tuple[int, Event]]) -> Iterator[str]:
    """A failure that has not passed since; what passed may have come off the car."""
    inspected = [event for _, event in events if "relief_device" in event.items]
    if inspected and inspected[-1].outcome == "fail":
        yield f"a failed qualification on {inspected[-1].on}"


def _on_before_built(car: Car) -> Iterator[Reason]:
    if car.relief_device:
        yield from device_before_built(car.relief_device, car.built_on)
    sheeting, built = car.reflective_sheeting.installed_on, car.built_on
    # The first of a month may stand for the whole of it.
    latest = month_end(sheeting) if sheeting and sheeting.day == 1 else sheeting
    if built and latest and latest < built:
        path = "car.reflective_sheeting.installed_on"
        yield _before("The reflective sheeting", f"on {sheeting}", built, path)


def _before(what: str, when: str, built_on: date, path: str) -> Reason:
    text = (
        f"{what} is stated to have been put on {when}, before the car was built on {built_on}. Both days count "
        "as stated: the earlier one is the safe side for it, but if the day built is the slip, all that is "
        "counted from that is due earlier"
    )
    return Reason(text, path=path)


def _idle_outcome(place: int, event: Event) -> Iterator[Reason]:
    """A change is neither passed nor failed, and a reading without an item no more."""
    if event.outcome != "fail" or not _CHANGES.issuperset(event.items):
        return
    named = ", ".join(map(words, event.items))
    what = f"names only changes ({named})" if named else "names no item"
    text = (
        f"The event on {event.on} {what}, so there is nothing that failed: its outcome is left out. "
        "If an inspection failed, name its item"
    )
    yield Reason(text, path=f"events.{place}.outcome")

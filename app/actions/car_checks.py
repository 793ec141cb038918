"""What the page of a car checks beside its dates: stencil against facts, relief devices, test pressure."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from sqlalchemy.orm import Session

from app.actions import bench, rulebooks
from app.core.contradictions import of_car
from app.core.facts import Car, Reason
from app.core.relief import Judged, for_lading, in_words
from app.core.rule import Rulebook
from app.core.stencil import Specification, Unreadable, decode
from app.core.test_pressure import PressureNeeded, pressure_needed, pressure_within
from app.store.asked import Standpoint
from app.store.components import Mounted
from app.store.facts import CarRecord
from app.store.tables import Component, Installation


@dataclass(frozen=True, slots=True)
class DeviceCheck:
    """A relief device on the car and its pressures, each against what it may be."""

    label: str
    judged: Sequence[Judged]
    too_low: Sequence[Reason]


@dataclass(frozen=True, slots=True)
class Checks:
    """All checks of a car; `warnings` are settings outside their range or below what the lading asks."""

    contradictions: Sequence[Reason]
    devices: Sequence[DeviceCheck]
    pressure: PressureNeeded | None

    @property
    def warnings(self) -> list[Reason]:
        return [told for device in self.devices for told in _warnings(device)]


def checks(db: Session, record: CarRecord, mounted: Sequence[Mounted], at: Standpoint) -> Checks:
    """What to look at on a car, seen from a day and a moment. A stencil that cannot be read checks nothing."""
    rulebook = rulebooks.in_force(db, at.known_at).of(record.owner_id).rulebook
    try:
        spec = decode(record.car.specification, rulebook.stencils)
    except Unreadable:
        return Checks((), (), None)
    kinds = {each.component.kind for each in mounted}
    devices = [
        _device(spec, record.car, each, rulebook) for each in mounted if each.is_relief_device
    ]
    return Checks(
        of_car(record.car, record.events, kinds, rulebook),
        devices,
        pressure_needed(spec, record.car, rulebook),
    )


def _device(spec: Specification, car: Car, each: Mounted, rulebook: Rulebook) -> DeviceCheck:
    put_on = each.installation
    values = {name: put_on.as_stated(name) for name in bench.VALUES}
    judged = bench.judged(spec.text, car.built_on, each.component.kind, values, rulebook)
    return DeviceCheck(
        _label(put_on, each.component), judged, _too_low(spec, car, judged, rulebook)
    )


def _label(put_on: Installation, component: Component) -> str:
    said = (component.kind.replace("_", " "), put_on.position, component.serial)
    return " ".join(part for part in said if part)


def _too_low(
    spec: Specification, car: Car, judged: Sequence[Judged], rulebook: Rulebook
) -> list[Reason]:
    """A setting below the pressure that the lading itself reaches on a hot day (179.15(b))."""
    if spec.regime != "fusion_welded" or not car.service.pressures.has_vapor_pressure:
        return []
    floor = for_lading(pressure_within(spec, car), rulebook)
    return [
        Reason(
            f"{in_words(Judged('set', each.psig, 'outside', floor))}: {floor.reasons[0].text}",
            floor.reasons[0].citation,
        )
        for each in judged
        if each.measure == "set" and each.psig is not None and floor.beyond(each.psig)
    ]


def _warnings(device: DeviceCheck) -> list[Reason]:
    """The settings, and the tests as left, that lie outside; as found it is a finding of its day."""
    told = [
        Reason(f"{device.label}: {in_words(each)}", each.range.reasons[0].citation)
        for each in device.judged
        if each.verdict == "outside" and each.measure != "found"
    ]
    stricter = [warning for each in device.judged for warning in each.warnings]
    more = (*device.too_low, *stricter)
    return told + [Reason(f"{device.label}: {each.text}", each.citation) for each in more]

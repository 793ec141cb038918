"""Where the facts of a row contradict one another or the stencil: warnings beside rows that can be taken."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from decimal import Decimal
from fractions import Fraction
from typing import Any

from app.actions import bench
from app.actions.imports.stated import Stated
from app.core import facts as core
from app.core.at_odds import at_odds, device_before_built
from app.core.contradictions import Beside, contradictions, outlet_told
from app.core.facts import Reason
from app.core.months import month_end
from app.core.relief import Judged, in_words
from app.core.rule import Rulebook
from app.core.stencil import Unreadable, decode
from app.store.tables import RELIEF_KINDS

KIND_OF = {device: kind for kind, device in RELIEF_KINDS.items()}


def of_car(
    row: Stated, stored: Mapping[str, Any], beside: Beside, rulebook: Rulebook
) -> tuple[Reason, ...]:
    """`stored` is the construction known of the car; the row's specification can be read."""
    built = dict(stored) | row.about("construction")
    mark, number = row.about("name")["mark"], row.about("name")["number"]
    car = core.Car(
        mark=mark,
        number=number,
        specification=built["specification"],
        built_on=built.get("built_on"),
        tank=core.Tank(
            material=built.get("material"),
            tensile_psi=_exact(built.get("tensile_psi")),
            jacketed=built.get("jacketed"),
            insulated=built.get("insulated"),
            thermal_protection=built.get("thermal_protection"),
        ),
        relief_device=_device(row.about("relief_device")),
    )
    spec = decode(car.specification, rulebook.stencils)
    device = row.about("relief_device")
    kind = KIND_OF.get(device.get("kind"), "relief_device")
    judged = bench.judged(spec.text, car.built_on, kind, device, rulebook)
    odds = at_odds(car, (), rulebook)
    return contradictions(spec, car, beside, rulebook) + odds + outside(judged)


def early(device: Mapping[str, Any], built_on: date | None) -> tuple[Reason, ...]:
    """A relief device, as a row states it, that was on the car before there was a car."""
    put_on = _device(device)
    return tuple(device_before_built(put_on, built_on)) if put_on else ()


def about(told: Reason) -> str:
    """The column that a warning is about; what contradicts the stencil is about the specification."""
    if told.path is None:
        return "specification"
    return told.path.removeprefix("car.").removeprefix("tank.").replace(".", "_")


def _exact(value: Decimal | None) -> Fraction | None:
    return None if value is None else Fraction(value)


def _device(stated: Mapping[str, Any]) -> core.ReliefDevice | None:
    """The day of the relief device of a row, for what it contradicts."""
    if "installed_on" not in stated:
        return None
    on, month_only = stated["installed_on"]
    return core.ReliefDevice(installed_on=on, installed_by=month_end(on) if month_only else on)


def outside(judged: tuple[Judged, ...]) -> tuple[Reason, ...]:
    """A sentence for each pressure outside its range, cited; and the stricter figures that are missed."""
    told: list[Reason] = []
    for each in judged:
        if each.verdict == "outside":
            left = ". Was it left so?" if each.measure == "left" else ""
            told.append(Reason(in_words(each) + left, each.range.reasons[0].citation))
        told += each.warnings
    return tuple(told)


def wrong_outlet(specification: str, rulebook: Rulebook) -> tuple[Reason, ...]:
    """A bottom outlet that comes onto a car whose class has none."""
    try:
        spec = decode(specification, rulebook.stencils)
    except Unreadable:
        return ()
    return tuple(outlet_told(spec, Beside(bottom_outlet=True), rulebook))

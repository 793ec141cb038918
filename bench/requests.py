"""Requests of the contract for the cars of a store: what a program would send for the same fleet."""

from __future__ import annotations

from datetime import date
from fractions import Fraction
from typing import Any

from app.core.facts import Event, Facts

Json = dict[str, Any]

# What the register works out of a relief device, and knows of a lading, and no request states.
OURS = ("installed_by", "denied", "pressures")


def request_of(asked: Facts) -> Json:
    """The question as JSON values; what is not known is left out."""
    car = asked.car
    stated: Json = {
        "mark": car.mark,
        "number": car.number,
        "specification": car.specification,
        "built_on": car.built_on,
        "rebuilt_on": car.rebuilt_on,
        "tank": _fields(car.tank) | {"required_thickness_in": dict(car.tank.required_thickness_in)},
        "lining": _fields(car.lining) if car.lining else None,
        "service": _fields(car.service),
        "service_equipment": {"owner_interval_months": car.service_equipment_interval_months},
        "reflective_sheeting": _fields(car.reflective_sheeting),
        "stencil": {"marked_on": car.stencil.marked_on, "due": dict(car.stencil.due)},
        "approvals": [_fields(approval) for approval in car.approvals],
    }
    if car.relief_device:
        stated["relief_device"] = _fields(car.relief_device)
    events = [_event(event) for event in asked.events]
    return _plain({"as_of": asked.as_of, "car": stated, "events": events})


def _fields(part: object) -> Json:
    held = {name: getattr(part, name) for name in part.__dataclass_fields__}  # type: ignore[attr-defined]
    return {
        name: value for name, value in held.items() if name not in OURS and value not in (None, ())
    }


def _event(event: Event) -> Json:
    readings = [_fields(reading) for reading in event.readings]
    return {
        "on": f"{event.on:%Y-%m}" if event.month_only else event.on,
        "items": event.items,
        "outcome": event.outcome,
        "readings": readings,
        "opens": event.opens,
        "reference": event.reference,
    }


def _plain(value: Any) -> Any:
    if isinstance(value, dict):
        return {name: _plain(each) for name, each in value.items() if each is not None}
    if isinstance(value, (list, tuple)):
        return [_plain(each) for each in value]
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, Fraction):
        return int(value) if value.denominator == 1 else float(value)
    return value

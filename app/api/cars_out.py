"""A car of the register as the API shows it; its facts are the `car` of a due-date request."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields
from datetime import date, datetime
from fractions import Fraction
from typing import Annotated, Any

from pydantic import Field, PlainSerializer, SkipValidation

from app.answers.request import CarPart, ServicePart
from app.api.schemas import ItemOut, NextOut, Out, ReasonOut
from app.core import facts
from app.core.facts import Status
from app.core.status import state_on
from app.store.cars import CarListRow

# Shown in the shape of a request; the values are plain JSON already.
AsRequested = Annotated[SkipValidation[CarPart], PlainSerializer(lambda car: car)]


class NextStatusOut(NextOut):
    """What falls due first, and how it stands today."""

    status: Status


class CarRowOut(Out):
    """A car in a list, with what falls due first."""

    id: int
    mark: str
    number: int
    owner: str
    region: str
    standing: str
    specification: str
    commodity: str
    built_on: date | None
    next: NextStatusOut | None


class CarOut(Out):
    """A car with every fact in force on the day. `facts` can be sent to `/due-dates` as its `car`."""

    id: int
    as_of: date
    known_at: datetime | None = Field(description="the moment as known at; null is now")
    mark: str
    number: int
    owner: str
    region: str
    standing: str
    facts: AsRequested = Field(
        description="of several relief devices, the one that comes first is the `relief_device`"
    )
    due: list[ItemOut]
    contradictions: list[ReasonOut] = Field(
        description="where the facts do not fit what is stenciled; no due date changes by it"
    )


def row_out(row: CarListRow, today: date, soon_days: int) -> CarRowOut:
    first = None
    if row.next_item and row.next_state and row.next_due_on:
        status = state_on(row.next_state, row.next_due_on, today, soon_days)
        first = NextStatusOut(item=row.next_item, due_on=row.next_due_on, status=status)
    return CarRowOut(
        id=row.id,
        mark=row.mark,
        number=row.number,
        owner=row.owner,
        region=row.region,
        standing=row.standing,
        specification=row.specification,
        commodity=row.commodity,
        built_on=row.built_on,
        next=first,
    )


def facts_out(car: facts.Car) -> dict[str, Any]:
    """The facts of a car as a request states them; what nobody knows is left out."""
    interval = car.service_equipment_interval_months
    shown = {
        "mark": car.mark,
        "number": car.number,
        "specification": car.specification,
        "built_on": car.built_on,
        "rebuilt_on": car.rebuilt_on,
        "tank": _part(car.tank) | {"required_thickness_in": dict(car.tank.required_thickness_in)},
        "lining": car.lining and _part(car.lining),
        "service": {name: getattr(car.service, name) for name in ServicePart.model_fields},
        "relief_device": car.relief_device and _relief(car.relief_device),
        "service_equipment": {"owner_interval_months": interval},
        "reflective_sheeting": _part(car.reflective_sheeting),
        "stencil": {"marked_on": car.stencil.marked_on, "due": dict(car.stencil.due)},
        "approvals": [_part(each) for each in car.approvals],
    }
    plain: dict[str, Any] = _plain(shown)
    return plain


def _part(part: Any) -> dict[str, Any]:
    return {field.name: getattr(part, field.name) for field in fields(part)}


def _relief(device: facts.ReliefDevice) -> dict[str, Any]:
    shown = _part(device)
    del shown["denied"]  # a contradiction tells it
    last_possible = shown.pop("installed_by")
    if device.installed_on and last_possible != device.installed_on:
        shown["installed_on"] = f"{device.installed_on:%Y-%m}"
    return shown


def _plain(value: Any) -> Any:
    if isinstance(value, Mapping):
        return {key: _plain(each) for key, each in value.items() if each is not None}
    if isinstance(value, list):
        return [_plain(each) for each in value]
    if isinstance(value, Fraction):
        # At most six decimals, so that the float is written with the same digits.
        return int(value) if value.denominator == 1 else float(value)
    return value.isoformat() if isinstance(value, date) else value

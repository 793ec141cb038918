"""What checks across fields look at: a request that was read, or one with faults as far as it can be read."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any, get_args

from pydantic import BaseModel

from app.answers.request import EventPart, Request, When, when_read
from app.core.facts import CHANGES


@dataclass(frozen=True, slots=True)
class GivenEvent:
    """An event at its place in the list. `change` is a change to the car that it names."""

    place: int
    on: When | None
    change: str | None
    fails: bool
    empty: bool


@dataclass(frozen=True, slots=True)
class Given:
    """None is what was not given, or cannot be read."""

    as_of: When | None
    specification: str | None
    built_on: When | None
    rebuilt_on: When | None
    lining_applied_on: When | None
    material: str | None
    events: tuple[GivenEvent, ...]


def given(request: Request) -> Given:
    car = request.car
    return Given(
        as_of=request.as_of,
        specification=car.specification,
        built_on=car.built_on,
        rebuilt_on=car.rebuilt_on,
        lining_applied_on=car.lining.applied_on if car.lining else None,
        material=car.tank.material,
        events=tuple(_event(place, event) for place, event in enumerate(request.events)),
    )


def _event(place: int, event: EventPart) -> GivenEvent:
    empty = not event.items and not event.readings
    return GivenEvent(place, event.on, _change(event.items), event.outcome == "fail", empty)


def readable(payload: object) -> Given:
    """The same of a request as it was sent, whatever else is wrong with it."""
    car = _part(payload, "car")
    specification, material = car.get("specification"), _part(car, "tank").get("material")
    return Given(
        as_of=_when(_object(payload).get("as_of")),
        specification=specification if isinstance(specification, str) else None,
        built_on=_when(car.get("built_on")),
        rebuilt_on=_when(car.get("rebuilt_on")),
        lining_applied_on=_when(_part(car, "lining").get("applied_on")),
        material=material if isinstance(material, str) else None,
        events=tuple(_readable_events(_object(payload).get("events"))),
    )


def _readable_events(sent: object) -> Iterator[GivenEvent]:
    for place, event in enumerate(sent if isinstance(sent, list) else ()):
        if isinstance(event, dict):
            items, fails = event.get("items"), event.get("outcome") == "fail"
            named = items if isinstance(items, list) else []
            empty = items == [] and event.get("readings") in (None, [])
            yield GivenEvent(place, _when(event.get("on")), _change(named), fails, empty)


def _object(sent: object) -> Mapping[str, Any]:
    return sent if isinstance(sent, dict) else {}


def _part(sent: object, name: str) -> Mapping[str, Any]:
    return _object(_object(sent).get(name))


def _when(sent: object) -> When | None:
    try:
        return when_read(sent)
    except ValueError:
        return None


def _change(items: list[Any]) -> str | None:
    return next((item for item in items if item in CHANGES), None)


def place_in_order(path: str) -> tuple[int, ...]:
    """Where a path stands among the fields of a request, to sort faults by; unknown fields come last."""
    part: type[BaseModel] | None = Request
    places = []
    for step in path.split("."):
        known = list(part.model_fields) if part else []
        if step.isdigit():
            places.append(int(step))
        elif part and step in known:
            places.append(known.index(step))
            part = _inner(part.model_fields[step].annotation)
        else:
            places.append(len(known))
            part = None
    return tuple(places)


def _inner(annotation: Any) -> type[BaseModel] | None:
    """The part that stands in a field, alone, in a list, or perhaps not at all."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    return next(filter(None, map(_inner, get_args(annotation))), None)

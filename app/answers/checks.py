"""What no single field shows: dates that contradict one another, names that the rulebook does not know."""

from __future__ import annotations

from collections.abc import Iterator

from app.answers.request import EventPart, Request, When
from app.core.facts import CHANGES
from app.core.rule import Rulebook
from app.core.stencil import Unreadable, decode
from app.errors import Fault

_CHANGES = frozenset(CHANGES)


def contradictions(request: Request, rulebook: Rulebook) -> list[Fault]:
    """Every contradiction, in the order of the fields."""
    return [
        *_as_of(request),
        *_specification(request, rulebook),
        *_built(request),
        *_material(request, rulebook),
        *(
            fault
            for place, event in enumerate(request.events)
            for fault in _event(place, event, request)
        ),
    ]


def _as_of(request: Request) -> Iterator[Fault]:
    if request.as_of.month_only:
        yield Fault(
            "as_of",
            f"must be a day YYYY-MM-DD, got {_written(request.as_of)!r}: a month does not say which day is asked for",
        )


def _specification(request: Request, rulebook: Rulebook) -> Iterator[Fault]:
    try:
        decode(request.car.specification, rulebook.stencils)
    except Unreadable as error:
        yield Fault("car.specification", str(error))


def _built(request: Request) -> Iterator[Fault]:
    built = request.car.built_on
    if built is None:
        return
    if built.day > request.as_of.day:
        yield Fault(
            "car.built_on",
            f"must not lie after as_of ({_written(request.as_of)}), got {_written(built)}",
        )
    applied = request.car.lining.applied_on if request.car.lining else None
    for path, when in (
        ("car.rebuilt_on", request.car.rebuilt_on),
        ("car.lining.applied_on", applied),
    ):
        if when and when.day < built.day:
            yield Fault(
                path,
                f"must not lie before the car was built ({_written(built)}), got {_written(when)}",
            )


def _material(request: Request, rulebook: Rulebook) -> Iterator[Fault]:
    material = request.car.tank.material
    if material is not None and material not in rulebook.materials:
        known = ", ".join(rulebook.materials)
        yield Fault("car.tank.material", f"must be one of {known}, got {material!r}")


def _event(place: int, event: EventPart, request: Request) -> Iterator[Fault]:
    built, path = request.car.built_on, f"events.{place}.on"
    if built and event.on.day < built.day:
        yield Fault(
            path,
            f"must not lie before the car was built ({_written(built)}), got {_written(event.on)}",
        )
    changed = [item for item in event.items if item in _CHANGES]
    if event.on.month_only and (event.outcome == "fail" or changed):
        what = "a failing event" if event.outcome == "fail" else f"an event with {changed[0]}"
        yield Fault(
            path,
            f"must be a day YYYY-MM-DD for {what}, got {_written(event.on)}: "
            "the first of the month would not be the safe reading",
        )
    if not event.items and not event.readings:
        yield Fault(f"events.{place}.items", "must name at least one item")


def _written(when: When) -> str:
    return f"{when.day:%Y-%m}" if when.month_only else when.day.isoformat()

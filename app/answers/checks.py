"""What no single field shows: dates that contradict one another, names that the rulebook does not know."""

from __future__ import annotations

from collections.abc import Iterator

from app.answers.given import Given, GivenEvent
from app.answers.request import When
from app.core.rule import Rulebook
from app.core.stencil import Unreadable, decode
from app.errors import Fault


def contradictions(given: Given, rulebook: Rulebook) -> list[Fault]:
    """Every contradiction between fields that can be read, in the order of the checks."""
    return [
        *_as_of(given),
        *_specification(given, rulebook),
        *_built(given),
        *_material(given, rulebook),
        *(fault for event in given.events for fault in _event(event, given.built_on)),
    ]


def _as_of(given: Given) -> Iterator[Fault]:
    if given.as_of and given.as_of.month_only:
        yield Fault(
            "as_of",
            f"must be a day YYYY-MM-DD, got {_written(given.as_of)!r}: a month does not say which day is asked for",
        )


def _specification(given: Given, rulebook: Rulebook) -> Iterator[Fault]:
    if given.specification is None:
        return
    try:
        decode(given.specification, rulebook.stencils)
    except Unreadable as error:
        yield Fault("car.specification", str(error))


def _built(given: Given) -> Iterator[Fault]:
    built, as_of = given.built_on, given.as_of
    if built is None:
        return
    if as_of and built.day > as_of.day:
        yield Fault(
            "car.built_on",
            f"must not lie after as_of ({_written(as_of)}), got {_written(built)}",
        )
    for path, when in (
        ("car.rebuilt_on", given.rebuilt_on),
        ("car.lining.applied_on", given.lining_applied_on),
    ):
        if when and when.day < built.day:
            yield Fault(
                path,
                f"must not lie before the car was built ({_written(built)}), got {_written(when)}",
            )


def _material(given: Given, rulebook: Rulebook) -> Iterator[Fault]:
    material = given.material
    if material is not None and material not in rulebook.materials:
        known = ", ".join(rulebook.materials)
        yield Fault("car.tank.material", f"must be one of {known}, got {material!r}")


def _event(event: GivenEvent, built: When | None) -> Iterator[Fault]:
    path, on = f"events.{event.place}.on", event.on
    if on and built and on.day < built.day:
        yield Fault(
            path,
            f"must not lie before the car was built ({_written(built)}), got {_written(on)}",
        )
    if on and on.month_only and (event.fails or event.change):
        what = "a failing event" if event.fails else f"an event with {event.change}"
        yield Fault(
            path,
            f"must be a day YYYY-MM-DD for {what}, got {_written(on)}: "
            "the first of the month would not be the safe reading",
        )
    if event.empty:
        yield Fault(f"events.{event.place}.items", "must name at least one item")


def _written(when: When) -> str:
    return f"{when.day:%Y-%m}" if when.month_only else when.day.isoformat()

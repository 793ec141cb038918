"""How a hand-made car of the tour is put together: a plain car, and what is its own."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from seed_demo.ladings import BY_NAME
from seed_demo.shapes import OWNERS, TOUR_MARK, TOUR_REGION, DemoCar, Inspection, Part

GENERAL = "DOT 111A100W1"
# TC 128 at 119 in: the plate formula stays below the table's 7/16, which is then required and firm.
PLAIN_TANK = {"material": "TC128B", "inside_diameter_in": "119", "jacketed": "no"}
SOUND = "shell_top=0.470;shell_bottom=0.468;head_a=0.472;head_b=0.471"


def lading(name: str) -> dict[str, str]:
    return BY_NAME[name].columns()


METHANOL = lading("Methanol")
ACID = lading("Sulfuric acid")


def bottom(inches: str) -> str:
    """Sound readings but for the shell's bottom."""
    return f"shell_top=0.470;shell_bottom={inches};head_a=0.472;head_b=0.471"


def tour_car(
    number: int,
    shows: str,
    *events: Inspection,
    built_on: str = "",
    specification: str = GENERAL,
    service: Mapping[str, str] = METHANOL,
    parts: tuple[Part, ...] = (),
    **facts: str,
) -> DemoCar:
    """A car of the tour; the note on what it shows becomes the notes of its first event."""
    noted = (replace(events[0], notes=f"Tour: {shows}"), *events[1:])
    columns = {"built_on": built_on, **PLAIN_TANK, **service, **facts}
    owner = OWNERS[number % len(OWNERS)]
    return DemoCar(
        TOUR_MARK, number, specification, owner, TOUR_REGION, columns, noted, parts, shows
    )

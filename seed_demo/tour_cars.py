"""How a hand-made car of the tour is put together: a plain car, and what is its own.

The plain lading is one that no class 111 car has a last day for, so that the tour holds in any year.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from seed_demo.ladings import BY_NAME
from seed_demo.shapes import OWNERS, TOUR_MARK, TOUR_REGION, Days, DemoCar, Inspection, Part

GENERAL = "DOT 111A100W1"
# TC 128 at 119 in: the plate formula stays below the table's 7/16, which is then required and firm.
PLAIN_TANK = {"material": "TC128B", "inside_diameter_in": "119", "jacketed": "no"}
SOUND = "shell_top=0.470;shell_bottom=0.468;head_a=0.472;head_b=0.471"
# Enough for every pressure car of the tour, up to the 0.78704 that the formula asks for at 102 in and 500 psig.
THICK = "shell_top=0.812;shell_bottom=0.808;head_a=0.815;head_b=0.813"


def lading(name: str) -> dict[str, str]:
    return BY_NAME[name].columns()


SODA = lading("Sodium hydroxide solution")
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
    service: Mapping[str, str] = SODA,
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


def kept_up(car: DemoCar, days: Days) -> DemoCar:
    """The car with its air brakes tested and its sheeting new enough, so that only what it shows stands out."""
    sheeting = max(car.facts.get("built_on", ""), days.back(50))
    facts = {"reflective_sheeting_installed_on": sheeting, **car.facts}
    tested = any("air_brake" in event.items for event in car.events)
    more = () if tested else (Inspection(days.back(20), "air_brake"),)
    return replace(car, facts=facts, events=(*car.events, *more))

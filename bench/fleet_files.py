"""Files of a large invented fleet, the same for the same seed: cars, four events for each, and ten years of work."""

from __future__ import annotations

import csv
import random
from collections.abc import Iterator
from datetime import date, timedelta
from pathlib import Path

SPECIFICATIONS = (
    "DOT 111A100W1", "DOT 117R100W", "DOT 105J300W", "DOT 112J340W", "DOT 111A100W5",
    "DOT 111A60ALW1", "DOT 120J200W", "DOT 105J500W",
)  # fmt: skip
LADINGS = (
    ("Example Acid", "UN1789", "yes", "8", "II"),
    ("Example Fuel", "UN1993", "no", "3", "III"),
    ("Example Oil", "", "no", "", ""),
    ("Example Lye", "UN1824", "", "8", "II"),
    ("Example Gas", "UN1075", "no", "2.1", ""),
)
CARS = (
    "mark", "number", "specification", "built_on", "owner", "region", "commodity", "un",
    "corrosive_or_reactive", "hazard_class", "packing_group", "hazardous", "material",
    "inside_diameter_in", "jacketed", "relief_device_kind", "relief_device_set_psig",
    "relief_device_tested_on", "relief_device_installed_on", "stencil_marked_on",
    "stencil_due_visual",
)  # fmt: skip
EVENTS = (
    "mark", "number", "on", "items", "outcome", "facility", "inspector", "readings", "reference",
)  # fmt: skip
QUALIFICATION = "visual;structural_integrity;safety_systems;thickness"
EVENTS_OF_A_CAR = (
    (QUALIFICATION, True),
    ("service_equipment;relief_device;leakage", False),
    ("air_brake", False),
    ("thickness", True),
)
# Years ago, and what was done in the year from then on.
LAST_TEN_YEARS = (
    (10, "thickness"), (9, "air_brake"), (8, "thickness"), (6, "thickness"), (5, "air_brake"),
    (4, "thickness"), (2, "thickness"),
)  # fmt: skip
MEASURED = (
    "shell_top={}", "shell_bottom={}", "head_a={}", "head_b={}", "sump={}", "nozzle={}",
    "housing={}", "shell_bottom={} local 6/20",
)  # fmt: skip


def write(folder: Path, cars: int, today: date, seed: int = 179) -> tuple[Path, Path]:
    """The two files, `cars` cars and four times as many events."""
    dice = random.Random(seed)
    built = [today - timedelta(days=dice.randint(4_000, 14_000)) for _ in range(cars)]
    names = _names(cars)
    return (
        _write(folder / "cars.csv", CARS, _cars(names, built, dice)),
        _write(folder / "events.csv", EVENTS, _events(names, built, dice, today)),
    )


def write_history(folder: Path, cars: int, today: date, seed: int = 179) -> Path:
    """A third file: of each of the same cars what was measured and tested in the last ten years.

    Seven events a car, 40 readings, which wear on as time goes by.
    """
    dice = random.Random(seed + 1)
    return _write(folder / "history.csv", EVENTS, _history(_names(cars), dice, today))


def _names(cars: int) -> list[tuple[str, int]]:
    return [(f"ZQ{'KABX'[at % 4]}X", 100_000 + at) for at in range(cars)]


def _write(path: Path, header: tuple[str, ...], rows: Iterator[tuple[object, ...]]) -> Path:
    with path.open("w", newline="") as held:
        writer = csv.writer(held)
        writer.writerow(header)
        writer.writerows(rows)
    return path


def _cars(
    names: list[tuple[str, int]], built: list[date], dice: random.Random
) -> Iterator[tuple[object, ...]]:
    for (mark, number), on in zip(names, built, strict=True):
        lading, un, corrosive, hazard, group = dice.choice(LADINGS)
        tested = on + timedelta(days=dice.randint(0, 3_000))
        yield (
            mark, number, dice.choice(SPECIFICATIONS), on, f"Example Owner {number % 7}",
            f"Region {number % 5}", lading, un, corrosive, hazard, group, "yes" if un else "no",
            "A516-70", 119, "yes" if number % 2 else "no", "valve", 75, tested,
            tested + timedelta(days=dice.randint(0, 300)), on if number % 3 else "",
            on.year + 12 if number % 3 else "",
        )  # fmt: skip


def _events(
    names: list[tuple[str, int]], built: list[date], dice: random.Random, today: date
) -> Iterator[tuple[object, ...]]:
    for (mark, number), on in zip(names, built, strict=True):
        span = (today - on).days // len(EVENTS_OF_A_CAR)
        for place, (items, measured) in enumerate(EVENTS_OF_A_CAR):
            day = on + timedelta(days=place * span + dice.randint(1, span - 1))
            readings = ";".join(
                f"{zone}={dice.randint(380, 560) / 1000}"
                for zone in ("shell_top", "shell_bottom", "head_a", "head_b")
            )
            yield (
                mark, number, day, items, "pass", f"Example Shop {number % 11}",
                f"Inspector {number % 31}", readings if measured else "", f"R{number}-{place}",
            )  # fmt: skip


def _history(
    names: list[tuple[str, int]], dice: random.Random, today: date
) -> Iterator[tuple[object, ...]]:
    for mark, number in names:
        new, wear = dice.randint(500, 562), dice.uniform(0.5, 4.0)
        for place, (ago, items) in enumerate(LAST_TEN_YEARS):
            days = ago * 365 - dice.randint(1, 360)
            gone = wear * (3_650 - days) / 365
            readings = ";".join(
                f"{where.format(round(new - gone - dice.uniform(0, 6)) / 1000)}"
                for where in MEASURED
            )
            yield (
                mark, number, today - timedelta(days=days), items, "pass", f"Example Yard {number % 13}",
                f"Inspector {number % 29}", readings if items == "thickness" else "",
                f"H{number}-{place}",
            )  # fmt: skip

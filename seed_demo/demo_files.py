"""The demo as files: the CSV text that goes through the product's own import."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Mapping
from dataclasses import asdict
from datetime import date

from seed_demo import (
    fleet,
    tour_calendar,
    tour_checks,
    tour_devices,
    tour_directive,
    tour_last_days,
    tour_life,
    tour_lining,
    tour_mechanical,
    tour_other_tanks,
    tour_stencil,
    tour_thickness,
)
from seed_demo.ladings import LADINGS
from seed_demo.shapes import Days, DemoCar
from seed_demo.tour_cars import kept_up

SEED = 179
COUNT = 1_140
TANKS = (
    tour_calendar, tour_thickness, tour_lining, tour_devices, tour_stencil, tour_life,
    tour_last_days, tour_checks, tour_directive,
)  # fmt: skip
# Cars that bring the state of their brakes and sheeting themselves, or have none.
OTHERS = (tour_other_tanks, tour_mechanical)


def tour(today: date) -> list[DemoCar]:
    """The hand-made cars by number."""
    days = Days(today)
    tanks = [kept_up(car, days) for part in TANKS for car in part.cars(days)]
    others = [car for part in OTHERS for car in part.cars(days)]
    return sorted([*tanks, *others], key=lambda car: car.number)


def tour_table(today: date) -> str:
    """Each tour car and what it shows, as a table of Markdown."""
    rows = [f"| {car.mark} {car.number} | {car.shows} |" for car in tour(today)]
    return "\n".join(["| car | what it shows |", "| --- | --- |", *rows])


def all_cars(today: date, seed: int = SEED) -> list[DemoCar]:
    return [*tour(today), *fleet.cars(COUNT, seed, today)]


def texts(today: date, seed: int = SEED) -> dict[str, str]:
    """The CSV text of each kind of file, in the order in which they are brought in."""
    cars = all_cars(today, seed)
    return {
        "ladings": _csv({"name": row.name, **_renamed(row.columns())} for row in LADINGS),
        "cars": _csv(_car_row(car) for car in cars),
        "components": _csv(_named(car, asdict(part)) for car in cars for part in car.parts),
        "events": _csv(_named(car, asdict(event)) for car in cars for event in car.events),
    }


def _renamed(columns: Mapping[str, str]) -> dict[str, str]:
    return {name: value for name, value in columns.items() if name != "commodity"}


def _car_row(car: DemoCar) -> dict[str, str]:
    return {
        "mark": car.mark,
        "number": str(car.number),
        "specification": car.specification,
        "owner": car.owner,
        "region": car.region,
        **car.facts,
    }


def _named(car: DemoCar, row: Mapping[str, str]) -> dict[str, str]:
    return {"mark": car.mark, "number": str(car.number), **row}


def _csv(rows: Iterable[Mapping[str, str]]) -> str:
    """Columns in the order in which they are first met; what a row lacks stays empty."""
    found = list(rows)
    columns = list(dict.fromkeys(name for row in found for name in row))
    out = io.StringIO(newline="")
    writer = csv.DictWriter(out, columns, restval="", lineterminator="\n")
    writer.writeheader()
    writer.writerows(found)
    return out.getvalue()

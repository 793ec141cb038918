"""Tour cars 211 to 214: relief valves of the lot that the directive of the demo is about, and where they went."""

from __future__ import annotations

from seed_demo.shapes import TANK_ITEMS, Days, DemoCar, Inspection, Part
from seed_demo.tour_cars import SODA, SOUND, tour_car

LOT, OTHER_LOT = "L17", "L18"
# Months before the day of loading: as of when its cars are frozen, and when one valve was moved.
FROZEN, MOVED = 3, 1


def cars(days: Days) -> list[DemoCar]:
    moved = days.back(MOVED)
    return [
        _car(days, 211, "Carried a relief valve of the directive’s lot on its day; the valve went to 212 since.",
             _valve(days, 211, LOT, removed_on=moved),
             _valve(days, 211, OTHER_LOT, serial="RV-211 new", installed_on=moved),
             changed=moved),
        _car(days, 212, "Has the valve that 211 carried on the day of the directive: the order came with it.",
             _valve(days, 212, OTHER_LOT, removed_on=moved),
             _valve(days, 211, LOT, installed_on=moved), changed=moved),
        _car(days, 213, "Its relief valve of the lot was moved to 214 after the cars were frozen: both are told.",
             _valve(days, 213, LOT)),
        _car(days, 214, "Got the valve of 213 after the cars of the directive were frozen."),
    ]  # fmt: skip


def _car(days: Days, number: int, shows: str, *parts: Part, changed: str = "") -> DemoCar:
    done = Inspection(days.back(60), f"{TANK_ITEMS};service_equipment;leakage", SOUND)
    more = (Inspection(changed, "relief_device_changed;leakage"),) if changed else ()
    return tour_car(number, shows, done, *more, built_on=days.back(200), service=SODA, parts=parts)


def _valve(
    days: Days,
    number: int,
    lot: str,
    serial: str = "",
    installed_on: str = "",
    removed_on: str = "",
) -> Part:
    return Part(
        "relief_valve", "top B", serial or f"RV-{number}", lot=lot, set_psig="75",
        tested_on=days.back(50), installed_on=installed_on or days.back(50), removed_on=removed_on,
    )  # fmt: skip

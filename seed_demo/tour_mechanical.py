"""Tour cars 187 to 194: air brakes, reflective sheeting and age (parts 232, 224 and 215)."""

from __future__ import annotations

from seed_demo.shapes import WHOLE, Days, DemoCar, Inspection
from seed_demo.tour_cars import SOUND, tour_car


def cars(days: Days) -> list[DemoCar]:
    return [*_air_brakes(days), *_sheeting(days), _old(days)]


def _car(days: Days, number: int, shows: str, *more: Inspection, **facts: str) -> DemoCar:
    facts = {"built_on": days.back(240), "reflective_sheeting_installed_on": days.back(50)} | facts
    return tour_car(number, shows, Inspection(days.back(40), WHOLE, SOUND), *more, **facts)


def _air_brakes(days: Days) -> list[DemoCar]:
    young = days.back(62)
    return [
        _car(days, 187, "Five years old, brakes never tested: the first test is due after 8 years.",
             built_on=young),
        _car(days, 188, "Rebuilt after its last air brake test: 8 years from the rebuild.",
             Inspection(days.back(100), "air_brake"), rebuilt_on=days.back(41)),
        _car(days, 189, "Air brake test overdue: told, but it does not stop loading.",
             Inspection(days.back(70), "air_brake")),
    ]  # fmt: skip


def _sheeting(days: Days) -> list[DemoCar]:
    tested = days.back(10)
    by_panel = {"reflective_sheeting_method": "comparator"}
    return [
        _car(days, 190, "Reflective sheeting almost ten years old: to be replaced soon.",
             Inspection(tested, "air_brake"), reflective_sheeting_installed_on=days.back(118)),
        _car(days, 191, "Sheeting compared with a panel at the air brake test: by event.",
             Inspection(tested, "air_brake;reflective_sheeting"), **by_panel),
        _car(days, 192, "Brakes tested, sheeting not compared with the panel: due now.",
             Inspection(tested, "air_brake"), **by_panel),
        _car(days, 193, "Nobody knows when the sheeting was put on: unknown.",
             Inspection(tested, "air_brake"), built_on=days.back(420),
             reflective_sheeting_installed_on=""),
    ]  # fmt: skip


def _old(days: Days) -> DemoCar:
    brakes = Inspection(days.back(10), "air_brake")
    return _car(days, 194, "Built 49 years and seven months ago: its age limit is near.", brakes,
                built_on=days.back(595))  # fmt: skip

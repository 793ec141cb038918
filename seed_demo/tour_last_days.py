"""Tour cars 195 to 202: the last day for a lading, by poison and by flammable liquid (173.31, 173.241 to 243)."""

from __future__ import annotations

from collections.abc import Mapping

from seed_demo.shapes import WHOLE, Days, DemoCar, Inspection
from seed_demo.tour_cars import GENERAL, SOUND, THICK, lading, tour_car


def cars(days: Days) -> list[DemoCar]:
    return [*_flammable(days), *_poison(days)]


def _flammable(days: Days) -> list[DemoCar]:
    done = Inspection(days.back(40), WHOLE, SOUND)

    def car(number: int, shows: str, name: str, **facts: str) -> DemoCar:
        return tour_car(number, shows, done, built_on=days.back(150), specification=GENERAL,
                        service=lading(name), **facts)  # fmt: skip

    return [
        car(195, "Crude oil in a class 111 car without a jacket: past its last day, may not load.",
            "Petroleum crude oil"),
        car(196, "Ethanol in a jacketed CPC-1232 car: past its last day as well.", "Ethanol",
            jacketed="yes", built_to="CPC-1232"),
        car(197, "Flammable, packing group III: its last day is April 30, 2029.", "Butanols"),
    ]  # fmt: skip


def _poison(days: Days) -> list[DemoCar]:
    done = Inspection(days.back(40), WHOLE, THICK)

    def car(number: int, shows: str, specification: str = "DOT 105J500W",
            service: Mapping[str, str] = lading("Chlorine"), **facts: str) -> DemoCar:  # fmt: skip
        tank = {"inside_diameter_in": "84", "jacketed": "yes", "insulated": "yes"} | facts
        return tour_car(number, shows, done, built_on=days.back(130), service=service,
                        specification=specification, **tank)  # fmt: skip

    return [
        car(198, "Poisonous by inhalation, steel not normalized: barred since the end of 2020.",
            normalized_steel="no"),
        car(199, "Normalized steel, not built to the 2009 standard: barred after 2027-12-31.",
            normalized_steel="yes"),
        car(200, "Whether the steel is normalized is not on record: unknown, check."),
        car(201, "105H600W: the H says that it meets the 2009 standard, so it has no last day.",
            "DOT 105H600W", normalized_steel="yes", thermal_protection="yes"),
        car(202, "Crude oil in a class 117 car: no last day.", "DOT 117J100W",
            lading("Petroleum crude oil"), normalized_steel="yes", thermal_protection="yes"),
    ]  # fmt: skip

"""Tour cars 181 to 186: ton tanks (180.519), cryogenic cars (173.319(e)) and seamless cars."""

from __future__ import annotations

from seed_demo.shapes import Days, DemoCar, Inspection, Part
from seed_demo.tour_cars import kept_up, lading, tour_car

NO_TANK_FACTS = {"material": "", "inside_diameter_in": "", "jacketed": ""}
COLD = lading("Ethylene, refrigerated liquid")
COMPRESSED = lading("Example gas, compressed (invented)")
REFRIGERANT = lading("Refrigerant gas R 134a")


def cars(days: Days) -> list[DemoCar]:
    rolling = [*_cryogenic(days), _seamless(days)]
    return [*_ton_tanks(days), *(kept_up(car, days) for car in rolling)]


def _valve(number: int, position: str, set_psig: str, tested: str) -> tuple[Part, ...]:
    return (Part("relief_valve", position, f"RV-{number}", set_psig=set_psig, tested_on=tested,
                 installed_on=tested),)  # fmt: skip


def _ton_tanks(days: Days) -> list[DemoCar]:
    built, retested = days.back(150), Inspection(days.back(40), "tank_retest")

    def tank(
        number: int, shows: str, service: dict[str, str], months: int, **facts: str
    ) -> DemoCar:
        parts = _valve(number, "end A", "375", days.back(months))
        return tour_car(number, shows, retested, built_on=built, specification="DOT 106A500X",
                        service=service, parts=parts, **NO_TANK_FACTS, **facts)  # fmt: skip

    return [
        tank(181, "A ton tank: retested every 5 years, by December 31 of the year it falls due.",
             lading("Chlorine"), 20),
        tank(184, "A ton tank for fluorinated hydrocarbons only: its spring valve may go 5 years.",
             REFRIGERANT, 40, fluorinated_hydrocarbon_only="yes"),
        tank(185, "The same valve, but nobody states what the tank is used for: 2 years, overdue.",
             REFRIGERANT, 40),
    ]  # fmt: skip


def _cryogenic(days: Days) -> list[DemoCar]:
    def car(number: int, shows: str, months: int) -> DemoCar:
        replaced = Inspection(days.back(months), "rupture_disc")
        return tour_car(number, shows, replaced, built_on=days.back(150),
                        specification="DOT 113C120W", service=COLD, **NO_TANK_FACTS,
                        parts=_valve(number, "top B", "75", days.back(20)))  # fmt: skip

    return [
        car(
            182, "A cryogenic car: a new rupture disc every 12 months, so the next is due soon.", 8
        ),
        car(186, "A cryogenic car whose rupture disc is 13 months old: overdue, may not load.", 13),
    ]


def _seamless(days: Days) -> DemoCar:
    return tour_car(
        183,
        "A seamless car: the intervals of its old rules were not found, so unknown, check.",
        Inspection(days.back(40), "air_brake"),
        built_on=days.back(300),
        specification="DOT 107A2500",
        service=COMPRESSED,
        **NO_TANK_FACTS,
    )

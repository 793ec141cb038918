"""Tour cars 170 to 183: a car's life in the record, corrections, and cars of other regimes."""

from __future__ import annotations

from seed_demo.shapes import WHOLE, Days, DemoCar, Inspection, Part
from seed_demo.tour_cars import SOUND, bottom, lading, tour_car


def cars(days: Days) -> list[DemoCar]:
    return [*_standings(days), *_changes(days), *_corrections(days), *_other_regimes(days)]


def _plain(days: Days, number: int, shows: str, months: int = 60, **facts: str) -> DemoCar:
    return tour_car(
        number, shows, Inspection(days.back(months), WHOLE, SOUND), built_on=days.back(240), **facts
    )


def _standings(days: Days) -> list[DemoCar]:
    return [
        _plain(days, 170, "Sold: gone from the lists, not from the record."),
        _plain(days, 171, "Scrapped, long overdue: no list asks for it any more.", 140),
        _plain(days, 172, "In storage, overdue: it must be qualified before it returns.", 125),
        _plain(days, 173, "Out of service for a repair.", 119),
    ]


def _changes(days: Days) -> list[DemoCar]:
    return [
        _plain(days, 174, "Re-marked to ZQTX 974: the whole history came along."),
        tour_car(175, "Converted from 112A340W to 112J340W with a jacket; the history stays.",
                 Inspection(days.back(60), WHOLE, "shell_top=0.645;shell_bottom=0.642;"
                            "head_a=0.651;head_b=0.650"),
                 built_on=days.back(240), specification="DOT 112A340W", inside_diameter_in="118",
                 service=lading("Propane")),
        tour_car(176, "Put into an acid: line C now matters, and thickness became overdue.",
                 Inspection(days.back(70), WHOLE, bottom("0.402")), built_on=days.back(240)),
    ]  # fmt: skip


def _corrections(days: Days) -> list[DemoCar]:
    return [
        tour_car(177, "A reading was keyed as 0.374 for 0.474 and corrected: both stay visible.",
                 Inspection(days.back(12), WHOLE, bottom("0.374")), built_on=days.back(240)),
        tour_car(178, "An inspection recorded for the wrong car and withdrawn.",
                 Inspection(days.back(115), WHOLE, SOUND),
                 Inspection(days.back(5), "visual;structural_integrity"),
                 built_on=days.back(240)),
    ]  # fmt: skip


def _other_regimes(days: Days) -> list[DemoCar]:
    none = {"material": "", "inside_diameter_in": "", "jacketed": ""}
    tested = {"tested_on": days.back(20), "installed_on": days.back(20)}
    return [
        tour_car(181, "A ton tank: another regime, whose due items are not counted yet.",
                 Inspection(days.back(40), "tank_retest"), built_on=days.back(150),
                 specification="DOT 106A500X", service=lading("Chlorine"), **none,
                 parts=(Part("relief_valve", "end A", "RV-181", set_psig="375", **tested),)),
        tour_car(182, "A cryogenic car: another regime, whose due items are not counted yet.",
                 Inspection(days.back(8), "rupture_disc"), built_on=days.back(150),
                 specification="DOT 113C120W", service=lading("Ethylene, refrigerated liquid"),
                 **none,
                 parts=(Part("relief_valve", "top B", "RV-182", set_psig="75", **tested),)),
        tour_car(183, "A seamless car: its intervals were not found, so nothing is counted.",
                 Inspection(days.back(40), "air_brake"), built_on=days.back(300),
                 specification="DOT 107A2500", service=lading("Ethylene, refrigerated liquid"),
                 **none),
    ]  # fmt: skip

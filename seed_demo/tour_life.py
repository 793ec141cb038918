"""Tour cars 170 to 179: a car's life in the record, corrections, and a hold."""

from __future__ import annotations

from seed_demo.shapes import WHOLE, Days, DemoCar, Inspection
from seed_demo.tour_cars import SOUND, bottom, lading, tour_car


def cars(days: Days) -> list[DemoCar]:
    return [*_standings(days), *_changes(days), *_corrections(days), _held(days)]


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


def _held(days: Days) -> DemoCar:
    return _plain(
        days, 179, "In date, and put on hold: it is not loaded until somebody releases it.", 30
    )

"""Tour cars 140 to 148: linings, and thickness of lined cars (180.509(f)(2)(i), (i))."""

from __future__ import annotations

from seed_demo.shapes import EQUIPMENT_ITEMS, WHOLE, Days, DemoCar, Inspection
from seed_demo.tour_cars import SOUND, lading, tour_car

LINED = "DOT 111A100W5"
MURIATIC = lading("Hydrochloric acid")
RUBBER = "natural rubber"
WITHOUT_THICKNESS = f"visual;structural_integrity;safety_systems;{EQUIPMENT_ITEMS}"


def cars(days: Days) -> list[DemoCar]:
    return [*_intervals(days), *_unknown(days), *_changed(days)]


def _intervals(days: Days) -> list[DemoCar]:
    built = days.back(180)

    def lined(number: int, shows: str, months: int, **facts: str) -> DemoCar:
        applied = Inspection(days.back(months, 3), WHOLE, SOUND)
        return tour_car(number, shows, applied, built_on=built, specification=LINED,
                        service=MURIATIC, lining_kind=RUBBER,
                        lining_applied_on=days.back(months), **facts)  # fmt: skip

    return [
        lined(140, "Lined and measured at the lining: the lining by its interval, thickness by "
              "event.", 30, lining_interval_months="72"),
        lined(141, "The lining owner gave no interval: 8 years is the outer bound.", 30),
        lined(142, "Ten years between linings, with the service history that the rule asks for.",
              40, lining_interval_months="120", lining_documented="yes"),
        lined(143, "Ten years asked for, nothing documented: cut to 8 years, and so overdue.",
              100, lining_interval_months="120", lining_documented="no"),
    ]  # fmt: skip


def _unknown(days: Days) -> list[DemoCar]:
    built = days.back(180)
    return [
        tour_car(144, "Lined by its specification (W5), but no lining is on record: unknown, and told.",
                 Inspection(days.back(40), WHOLE, SOUND), built_on=built, specification=LINED,
                 service=MURIATIC),
        tour_car(145, "Lined, but the lading is not corrosive: no lining inspection required.",
                 Inspection(days.back(40), WHOLE, SOUND), built_on=built,
                 lining_kind="epoxy", lining_applied_on=days.back(39)),
        tour_car(148, "Lined without a thickness measurement at the lining: unknown, check.",
                 Inspection(days.back(40), WITHOUT_THICKNESS), built_on=built,
                 specification=LINED, service=MURIATIC, lining_kind=RUBBER,
                 lining_applied_on=days.back(39), lining_interval_months="84"),
    ]  # fmt: skip


def _changed(days: Days) -> list[DemoCar]:
    built, facts = days.back(180), {"lining_kind": RUBBER, "lining_interval_months": "84"}
    first = Inspection(days.back(60), WHOLE, SOUND)
    return [
        tour_car(146, "The lining failed its inspection: due now until it is relined.", first,
                 Inspection(days.back(1), "lining", outcome="fail"), built_on=built,
                 specification=LINED, service=MURIATIC, lining_applied_on=days.back(59), **facts),
        tour_car(147, "The lining was taken out: unlined now; visual and thickness are owed.",
                 first, Inspection(days.back(1), "lining_removed"), built_on=built,
                 service=MURIATIC, lining_applied_on=days.back(59), **facts),
        tour_car(149, "Relined and measured last year: an event carries the new lining.", first,
                 Inspection(days.back(12), "thickness;lining_applied", SOUND), built_on=built,
                 specification=LINED, service=MURIATIC, lining_applied_on=days.back(90), **facts),
    ]  # fmt: skip

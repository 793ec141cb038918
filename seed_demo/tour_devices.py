"""Tour cars 150 to 159: relief devices (180.509(k), 180.515(c))."""

from __future__ import annotations

from collections.abc import Mapping

from seed_demo.shapes import TANK_ITEMS, Days, DemoCar, Inspection, Part
from seed_demo.tour_cars import SODA, SOUND, lading, tour_car

VALVE, DISC = "relief_valve", "relief_disc"


def cars(days: Days) -> list[DemoCar]:
    return [*_several(days), *_six_months(days), *_unknown(days)]


def _car(days: Days, number: int, shows: str, *parts: Part, more: tuple[Inspection, ...] = (),
         service: Mapping[str, str] = SODA, **facts: str) -> DemoCar:  # fmt: skip
    done = Inspection(days.back(60), f"{TANK_ITEMS};service_equipment;leakage", SOUND)
    return tour_car(number, shows, done, *more, built_on=days.back(200), service=service,
                    parts=parts, **facts)  # fmt: skip


def _valve(number: int, position: str = "top B", **known: str) -> Part:
    return Part(VALVE, position, f"RV-{number}{position[-1]}", set_psig="75", **known)


def _several(days: Days) -> list[DemoCar]:
    return [
        _car(days, 150, "Two relief valves: the list shows the one that falls due first.",
             _valve(150, tested_on=days.back(30), installed_on=days.back(30)),
             _valve(150, "top A", tested_on=days.back(115), installed_on=days.back(115))),
        _car(days, 156, "The owner has this relief valve tested every five years.",
             _valve(156, tested_on=days.back(50), installed_on=days.back(50),
                    interval_months="60")),
        _car(days, 157, "A rupture disc: always counted from its own date.",
             Part(DISC, "top B", "RD-157", set_psig="165", tested_on=days.back(50),
                  installed_on=days.back(47), protected_in_storage="yes")),
        _car(days, 159, "No relief device at all: no such item.", relief_device_kind="none",
             service=lading("Corn syrup")),
    ]  # fmt: skip


def _six_months(days: Days) -> list[DemoCar]:
    return [
        _car(days, 151, "Tested, kept protected, installed four months later: counts from the "
             "installation.",
             _valve(151, tested_on=days.back(50), installed_on=days.back(46),
                    protected_in_storage="yes")),
        _car(days, 152, "Installed eight months after the test: the test date counts.",
             _valve(152, tested_on=days.back(50), installed_on=days.back(42),
                    protected_in_storage="yes")),
        _car(days, 155, "Installed soon after the test, but not protected meanwhile: the test "
             "counts.",
             _valve(155, tested_on=days.back(50), installed_on=days.back(47),
                    protected_in_storage="no")),
    ]  # fmt: skip


def _unknown(days: Days) -> list[DemoCar]:
    return [
        _car(days, 153, "The relief device was replaced after the one on record: unknown, check.",
             _valve(153, tested_on=days.back(50), installed_on=days.back(50)),
             more=(Inspection(days.back(5), "relief_device_changed;leakage"),)),
        _car(days, 154, "Installed on a known day, tested nobody knows when: unknown.",
             _valve(154, installed_on=days.back(50))),
        _car(days, 158, "A relief valve that failed its test and was replaced by a tested one.",
             Part(VALVE, "top B", "RV-158 old", set_psig="75", tested_on=days.back(60),
                  installed_on=days.back(60), removed_on=days.back(2)),
             Part(VALVE, "top B", "RV-158 new", set_psig="75", tested_on=days.back(3),
                  installed_on=days.back(2), protected_in_storage="yes",
                  found_psig="75.5", left_psig="75"),
             more=(Inspection(days.back(3), "relief_device", outcome="fail"),
                   Inspection(days.back(2), "relief_device_changed;leakage"))),
    ]  # fmt: skip

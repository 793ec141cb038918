"""Tour cars 101 to 119: calendar items, what they count from, and what is owed."""

from __future__ import annotations

from seed_demo.shapes import EQUIPMENT_ITEMS, SHOPS, TANK_ITEMS, WHOLE, Days, DemoCar, Inspection
from seed_demo.tour_cars import SOUND, lading, tour_car


def cars(days: Days) -> list[DemoCar]:
    return [*_counted(days), *_counted_otherwise(days), *_owed(days), *_more(days)]


def _whole(on: str) -> Inspection:
    return Inspection(on, WHOLE, SOUND)


def _counted(days: Days) -> list[DemoCar]:
    built = days.back(250)
    return [
        tour_car(101, "Everything done together and in date.", _whole(days.back(40)),
                 built_on=built),
        tour_car(102, "Overdue: the last inspection was ten years ago and more. May not load.",
                 _whole(days.back(121, 5)), built_on=built),
        tour_car(103, "Soon: everything falls due within three months.",
                 _whole(days.back(117)), built_on=built),
        tour_car(104, "The due day itself: ten years ago to the day, still in date until tonight.",
                 _whole(days.back(120)), built_on=built),
    ]  # fmt: skip


def _counted_otherwise(days: Days) -> list[DemoCar]:
    return [
        tour_car(105, "Never inspected since built: construction counts as the first time.",
                 Inspection(days.back(30), "air_brake"), built_on=days.back(31)),
        tour_car(106, "Nothing to count from: no built date, no inspection. Unknown, so check.",
                 Inspection(days.back(30), "air_brake")),
        tour_car(107, "Old papers give only a month: it counts as the first day of it.",
                 _whole(days.month(70)), built_on=days.back(260)),
        tour_car(108, "Done on a February 29: ten years later it is due on February 28.",
                 _whole(days.leap_day()), built_on=days.back(260)),
    ]  # fmt: skip


def _owed(days: Days) -> list[DemoCar]:
    built, before = days.back(240), _whole(days.back(60))
    return [
        tour_car(109, "A failed structural integrity inspection: due now until it passes.", before,
                 Inspection(days.back(2), "structural_integrity", outcome="fail"), built_on=built),
        tour_car(110, "Failed, repaired, passed two months later: counts from the pass.", before,
                 Inspection(days.back(14), "structural_integrity", outcome="fail"),
                 Inspection(days.back(12), "structural_integrity"), built_on=built),
        tour_car(111, "Accident damage: visual, structural integrity and thickness are owed.",
                 before, Inspection(days.back(0, 20), "damage"), built_on=built),
        tour_car(112, "Damage for which the report names the work owed: visual only.", before,
                 built_on=built),
        tour_car(113, "Insulation removed and the bare shell inspected in the same visit: closed.",
                 before, Inspection(days.back(3), "insulation_removed;visual"), built_on=built,
                 insulated="yes"),
        tour_car(114, "Overdue, but its lading is not hazardous: it may load.",
                 _whole(days.back(124)), built_on=built, service=lading("Corn syrup")),
    ]  # fmt: skip


def _more(days: Days) -> list[DemoCar]:
    built = days.back(240)
    return [
        tour_car(115, "A valve was replaced and nothing says that it was leak-tested: the leak test is due now.",
                 _whole(days.back(60)),
                 Inspection(days.back(1), "service_equipment_changed"), built_on=built),
        tour_car(116, "Service equipment qualified, and no leak test on record with it: unknown, check.",
                 _whole(days.back(60)),
                 Inspection(days.back(6), "service_equipment"), built_on=built),
        tour_car(117, "The owner has service equipment done every five years.",
                 _whole(days.back(50)), built_on=built, service_equipment_interval_months="60"),
        tour_car(118, "Tank and service equipment done in different years at different shops.",
                 Inspection(days.back(80), TANK_ITEMS, SOUND),
                 Inspection(days.back(20), EQUIPMENT_ITEMS, facility=SHOPS[3]),
                 built_on=built),
        tour_car(119, "An inspection ordered by the authority, still open.",
                 _whole(days.back(60)),
                 Inspection(days.back(0, 40), "ordered_inspection"), built_on=built),
    ]  # fmt: skip

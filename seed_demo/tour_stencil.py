"""Tour cars 160 to 166: what is painted on the car, and approvals (180.509(l), 180.515(a))."""

from __future__ import annotations

from seed_demo.shapes import WHOLE, Days, DemoCar, Inspection
from seed_demo.tour_cars import SOUND, tour_car


def cars(days: Days) -> list[DemoCar]:
    return [*_stencils(days), *_approvals(days)]


def _stencils(days: Days) -> list[DemoCar]:
    built, done = days.back(240), Inspection(days.back(60), WHOLE, SOUND)
    year = str(days.day(-36).year)
    return [
        tour_car(160, "A year is painted, earlier than counted: the stencil controls.", done,
                 built_on=built, stencil_marked_on=days.back(60), stencil_due_visual=year,
                 stencil_due_structural_integrity=year),
        tour_car(161, "Painted later than ten years: the rule's maximum controls, with a warning.",
                 done, built_on=built, stencil_marked_on=days.back(60),
                 stencil_due_visual=days.back(-80)),
        tour_car(162, "Requalified, but the old stencil, now past, is still on the car: check.",
                 Inspection(days.back(125), WHOLE, SOUND), Inspection(days.back(6), WHOLE, SOUND),
                 built_on=built, stencil_marked_on=days.back(125), stencil_due_visual=days.back(5)),
        tour_car(163, "No papers, no built date: the painted date is all there is, so it controls.",
                 Inspection(days.back(30), "air_brake"), stencil_due_visual=days.back(-20),
                 stencil_due_structural_integrity=days.back(-20)),
    ]  # fmt: skip


def _approvals(days: Days) -> list[DemoCar]:
    built = days.back(240)
    return [
        tour_car(164, "An approval for 144 months, painted on the car: it replaces the ten years.",
                 Inspection(days.back(130), "structural_integrity"),
                 Inspection(days.back(60), WHOLE.replace("structural_integrity;", ""), SOUND),
                 built_on=built, approval_structural_integrity_interval_months="144",
                 approval_structural_integrity_reference="EX-144 (invented)",
                 approval_structural_integrity_stenciled="yes"),
        tour_car(165, "An approval not yet painted on the car: it changes nothing and is told.",
                 Inspection(days.back(60), WHOLE, SOUND), built_on=built,
                 approval_visual_interval_months="144",
                 approval_visual_reference="EX-145 (invented)", approval_visual_stenciled="no"),
        tour_car(166, "An approval that shortens the interval for service equipment to 48 months.",
                 Inspection(days.back(40), WHOLE, SOUND), built_on=built,
                 approval_service_equipment_interval_months="48",
                 approval_service_equipment_reference="EX-146 (invented)",
                 approval_service_equipment_stenciled="yes"),
    ]  # fmt: skip

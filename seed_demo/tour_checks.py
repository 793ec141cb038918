"""Tour cars 203 to 210: what does not fit the stencil, a relief device's range, or a lading's pressure."""

from __future__ import annotations

from seed_demo.shapes import WHOLE, Days, DemoCar, Inspection, Part
from seed_demo.tour_cars import ACID, SOUND, THICK, lading, tour_car

# Invented but likely figures of propane, so that the sum can be followed: psig.
PRESSURES = {
    "vapor_pressure_psig_115f": "214",
    "vapor_pressure_psig_105f": "187",
    "static_head_psig": "4",
    "gas_pad_psig": "0",
    "loading_pressure_psig": "140",
    "poison_by_inhalation": "no",
}


def cars(days: Days) -> list[DemoCar]:
    return [*_relief(days), *_stencil(days), *_pressure(days)]


def _relief(days: Days) -> list[DemoCar]:
    day = days.back(40)

    def car(number: int, shows: str, set_psig: str, **bench: str) -> DemoCar:
        valve = Part("relief_valve", "top B", f"RV-{number}", set_psig=set_psig, tested_on=day,
                     installed_on=day, **bench)  # fmt: skip
        return tour_car(number, shows, Inspection(day, WHOLE, SOUND), built_on=days.back(240),
                        parts=(valve,))  # fmt: skip

    return [
        car(203, "A relief valve set to 60 psig, where 75 is the least: told on the car.", "60"),
        car(204, "A bench test left the valve at 82 psig, outside 72 to 78: told on the car.", "75",
            found_psig="84", left_psig="82", vapor_tight_psig="61"),
        car(205, "Found at 69 psig, left at 75.5: outside as found, within as left.", "75",
            found_psig="69", left_psig="75.5", vapor_tight_psig="62"),
    ]  # fmt: skip


def _stencil(days: Days) -> list[DemoCar]:
    sound, thick = (Inspection(days.back(40), WHOLE, readings) for readings in (SOUND, THICK))
    outlet = Part("bottom_outlet", "bottom", "BO-206", installed_on=days.back(40))
    return [
        tour_car(206, "A bottom outlet on a W2 car, whose specification has none: told.", sound,
                 built_on=days.back(240), specification="DOT 111A100W2", service=ACID,
                 parts=(outlet,)),
        tour_car(207, "Class 105, which is insulated, recorded as not insulated: told.", thick,
                 built_on=days.back(240), specification="DOT 105J300W", inside_diameter_in="100",
                 service=lading("Vinyl chloride, stabilized"), jacketed="yes", insulated="no"),
        tour_car(208, "The I of 105J600I was dropped: to be stenciled 105H600W.", thick,
                 built_on=days.back(130), specification="DOT 105J600I", inside_diameter_in="84",
                 service=lading("Chlorine"), jacketed="yes", insulated="yes",
                 built_to="PIH-2009", normalized_steel="yes", thermal_protection="yes"),
    ]  # fmt: skip


def _pressure(days: Days) -> list[DemoCar]:
    done = Inspection(days.back(40), WHOLE, THICK)

    def car(number: int, shows: str, specification: str) -> DemoCar:
        return tour_car(number, shows, done, built_on=days.back(240), specification=specification,
                        service=lading("Propane") | PRESSURES, inside_diameter_in="100",
                        jacketed="yes", insulated="yes", thermal_protection="yes")  # fmt: skip

    return [
        car(209, "Propane asks for a test pressure of 254 psig, and the car is marked 200.",
            "DOT 105J200W"),
        car(210, "The same propane in a car marked 340: enough.", "DOT 112J340W"),
    ]  # fmt: skip

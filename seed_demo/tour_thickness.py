"""Tour cars 120 to 138: thickness against lines C, D and E, and the five-year case (180.509(f)).

For the plain tank 7/16 in is required; at the bottom of the shell line C is 0.40625, D 0.375,
E 0.3125 (180.509(g)).
"""

from __future__ import annotations

from seed_demo.shapes import EQUIPMENT_ITEMS, WHOLE, Days, DemoCar, Inspection
from seed_demo.tour_cars import ACID, SOUND, bottom, lading, tour_car

WITHOUT_THICKNESS = f"visual;structural_integrity;safety_systems;{EQUIPMENT_ITEMS}"


def cars(days: Days) -> list[DemoCar]:
    return [
        *_line_c(days),
        *_condemned_or_not(days),
        *_not_sure(days),
        *_required(days),
        _worn(days),
    ]


def _line_c(days: Days) -> list[DemoCar]:
    built = days.back(200)

    def measured(reading: str) -> Inspection:
        return Inspection(days.back(40), WHOLE, bottom(reading))

    return [
        tour_car(120, "Corrosive lading and the bottom exactly at line C: thickness every 5 years.",
                 measured("0.40625"), built_on=built, service=ACID),
        tour_car(121, "Corrosive lading, all zones above line C: 10 years. It takes both for 5.",
                 measured("0.407"), built_on=built, service=ACID),
        tour_car(122, "Below line C, but the lading is stated not corrosive: 10 years.",
                 measured("0.400"), built_on=built),
        tour_car(123, "Below line C and nobody stated whether the lading is corrosive: assumed so.",
                 measured("0.400"), built_on=built, service=lading("Adiponitrile")),
        tour_car(133, "Stated not corrosive, but 3.1 mil a year was measured: the rate wins.",
                 measured("0.400"), built_on=built,
                 service=lading("Ethanolamine") | {"corrosion_rate_mil_per_year": "3.1"}),
        tour_car(134, "Exactly 2.5 mil a year is not above it: not corrosive, 10 years.",
                 measured("0.400"), built_on=built,
                 service=lading("Ethanolamine") | {"corrosion_rate_mil_per_year": "2.5"}),
    ]  # fmt: skip


def _condemned_or_not(days: Days) -> list[DemoCar]:
    built = days.back(300)

    def measured(reading: str) -> Inspection:
        return Inspection(days.back(20), WHOLE, bottom(reading))

    return [
        tour_car(124, "General reading exactly at line D: still allowed.",
                 measured("0.375"), built_on=built, service=ACID),
        tour_car(125, "General reading below line D: condemned, may not load whatever the lading.",
                 measured("0.374"), built_on=built, service=lading("Corn syrup")),
        tour_car(126, "The same reading as a small local spot: above line E, not condemned.",
                 measured("0.374 local 6/20"), built_on=built),
        tour_car(127, "A spot of 9 in is no longer local: judged as general, condemned.",
                 measured("0.374 local 9/20"), built_on=built),
        tour_car(128, "A local spot exactly at line E: still allowed.",
                 measured("0.3125 local 6/20"), built_on=built),
    ]  # fmt: skip


def _not_sure(days: Days) -> list[DemoCar]:
    built = days.back(200)
    return [
        tour_car(129, "Corrosive lading and never measured: 5 years from construction, long past.",
                 Inspection(days.back(40), WITHOUT_THICKNESS), built_on=built, service=ACID),
        tour_car(130, "No material, no diameter: what is required is not firm, so 5 years.",
                 Inspection(days.back(40), WHOLE, SOUND), built_on=built, service=ACID,
                 material="", inside_diameter_in=""),
        tour_car(136, "Class 115: only the owner's minimum could judge it, and none is given.",
                 Inspection(days.back(40), WHOLE, SOUND), built_on=built,
                 specification="DOT 115A60W6", material="A240-316L"),
    ]  # fmt: skip


def _required(days: Days) -> list[DemoCar]:
    built = days.back(200)
    return [
        tour_car(131, "The owner's own minimum of 1/2 in beats the table: line C is higher.",
                 Inspection(days.back(40), WHOLE, bottom("0.465")), built_on=built, service=ACID,
                 required_thickness_in_shell_bottom="0.5"),
        tour_car(132, "A516-70 at 119 in: the plate formula asks for 0.47222, more than the table.",
                 Inspection(days.back(40), WHOLE, bottom("0.440")), built_on=built, service=ACID,
                 material="A516-70"),
        tour_car(135, "A spot check at a repair lowers a zone; it never raises one.",
                 Inspection(days.back(40), WHOLE, SOUND),
                 Inspection(days.back(4), "repair_reducing_thickness;thickness",
                            "shell_bottom=0.405"),
                 built_on=built, service=ACID),
        tour_car(137, "A pressure car: thicker plate, the 200 psig allowance of 1/32 in.",
                 Inspection(days.back(40), WHOLE, "shell_top=0.645;shell_bottom=0.642;"
                            "head_a=0.651;head_b=0.650"),
                 built_on=built, service=lading("Propane"), specification="DOT 112J340W",
                 inside_diameter_in="118", jacketed="yes", thermal_protection="yes"),
    ]  # fmt: skip


def _worn(days: Days) -> DemoCar:
    read = ((170, "0.441"), (130, "0.434"), (80, "0.424"), (20, "0.415"))
    tests = [Inspection(days.back(months), WHOLE, bottom(inches)) for months, inches in read]
    return tour_car(
        138, "A bottom that wears by about 2 mil a year: when it would come to C and D is under Wear over the years.",
        *tests, built_on=days.back(200), service=ACID,
    )  # fmt: skip

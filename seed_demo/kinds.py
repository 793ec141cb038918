"""The kinds of car in the invented fleet: what is stenciled, what of, and what they carry."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

TC128 = {"material": "TC128B"}
A516 = {"material": "A516-70"}
JACKETED = {"jacketed": "yes", "insulated": "yes"}
BARE = {"jacketed": "no", "insulated": "no"}
THERMAL = {"jacketed": "yes", "thermal_protection": "yes"}
STAINLESS = {"material": "A240-316L"}
ENHANCED = {"built_to": "PIH-2009", "normalized_steel": "yes", "thermal_protection": "yes"}


@dataclass(frozen=True, slots=True)
class Kind:
    """`plate_in` is the plate as bought, `wear_in` the most that service took from the bottom.

    `equipment_months` is how often the owner has service equipment done; `valves` how many
    relief valves there are. No car of the kind is built before `since` or from `until` on.
    """

    specification: str
    weight: int
    ladings: tuple[str, ...]
    plate_in: float
    diameter_in: str
    tank: Mapping[str, str] = field(default_factory=dict)
    wear_in: float = 0.010
    lining: str = ""
    equipment_months: int = 120
    valves: int = 1
    set_psig: str = "75"
    since: str = ""
    until: str = ""

    @property
    def may_have_outlet(self) -> bool:
        return self.specification.endswith(("W1", "W6"))


SOLVENTS = (
    "Methanol", "Toluene", "Xylenes", "Isopropanol", "Acetone", "Butanols", "Benzene",
    "Styrene monomer, stabilized", "Cyclohexane", "Aniline",
)  # fmt: skip
# Days from which cars were built to a standard, about: common practice.
CPC_1232, CLASS_117, PIH_2009 = "2011-10-01", "2015-10-01", "2009-04-01"

KINDS = (
    Kind("DOT 111A100W1", 10, SOLVENTS, 0.4625, "119", TC128 | BARE, until=CPC_1232),
    Kind("DOT 111A100W1", 12, SOLVENTS, 0.5125, "119", TC128 | BARE | {"built_to": "CPC-1232"},
         since=CPC_1232),
    Kind("DOT 111A100W1", 10, ("Sodium hydroxide solution", "Potassium hydroxide solution"),
         0.500, "110", A516 | JACKETED),
    Kind("DOT 111A100W2", 7, ("Sulfuric acid", "Sulfuric acid, spent"),
         0.475, "96", A516 | BARE, wear_in=0.100, equipment_months=60),
    Kind("DOT 111A100W5", 8,
         ("Hydrochloric acid", "Ferric chloride solution", "Hypochlorite solution",
          "Fluorosilicic acid"),
         0.480, "100", A516 | BARE, lining="natural rubber", equipment_months=60),
    Kind("DOT 111A100W6", 5,
         ("Acetic acid, glacial", "Formaldehyde solution", "Phosphoric acid solution"),
         0.475, "104", STAINLESS | JACKETED, equipment_months=60),
    Kind("DOT 111A100ALW1", 2, ("Hydrogen peroxide, aqueous solution",),
         0.970, "102", {"material": "AL5254"} | BARE, equipment_months=60),
    Kind("DOT 111A100W3", 6, ("Phenol, molten", "Maleic anhydride, molten", "Sulfur, molten"),
         0.490, "105", A516 | JACKETED, equipment_months=60),
    Kind("DOT 111A100W3", 12, ("Corn syrup", "Soybean oil", "Ethylene glycol"),
         0.490, "112", A516 | JACKETED),
    Kind("DOT 111A60W1", 3, ("Kaolin clay slurry", "Urea ammonium nitrate solution"),
         0.460, "110", A516 | BARE),
    Kind("DOT 117J100W", 9, ("Denatured alcohol", "Ethanol", "Gasoline"),
         0.5825, "119", TC128 | THERMAL | {"normalized_steel": "yes"}, since=CLASS_117),
    Kind("DOT 117R100W", 4, ("Denatured alcohol", "Diesel fuel"),
         0.5825, "119", TC128 | THERMAL),
    Kind("DOT 112J340W", 9, ("Propane", "Butane", "Propylene", "Petroleum gases, liquefied"),
         0.640, "118", TC128 | THERMAL, valves=2, set_psig="280.5"),
    Kind("DOT 105J300W", 4, ("Vinyl chloride, stabilized", "Butadienes, stabilized"),
         0.590, "110", TC128 | JACKETED, valves=2, set_psig="247.5"),
    Kind("DOT 105J500W", 3, ("Chlorine", "Sulfur dioxide"),
         0.810, "102", TC128 | JACKETED | {"normalized_steel": "yes"}, valves=2, set_psig="375",
         since="1990-01-01", until=PIH_2009),
    Kind("DOT 105H600W", 2, ("Chlorine", "Sulfur dioxide"),
         0.990, "102", TC128 | JACKETED | ENHANCED, valves=2, set_psig="450", since=PIH_2009),
    Kind("DOT 105H500W", 1, ("Ethylene oxide",),
         0.810, "102", TC128 | JACKETED | ENHANCED, valves=2, set_psig="375", since=PIH_2009),
)  # fmt: skip

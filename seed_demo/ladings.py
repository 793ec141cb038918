"""The demo's list of ladings: generic names, UN number, class, packing group as commonly published.

Demo data, written from memory: check each against the hazardous materials table (49 CFR 172.101)
before relying on it. `corrosive` is what an owner might state of the tank (180.503), not the
hazard class.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field


@dataclass(frozen=True, slots=True)
class Lading:
    """One entry; `corrosive` and `inhalation` are "yes", "no" or "" (not stated), as in a file.

    `pressures` are in psig, of the list and of the cars that carry it.
    """

    name: str
    un: str = ""
    hazard_class: str = ""
    packing_group: str = ""
    corrosive: str = ""
    inhalation: str = ""
    rate: str = ""
    pressures: Mapping[str, str] = field(default_factory=dict)

    @property
    def hazardous(self) -> str:
        return "yes" if self.hazard_class else "no"

    def columns(self) -> dict[str, str]:
        """The lading as the columns of the file of cars."""
        return {
            "commodity": self.name,
            "un": self.un,
            "hazardous": self.hazardous,
            "hazard_class": self.hazard_class,
            "packing_group": self.packing_group,
            "poison_by_inhalation": self.inhalation,
            "corrosive_or_reactive": self.corrosive,
            "corrosion_rate_mil_per_year": self.rate,
            **self.pressures,
        }


def gas(name: str, un: str, hazard_class: str, inhalation: str, at_115: str, at_105: str) -> Lading:
    """A liquefied gas with its vapor pressures in psig, rounded, from memory; the other figures are invented."""
    pressures = {
        "vapor_pressure_psig_115f": at_115, "vapor_pressure_psig_105f": at_105, "static_head_psig": "4",
        "gas_pad_psig": "0", "loading_pressure_psig": "60",
    }  # fmt: skip
    return Lading(name, un, hazard_class, "", "no", inhalation, pressures=pressures)


# 133 % of 160 + 4 is 218.12, of 139 + 4 in an insulated car 190.19.
INVENTED = {
    "vapor_pressure_psig_115f": "160",
    "vapor_pressure_psig_105f": "139",
    "static_head_psig": "4",
    "gas_pad_psig": "0",
    "loading_pressure_psig": "90",
}
LADINGS = (
    # Named in Appendix D to part 180, so corrosive to the tank whatever is stated.
    Lading("Acetic acid, glacial", "UN2789", "8", "II", "yes"),
    Lading("Aluminum chloride solution", "UN2581", "8", "III", "yes"),
    Lading("Butyric acid", "UN2820", "8", "III", "yes"),
    Lading("Ferric chloride solution", "UN2582", "8", "III", "yes"),
    Lading("Fluoroboric acid", "UN1775", "8", "II", "yes"),
    Lading("Fluorosilicic acid", "UN1778", "8", "II", "yes"),
    Lading("Formaldehyde solution", "UN2209", "8", "III", "yes"),
    Lading("Hydrobromic acid", "UN1788", "8", "II", "yes"),
    Lading("Hydrochloric acid", "UN1789", "8", "II", "yes"),
    Lading("Hydrogen peroxide, aqueous solution", "UN2014", "5.1", "II", "yes"),
    Lading("Hypochlorite solution", "UN1791", "8", "III", "yes"),
    Lading("Nitric acid", "UN2031", "8", "II", "yes"),
    Lading("Phosphoric acid solution", "UN1805", "8", "III", "yes"),
    Lading("Phosphorus trichloride", "UN1809", "6.1", "I", "yes", "yes"),
    Lading("Sodium chlorate, aqueous solution", "UN2428", "5.1", "II", "yes"),
    Lading("Sulfur, molten", "UN2448", "4.1", "III", "yes"),
    Lading("Sulfuric acid", "UN1830", "8", "II", "yes"),
    Lading("Sulfuric acid, spent", "UN1832", "8", "II", "yes"),
    Lading("Zinc chloride solution", "UN1840", "8", "III", "yes"),
    Lading("Black liquor", corrosive="yes"),
    # Class 8 for people, yet stated not corrosive to the tank.
    Lading("Potassium hydroxide solution", "UN1814", "8", "II", "no"),
    Lading("Sodium hydroxide solution", "UN1824", "8", "II", "no"),
    Lading("Ethanolamine", "UN2491", "8", "III", "no", rate="0.4"),
    # Nobody has stated yet whether these attack the tank.
    Lading("Acrylic acid, stabilized", "UN2218", "8", "II"),
    Lading("Ammonia solution", "UN2672", "8", "III"),
    Lading("Hexamethylenediamine solution", "UN1783", "8", "II"),
    Lading("Maleic anhydride, molten", "UN2215", "8", "III"),
    # Gases.
    gas("Ammonia, anhydrous", "UN1005", "2.2", "yes", "252", "214"),
    gas("Butane", "UN1011", "2.1", "no", "51", "41"),
    gas("Butadienes, stabilized", "UN1010", "2.1", "no", "59", "49"),
    gas("Chlorine", "UN1017", "2.3", "yes", "143", "122"),
    gas("Ethylene oxide", "UN1040", "2.3", "yes", "36", "28"),
    # Nobody has written down the pressures of these.
    Lading("Ethylene, refrigerated liquid", "UN1038", "2.1", "", "no"),
    Lading("Isobutane", "UN1969", "2.1", "", "no"),
    gas("Petroleum gases, liquefied", "UN1075", "2.1", "no", "214", "187"),
    gas("Propane", "UN1978", "2.1", "no", "214", "187"),
    gas("Propylene", "UN1077", "2.1", "no", "242", "211"),
    Lading("Refrigerant gas R 134a", "UN3159", "2.2", "", "no", "no"),
    gas("Sulfur dioxide", "UN1079", "2.3", "yes", "86", "70"),
    gas("Vinyl chloride, stabilized", "UN1086", "2.1", "no", "69", "56"),
    # Flammable liquids.
    Lading("Acetone", "UN1090", "3", "II", "no"),
    Lading("Acrylonitrile, stabilized", "UN1093", "3", "I", "no"),
    Lading("Benzene", "UN1114", "3", "II", "no"),
    Lading("Butanols", "UN1120", "3", "III", "no"),
    Lading("Cyclohexane", "UN1145", "3", "II", "no"),
    Lading("Denatured alcohol", "NA1987", "3", "II", "no"),
    Lading("Diesel fuel", "NA1993", "3", "III", "no"),
    Lading("Ethanol", "UN1170", "3", "II", "no"),
    Lading("Ethyl acetate", "UN1173", "3", "II", "no"),
    Lading("Gasoline", "UN1203", "3", "II", "no"),
    Lading("Isopropanol", "UN1219", "3", "II", "no"),
    Lading("Methanol", "UN1230", "3", "II", "no"),
    Lading("Petroleum crude oil", "UN1267", "3", "I", ""),
    Lading("Styrene monomer, stabilized", "UN2055", "3", "III", "no"),
    Lading("Toluene", "UN1294", "3", "II", "no"),
    Lading("Vinyl acetate, stabilized", "UN1301", "3", "II", "no"),
    Lading("Xylenes", "UN1307", "3", "III", "no"),
    # Toxic, elevated temperature.
    Lading("Adiponitrile", "UN2205", "6.1", "III", "", "no"),
    Lading("Aniline", "UN1547", "6.1", "II", "no", "no"),
    Lading("Phenol, molten", "UN2312", "6.1", "II", "", "no"),
    Lading("Elevated temperature liquid (asphalt)", "UN3257", "9", "III", "no"),
    # Invented: for a seamless car, and one with figures that a trial holds against a tank's test pressure.
    Lading("Example gas, compressed (invented)", "", "2.2", "", "no", "no"),
    Lading("Example light hydrocarbon (invented)", "", "2.1", "", "no", "no", pressures=INVENTED),
    # Not regulated.
    Lading("Corn syrup", corrosive="no"),
    Lading("Ethylene glycol", corrosive="no"),
    Lading("Kaolin clay slurry", corrosive="no"),
    Lading("Soybean oil", corrosive="no"),
    Lading("Urea ammonium nitrate solution", rate="1.8"),
)

BY_NAME = {lading.name: lading for lading in LADINGS}

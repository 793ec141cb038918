"""Questions drawn at random: a car of any regime with any of its facts stated or not, and a history.

`drawn(source)` takes a seeded `random.Random` for many of them, or Hypothesis's own for one that it can make smaller.
Every fact is left out of a good share of them, for doubt is what is to be met, and some contradict one another.
"""

from datetime import date, timedelta
from random import Random
from typing import Any

from tests.core.cars import COMMODITIES, MATERIALS, SHELL_AND_HEADS, Json

SPECIFICATIONS = (
    "DOT 111A100W1", "DOT 111A100W1", "DOT 111A60ALW2", "DOT 111A100W5", "DOT 105J300W",
    "DOT 105H600W", "DOT 105J600I", "DOT 112T340W", "DOT 114A400W", "DOT 115A60W6",
    "DOT 117J100W", "DOT 117R100W", "DOT 120S200ALW", "DOT 103W", "AAR 211A100W1",
    "DOT 106A500X", "DOT 110A800W", "BE 27", "DOT 113A60W", "DOT 113C120W", "DOT 107A3000",
)  # fmt: skip
DATED = (
    "visual", "structural_integrity", "safety_systems", "thickness", "lining", "service_equipment",
    "relief_device",
)  # fmt: skip
INSPECTED = (*DATED, "rupture_disc", "tank_retest", "leakage", "air_brake", "reflective_sheeting")
CHOOSING = ("damage", "fire_damage", "ordered_inspection")
HAPPENED = (
    *CHOOSING, "lining_removed", "insulation_removed", "thermal_protection_removed",
    "head_protection_removed", "repair_reducing_thickness", "service_equipment_changed",
    "relief_device_changed", "lining_applied", "lining_repaired_locally", "sheeting_replaced",
)  # fmt: skip
CLASSES = ("2.3", "3", "3", "Class 3", "3 (6.1)", "6.1", "8", "9", "2.1")
NUMBERS = ("UN1267", "UN3494", "UN1170", "NA1987", "UN1993", "UN1789", "UN1830", "UN1017")
LINES = (0.25, 0.3125, 0.375, 0.40625, 0.4375, 0.53125, 0.546875, 0.5625)
OLDEST = date(1968, 1, 1)


def drawn(source: Random) -> Json:
    """A question that is taken, whatever it says."""
    return _Drawer(source).request()


class _Drawer:
    def __init__(self, source: Random) -> None:
        self.source = source
        self.as_of = OLDEST + timedelta(days=source.randrange(15_000, 26_000))
        self.built = self.some(self.day(OLDEST), 0.8)
        self.first = self.built or OLDEST

    def some(self, value: Any, share: float = 0.5) -> Any:
        return value if self.source.random() < share else None

    def one(self, *of: Any) -> Any:
        return self.source.choice(of)

    def day(self, first: date, beyond: int = 0) -> date:
        """A day from `first` on, now and then after the day asked for."""
        days = max((self.as_of - first).days + beyond, 0)
        # Half of all days lie close to the day asked for, where one thing soon follows another.
        back = self.source.randint(0, min(days, 4000) if self.source.random() < 0.5 else days)
        return first + timedelta(days=days - back)

    def on(self, share: float = 0.7) -> str | None:
        return self.some(self.day(self.first, 200).isoformat(), share)

    def month_or_day(self, share: float = 0.7) -> str | None:
        on = self.on(share)
        # The first of a month may lie before the car was built.
        whole = on and on[:7] > self.first.isoformat()[:7] and self.source.random() < 0.2
        return on[:7] if on and whole else on

    def flag(self) -> bool | None:
        return self.one(None, True, False)

    def months(self) -> int | None:
        return self.some(self.source.randint(1, 240), 0.4)

    def inches(self) -> float:
        return self.one(self.one(*LINES), self.source.randint(20_000, 90_000) / 100_000)

    def several(self, of: tuple[str, ...], most: int) -> list[str]:
        return self.source.sample(of, self.source.randint(1, min(most, len(of))))

    def request(self) -> Json:
        settings = {
            "due_precision": self.one("day", "month_end", "year_end", None),
            "stencil_year": self.one("start", "end", None),
            "soon_days": self.some(self.source.randint(0, 400)),
        }
        count = self.one(0, 1, 2, 3, 4, 5, 6)
        return {
            "as_of": self.as_of.isoformat(),
            "settings": settings,
            "car": self.car(),
            "events": [self.event() for _ in range(count)],
        }

    def car(self) -> Json:
        return {
            "mark": "ZQ" + self.one("K", "B") + "X",
            "number": self.source.randint(1, 999_999),
            "specification": self.one(*SPECIFICATIONS),
            "built_on": self.built and self.built.isoformat(),
            "rebuilt_on": self.on(0.2),
            "tank": self.some(self.tank(), 0.9),
            "lining": self.some(self.lining(), 0.3),
            "service": self.some(self.service(), 0.95),
            "relief_device": self.some(self.relief_device(), 0.6),
            "service_equipment": {"owner_interval_months": self.months()},
            "reflective_sheeting": {
                "installed_on": self.month_or_day(0.5),
                "method": self.one("replacement", "comparator", None),
            },
            "stencil": self.some(self.stencil(), 0.4),
            "approvals": [self.approval() for _ in range(self.one(0, 0, 0, 1, 2))],
        }

    def tank(self) -> Json:
        minimum = {zone: self.inches() for zone in self.several(SHELL_AND_HEADS, 4)}
        return {
            "material": self.some(self.one(*MATERIALS), 0.8),
            "tensile_psi": self.some(self.source.randint(25_000, 90_000), 0.1),
            "inside_diameter_in": self.some(self.source.randint(60, 122), 0.8),
            "joint_efficiency": self.some(self.one(0.7, 0.9, 1.0), 0.3),
            "head_shape": self.one("2:1", "3:1", None),
            "jacketed": self.flag(),
            "built_to": self.one(None, "CPC-1232", "PIH-2009"),
            "normalized_steel": self.flag(),
            "required_thickness_in": self.some(minimum, 0.2),
        }

    def lining(self) -> Json:
        return {
            "kind": self.some("rubber"),
            "applied_on": self.month_or_day(),
            "owner_interval_months": self.months(),
            "documented": self.flag(),
        }

    def service(self) -> Json:
        return {
            "commodity": self.one(*COMMODITIES),
            "un": self.some(self.one(*NUMBERS), 0.6),
            "hazardous": self.one(True, None, False),
            "hazard_class": self.some(self.one(*CLASSES), 0.8),
            "packing_group": self.one(None, "I", "II", "III"),
            "poison_by_inhalation": self.flag(),
            "corrosive_or_reactive": self.flag(),
            "corrosion_rate_mil_per_year": self.one(None, None, 0, 2.5, 2.6),
            "fluorinated_hydrocarbon_only": self.flag(),
        }

    def relief_device(self) -> Json:
        tested = self.day(self.first, 100)
        installed = tested + timedelta(days=self.source.randint(-200, 250))
        return {
            "kind": self.one(None, "valve", "valve", "combination", "disc", "none"),
            "tested_on": self.some(tested.isoformat(), 0.8),
            "installed_on": self.some(installed.isoformat()[: self.one(10, 10, 10, 7)]),
            "protected_in_storage": self.flag(),
            "owner_interval_months": self.months(),
        }

    def stencil(self) -> Json:
        painted = (self.as_of + timedelta(days=self.source.randint(-3000, 5000))).isoformat()
        due = {name: painted[: self.one(4, 10)] for name in self.several(DATED, 7)}
        return {"marked_on": self.month_or_day(0.8), "due": due}

    def approval(self) -> Json:
        return {
            "item": self.one(*DATED),
            "interval_months": self.source.randint(12, 200),
            "reference": self.some("ZQ approval 7"),
            "stenciled": self.flag(),
        }

    def event(self) -> Json:
        kind = self.one("pass", "pass", "pass", "fail", "change", "change")
        event: Json = {"on": self.day(self.first, 200).isoformat()}
        event["items"] = self.several(INSPECTED, 12)
        if kind == "change":
            happened = self.several(HAPPENED, 2)
            event["items"] = happened + self.one([], event["items"])
            if self.source.random() < 0.3:
                event["opens"] = self.several(INSPECTED, 3)
            if self.source.random() < 0.1:
                event["outcome"] = "fail"
        elif kind == "fail":
            event["outcome"] = "fail"
        elif self.source.random() < 0.2 and event["on"][:7] > self.first.isoformat()[:7]:
            event["on"] = event["on"][:7]
        if "thickness" in event["items"] or self.source.random() < 0.2:
            event["readings"] = [self.reading() for _ in range(self.one(1, 4, 6))]
        return event

    def reading(self) -> Json:
        reading = {"zone": self.one(*SHELL_AND_HEADS, "sump"), "inches": self.inches()}
        if self.source.random() < 0.3:
            span, apart = self.one(None, 4, 8, 8.5), self.one(None, 15.5, 16)
            reading |= {"extent": "local", "span_in": span, "apart_in": apart}
        return reading

"""The plain shapes of demo data before they become rows of files, and days told from today."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, timedelta

from app.core.months import add_months

TOUR_MARK = "ZQTX"
TOUR_REGION = "Tour"
OWNERS = (
    "Example Alpha Tank Lines (invented)",
    "Example Bravo Cars (invented)",
    "Example Charlie Leasing (invented)",
    "Example Delta Fleet (invented)",
    "Example Echo Car Company (invented)",
)
SHOPS = (
    "Example Shop One (invented)",
    "Example Shop Two (invented)",
    "Example Shop Three (invented)",
    "Example Mobile Crew (invented)",
)
INSPECTORS = ("Inspector A (invented)", "Inspector B (invented)", "Inspector C (invented)")
REGIONS = ("Example North", "Example South", "Example Lakes", "Example Coast")

TANK_ITEMS = "visual;structural_integrity;safety_systems;thickness"
EQUIPMENT_ITEMS = "service_equipment;relief_device;leakage"
WHOLE = f"{TANK_ITEMS};{EQUIPMENT_ITEMS}"


@dataclass(frozen=True, slots=True)
class Inspection:
    """A row of the file of events; `on` is a day or a month, `readings` as the file wants them."""

    on: str
    items: str = WHOLE
    readings: str = ""
    outcome: str = ""
    facility: str = SHOPS[0]
    inspector: str = INSPECTORS[0]
    reference: str = ""
    notes: str = ""


@dataclass(frozen=True, slots=True)
class Part:
    """A row of the file of components."""

    kind: str
    position: str
    serial: str
    maker: str = "Example Valve Works (invented)"
    model: str = "EX-1"
    lot: str = ""
    set_psig: str = ""
    tested_on: str = ""
    installed_on: str = ""
    removed_on: str = ""
    protected_in_storage: str = ""
    interval_months: str = ""
    found_psig: str = ""
    left_psig: str = ""
    vapor_tight_psig: str = ""


@dataclass(frozen=True, slots=True)
class DemoCar:
    """A car as it is brought in; `facts` are further columns, `shows` the note of a tour car."""

    mark: str
    number: int
    specification: str
    owner: str
    region: str
    facts: Mapping[str, str] = field(default_factory=dict)
    events: tuple[Inspection, ...] = ()
    parts: tuple[Part, ...] = ()
    shows: str = ""


@dataclass(frozen=True, slots=True)
class Days:
    """Days counted back from the day of loading, so that the demo never grows stale."""

    today: date

    def back(self, months: int, days: int = 0) -> str:
        return self.day(months, days).isoformat()

    def month(self, months: int) -> str:
        """A month only, as old papers often give it."""
        return self.back(months)[:7]

    def day(self, months: int, days: int = 0) -> date:
        return add_months(self.today, -months) - timedelta(days=days)

    def leap_day(self) -> str:
        """The last February 29 more than a month ago."""
        latest = self.day(1)
        year = next(year for year in range(latest.year, 0, -1) if _is_past_leap(year, latest))
        return date(year, 2, 29).isoformat()


def _is_past_leap(year: int, latest: date) -> bool:
    leap = year % 4 == 0 and (year % 100 != 0 or year % 400 == 0)
    return leap and date(year, 2, 29) <= latest

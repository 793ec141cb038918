"""A report as a tablet makes it: entries by kind, each with a key of its own, in order."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any
from uuid import UUID, uuid5

NAMES = UUID("6f0b4d2a-9d5e-4c6a-8f4b-7a115f0c1f7e")
DAY = "2026-11-25"
TAKEN = "2026-11-25T08:00:00+00:00"
MADE = "2026-11-25T09:00:00.000Z"
FACILITY = {
    "facility": "Invented Tank Car Works",
    "facility_address": "1 Nowhere Road, Made-up Town",
    "station_code": "ZQ01",
}
STROKES = [[[0.1, 0.2], [0.5, 0.6]], [[0.5, 0.1], [0.9, 0.9]]]
SIGNED: dict[str, Any] = {"name": "I. Nobody", "method": "drawn", "strokes": STROKES}


def key_of(*parts: object) -> str:
    return uuid5(NAMES, " ".join(map(str, parts))).hex


@dataclass
class Tablet:
    """Writes the entries of one report; `car_id` is the car it is at."""

    car_id: int
    name: str = "report"
    entries: list[dict[str, Any]] = field(default_factory=list)

    @property
    def report(self) -> str:
        return key_of(self.name)

    def begin(self, *items: str, **says: Any) -> Tablet:
        begun = {"car_id": self.car_id, "happened_on": DAY, "items": list(items), "taken_at": TAKEN}
        return self.add("begun", begun | FACILITY | says)

    def add(
        self, kind: str, says: dict[str, Any], replaces: str | None = None, **over: Any
    ) -> Tablet:
        place = len(self.entries) + 1
        entry = {
            "key": key_of(self.name, place), "report": self.report, "place": place, "kind": kind,
            "made_at": MADE, "replaces": replaces, "says": says,
        }  # fmt: skip
        self.entries.append(entry | over)
        return self

    def mend(self, **says: Any) -> dict[str, Any]:
        """The last entry anew: another key, the same place."""
        last = self.entries[-1]
        self.entries[-1] = last | {"key": key_of(last["key"], "again"), "says": last["says"] | says}
        return self.entries[-1]

    def instead(self, kind: str, says: dict[str, Any], **over: Any) -> Tablet:
        """Another entry in the place of the last one, which was refused."""
        last = self.entries.pop()
        self.add(kind, says, **over)
        self.entries[-1]["key"] = key_of(last["key"], "instead")
        return self

    def reading(self, inches: str, zone: str = "shell_bottom", **says: Any) -> Tablet:
        return self.add("reading", {"zone": zone, "inches": inches} | says)

    def outcome(self, item: str, outcome: str = "pass", **says: Any) -> Tablet:
        return self.add("outcome", {"item": item, "outcome": outcome} | says)

    def sign(self, **says: Any) -> Tablet:
        return self.add("signed", SIGNED | says)

    @property
    def last(self) -> dict[str, Any]:
        return self.entries[-1]


Says = Callable[[Any], dict[str, Any]]

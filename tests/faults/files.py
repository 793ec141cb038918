"""Files to bring in, no two alike: invented cars, and the events of such cars with their readings."""

from __future__ import annotations

from dataclasses import dataclass
from hashlib import sha256

MARK = "ZQFX"
OWNER = "Example Owner"
CARS = "mark,number,specification,built_on,owner,commodity,un,hazardous,corrosive_or_reactive"
EVENTS = "mark,number,on,items,outcome,facility,inspector,readings,reference"
ZONES = ("shell_top", "shell_bottom", "head_a", "head_b")


@dataclass(frozen=True, slots=True)
class File:
    """A file with what it must leave in the register: all of this, or nothing."""

    kind: str
    first: int
    count: int

    @property
    def name(self) -> str:
        return f"{self.kind}-{self.first}.csv"

    @property
    def content(self) -> bytes:
        rows = self._cars() if self.kind == "cars" else self._events()
        return "\n".join(rows).encode()

    @property
    def sha256(self) -> str:
        return sha256(self.content).hexdigest()

    @property
    def holds(self) -> dict[str, int]:
        """How many cars, events and readings."""
        if self.kind == "cars":
            return {"cars": self.count, "events": 0, "readings": 0}
        return {"cars": 0, "events": 2 * self.count, "readings": len(ZONES) * self.count}

    def _numbers(self) -> range:
        return range(self.first, self.first + self.count)

    def _cars(self) -> list[str]:
        lading = "Example Oil,,no,no"
        rows = [
            f"{MARK},{number},DOT 111A100W1,{1990 + number % 30}-04-20,{OWNER},{lading}"
            for number in self._numbers()
        ]
        return [CARS, *rows]

    def _events(self) -> list[str]:
        rows = [EVENTS]
        for number in self._numbers():
            shop, who = f"Example Shop {number % 5}", f"Inspector {number % 7}"
            measured = ";".join(f"{zone}=0.{450 + number % 90}" for zone in ZONES)
            rows += [
                f"{MARK},{number},2021-05-{1 + number % 28:02},visual;thickness,pass,{shop},{who},{measured},T{number}",
                f"{MARK},{number},2023-09-{1 + number % 28:02},air_brake,pass,{shop},{who},,B{number}",
            ]
        return rows

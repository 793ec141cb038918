"""A tablet that takes one car along, records the whole inspection, and sends it all by a network that breaks."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field
from datetime import date

from tests.field.crowds import key_of
from tests.field.entries import Tablet
from tests.field.flaking import Broken, Flaking
from tests.field.inspections import Taken, inspection
from tests.length import tries
from tests.pictures import shots

API = "/api/v1/field"
AT_A_TIME = tries(20, 1)  # entries in one request
PIECES = tries(2, 5)  # of each photograph, when none is lost


@dataclass
class Work:
    """One tablet with what it took along, what was recorded on it, and what became of its requests."""

    number: int
    car_id: int
    pictures: list[bytes]
    taken: Taken = field(default_factory=dict)
    tablet: Tablet = field(default_factory=lambda: Tablet(0))
    count: Counter[str] = field(default_factory=Counter)

    def do(self, url: str) -> None:
        with Flaking(url, key_of(self.number), seed=self.number) as network:
            address = f"{API}/pack"
            self.taken = network.until_answered("GET", address, params={"car": self.car_id})
            self.tablet = inspection(self.taken, self.pictures)
            self.send(network)
            self.count = network.count

    @property
    def day(self) -> date:
        return date.fromisoformat(self.taken["taken_at"][:10])

    def send(self, network: Flaking) -> None:
        """In order; the signature when the photographs are there."""
        *before, signature = self.tablet.entries
        for start in range(0, len(before), AT_A_TIME):
            self.send_entries(network, before[start : start + AT_A_TIME])
        for each in self.pictures:
            self.send_picture(network, each)
        self.send_entries(network, [signature])

    def send_entries(self, network: Flaking, entries: list[Taken]) -> None:
        body = {"person": self.taken["person"]["id"], "entries": entries}
        told = network.until_answered("POST", f"{API}/entries", json=body)
        states = {each["state"] for each in told["results"]}
        assert states in ({"stored"}, {"known"}), told

    def send_picture(self, network: Flaking, picture: bytes) -> None:
        """Piece by piece; where it breaks, the server is asked how much has come, and it goes on from there."""
        address = f"{API}/photographs/{shots.sum_of(picture)}"
        report = {"report": self.tablet.report}
        told = network.until_answered("GET", address, params=report)
        while not told["whole"]:
            try:
                told = network.once("PUT", address, **_piece(picture, told["received"], report))
            except Broken:
                told = network.until_answered("GET", address, params=report)


def _piece(picture: bytes, at: int, report: dict[str, str]) -> Taken:
    size = len(picture) // PIECES + 1
    says = {"at": at, "bytes": len(picture), **report}
    return {"params": says, "content": picture[at : at + size]}

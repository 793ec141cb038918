"""How often one address or one person may ask: counted by the minute, in memory that forked processes share.

The machine's own tools ask from a loopback address and are not counted.
"""

from __future__ import annotations

import math
import secrets
import time
from collections.abc import Iterator
from hashlib import blake2b
from ipaddress import ip_address, ip_network
from mmap import mmap
from threading import Lock
from typing import Literal

from starlette.requests import HTTPConnection

from app.errors import TooMany
from app.settings import Settings

Whose = Literal["address", "person"]
# A whole list as a file, or a file brought in, takes the work of so many pages.
COSTLY = 10
COSTLY_ENDINGS = (".csv", ".xlsx", ".json", ".pdf", ".zip", ".ics")
COSTLY_CHANGES = ("/imports", "/record", "/rulebook")
# A provider hands one customer so much of the newer kind of addresses.
ONE_CUSTOMER = 64
MINUTE = 60
# Each name is counted in a cell of each row; the least of them counts (a count-min sketch), so that a name is
# counted for more than it asked only where others met it in every row.
ROWS, CELLS = 4, 1 << 14
CELL = 8  # bytes: the minute that it counts, and how many


class Limits:
    """Counts requests; `count` says how many seconds to wait, 0 when it is fine."""

    def __init__(self, settings: Settings) -> None:
        self._counts = Counts()
        self._most: dict[Whose, int] = {
            "address": settings.requests_per_minute_address,
            "person": settings.requests_per_minute_person,
        }

    def count(self, whose: Whose, key: str, cost: int = 1) -> int:
        most = self._most[whose]
        if not most or not key:
            return 0
        return self._counts.hit(f"{whose} {key}", min(cost, most), most, time.time())


class Counts:
    """Hits by name in this minute and the one before, in a fixed room of memory.

    Processes that are forked later share it, and no lock that one of them might die with: of two that hit the
    same cell at the very same moment one may go uncounted.
    """

    def __init__(self) -> None:
        self._cells = memoryview(mmap(-1, 2 * ROWS * CELLS * CELL)).cast("Q")
        self._salt = secrets.token_bytes(16)
        self._lock = Lock()  # of the threads of this process

    def hit(self, name: str, cost: int, most: int, now: float) -> int:
        """Count it and give 0; or how many seconds to wait, uncounted, where that would be more than `most`.

        What was counted in the minute before counts for as much of it as lies within the last sixty seconds.
        """
        minute, second = divmod(now, MINUTE)
        with self._lock:
            before = self._counted(name, int(minute) - 1) * (1 - second / MINUTE)
            if before + self._counted(name, int(minute)) + cost > most:
                return max(1, math.ceil(MINUTE - second))
            for cell in self._places(name, int(minute)):
                self._cells[cell] = (int(minute) << 32) + self._held(cell, int(minute)) + cost
        return 0

    def _counted(self, name: str, minute: int) -> int:
        return min(self._held(cell, minute) for cell in self._places(name, minute))

    def _held(self, cell: int, minute: int) -> int:
        """What a cell counted in a minute: nothing where it is still about an earlier one."""
        kept = self._cells[cell]
        return kept & 0xFFFFFFFF if kept >> 32 == minute else 0

    def _places(self, name: str, minute: int) -> Iterator[int]:
        """Of even and odd minutes apart, so that one minute's counts stand through the next."""
        mixed = blake2b(name.encode(), key=self._salt, digest_size=4 * ROWS).digest()
        for row in range(ROWS):
            chosen = int.from_bytes(mixed[4 * row : 4 * row + 4], "big") % CELLS
            yield ((minute % 2) * ROWS + row) * CELLS + chosen


def count_person(asked: HTTPConnection, person: str) -> None:
    """Count a request of the person who is signed in or whose token it bears; raises TooMany."""
    if not counted_address(asked.scope.get("client")):
        return
    limits: Limits = asked.app.state.limits
    seconds = limits.count("person", person, cost_of(asked.scope["method"], asked.url.path))
    if seconds:
        raise TooMany(seconds)


def counted_address(client: tuple[str, int] | None) -> str:
    """By what an address is counted; empty for this machine itself and for what has none."""
    try:
        address = ip_address(client[0] if client else "")
    except ValueError:
        return ""
    if address.is_loopback:
        return ""
    if address.version == 6:
        return str(ip_network((address, ONE_CUSTOMER), strict=False))
    return str(address)


def cost_of(method: str, path: str) -> int:
    """How many ordinary requests one such takes the place of."""
    if path.startswith(("/static/", "/field/app/")):
        return 0
    changes = method == "POST" and path.startswith(COSTLY_CHANGES)
    return COSTLY if changes or path.endswith(COSTLY_ENDINGS) else 1

"""How often one address or one person may ask: counted in memory, in this process, by the minute.

Each of several processes that serve (WORKERS) counts for itself, so that together they let through up to so many times
as much: a bound on what one can cost, never on guessing, which is counted in the store (`store.accounts.attempts`).

The machine's own tools ask from a loopback address and are not counted.
"""

from __future__ import annotations

import math
import time
from functools import cached_property
from ipaddress import ip_address, ip_network
from typing import Literal

from limits import RateLimitItemPerMinute
from limits.storage import MemoryStorage
from limits.strategies import SlidingWindowCounterRateLimiter
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


class Limits:
    """Counts requests; `count` says how many seconds to wait, 0 when it is fine."""

    def __init__(self, settings: Settings) -> None:
        most: dict[Whose, int] = {
            "address": settings.requests_per_minute_address,
            "person": settings.requests_per_minute_person,
        }
        self._most = {
            whose: RateLimitItemPerMinute(number) for whose, number in most.items() if number
        }

    @cached_property
    def _counter(self) -> SlidingWindowCounterRateLimiter:
        """Made when first asked: it starts a thread, and processes that serve are forked from one without any."""
        return SlidingWindowCounterRateLimiter(MemoryStorage())

    def count(self, whose: Whose, key: str, cost: int = 1) -> int:
        most = self._most.get(whose)
        if most is None or not key:
            return 0
        if self._counter.hit(most, whose, key, cost=min(cost, most.amount)):
            return 0
        resets = self._counter.get_window_stats(most, whose, key).reset_time
        return max(1, math.ceil(resets - time.time()))


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

"""Who changes the record: what a session is opened with, and what the record of change says of it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime


@dataclass(frozen=True, slots=True)
class Doer:
    """`origin` is page, api, command or job; `address` is of the network, `request` the request's id.

    `at` is the moment by the caller's clock; without one this computer's clock is asked.
    """

    name: str
    person_id: int | None = None
    origin: str = "command"
    address: str = ""
    request: str = ""
    at: datetime | None = None


# Somebody at the machine itself who gave no name.
COMMAND_LINE = Doer("command line")

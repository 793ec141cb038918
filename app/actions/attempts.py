"""Sign-ins that failed slow down those after them: more and more, never for good.

Counted in the store, by account and by address of the network, before the secret is looked at: so
many tries at the same moment are counted like as many in a row. A passkey is not slowed down by what
others tried with passwords, and nobody is shut out for longer than the longest pause.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from hashlib import sha256
from typing import Literal

from sqlalchemy.orm import Session

from app.store import accounts
from app.store.people import Attempt

Kind = Literal["account", "address", "code"]
# So many may fail before there is a pause, and the longest pause, in seconds.
FREE: dict[Kind, tuple[int, int]] = {"account": (5, 900), "address": (20, 60), "code": (5, 900)}
FORGOTTEN_AFTER = timedelta(days=1)
# A flood from many places, each with its own name, must not fill the disk.
MOST_KEPT = 20_000
MOST_COUNTED = 1_000


@dataclass(frozen=True, slots=True)
class Counted:
    """One thing that attempts are counted by; its name is kept as a hash only."""

    kind: Kind
    name: str

    @property
    def about(self) -> str:
        return sha256(self.name.encode()).hexdigest()


def begin(db: Session, by: Iterable[Counted], now: datetime) -> int:
    """Count an attempt before its secret is looked at; 0, or how many seconds it has to wait.

    One that has to wait is not counted: whoever keeps on trying makes nobody's pause longer.
    """
    counted = list(by)
    accounts.one_attempt_at_a_time(db, [each.about for each in counted])
    accounts.forget_attempts(db, now - FORGOTTEN_AFTER, MOST_KEPT)
    found = {each: accounts.attempts(db, each.about, each.kind) for each in counted}
    wait = max((_wait(each, row, now) for each, row in found.items() if row), default=0)
    if wait:
        return wait
    for each, row in found.items():
        if row is None:
            db.add(Attempt(about=each.about, kind=each.kind, at=now, weight=1))
        else:
            row.weight, row.at = min(row.weight + 1, MOST_COUNTED), now
    db.flush()  # the next attempt of this transaction must find it
    return 0


def succeeded(db: Session, by: Iterable[Counted]) -> None:
    """The secret was right: what failed before counts no longer.

    An address is only given back this one attempt, or an account of one's own would buy new guesses.
    """
    for each in by:
        if each.kind != "address":
            accounts.forget_attempts_about(db, each.about, each.kind)
        elif row := accounts.attempts(db, each.about, each.kind):
            row.weight = max(row.weight - 1, 0)


def pause(kind: Kind, failed: int) -> int:
    """Seconds to wait after so many attempts that failed: 2, 4, 8 ... up to the longest."""
    free, longest = FREE[kind]
    return 0 if failed < free else int(min(2 ** min(failed - free + 1, 30), longest))


def _wait(counted: Counted, row: Attempt, now: datetime) -> int:
    # A clock set back must not make a pause longer than it is.
    since = max(0.0, (now - row.at).total_seconds())
    return max(0, int(pause(counted.kind, row.weight) - since + 0.999))

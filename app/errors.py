"""What can go wrong that a person can act on. Everything else is a bug and may be a 500.

Problem
  Refused      what was given cannot be taken as it is
  NotFound     what was named is not in the register
  Conflict     it contradicts what is recorded already
  Outdated     a Conflict: it was to follow on what is no longer the newest
  Busy         the database is locked by other work; trying again helps
    Away       it cannot be reached or written just now; trying again helps once it can
  NewerStore   the database was written by a newer version of the program
  TooMany      the same person or address asked too often; waiting helps
"""

from collections.abc import Iterable
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing wrong with one place of what was given.

    `path` names the place as the giver knows it ("events.0.on", "row 12, built_on", or "" for the
    whole); `problem` is a sentence on what was found and what is wanted.
    """

    path: str
    problem: str

    def __str__(self) -> str:
        return f"{self.path}: {self.problem}" if self.path else self.problem


class Problem(Exception):
    """A sentence for a person, with the faults behind it where there are several places to mend."""

    def __init__(self, sentence: str, faults: Iterable[Fault] = ()) -> None:
        super().__init__(sentence)
        self.faults: list[Fault] = list(faults)

    def __str__(self) -> str:
        return str(self.args[0])


class Refused(Problem):
    """What was given cannot be taken as it is."""

    @classmethod
    def because(cls, faults: Iterable[Fault]) -> "Refused":
        """Refuse for these faults; the sentence is the first, and how many more there are."""
        found = list(faults)
        more = f" (and {len(found) - 1} more)" if len(found) > 1 else ""
        return cls(f"{found[0]}{more}", found)


class NotFound(Problem):
    """What was named is not in the register."""


class Conflict(Problem):
    """It contradicts what is recorded already."""


class Outdated(Conflict):
    """It was to follow on what is no longer the newest that is recorded."""


class Busy(Problem):
    """The database is locked by other work."""

    unsure = False  # nothing was stored

    def __init__(
        self, sentence: str = "The database is busy with other work. Try again in a moment."
    ) -> None:
        super().__init__(sentence)


class Away(Busy):
    """The database cannot be reached or written just now; `unsure`: this may be stored all the same."""

    def __init__(
        self,
        sentence: str = "The database cannot be reached just now, so nothing was recorded. The "
        "program goes on by itself once it is back. Try again in a moment.",
        *,
        unsure: bool = False,
    ) -> None:
        super().__init__(AWAY_WHILE_STORING if unsure else sentence)
        self.unsure = unsure


AWAY_WHILE_STORING = (
    "The database failed just as this was being stored, so it may be recorded or not. Look whether "
    "it is there before you send it again."
)


class NewerStore(Problem):
    """The database was written by a newer version of the program."""

    def __init__(self, revision: str) -> None:
        super().__init__(
            f"This database was written by a newer version of Stencilbook (its revision is "
            f"{revision}). Nothing was changed. Start the newer version, or restore the copy made "
            f"before the update."
        )


class TooMany(Problem):
    """The same person or address asked too often; `seconds` is how long to wait."""

    def __init__(self, seconds: int, sentence: str = "") -> None:
        super().__init__(
            sentence
            or f"More was asked for in a minute than this register answers to one person or "
            f"address. Nothing was recorded by this request. Try again in {seconds} seconds; "
            f"whoever looks after the program can raise the limit."
        )
        self.seconds = seconds

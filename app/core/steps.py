"""Steps of field work: what somebody looks at for an item, and what makes it acceptable; methods and their levels."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

# What a step has somebody do. A reading is of thickness, a bench test of a relief device, a number anything else.
MEASURES = ("look", "reading", "bench", "lining", "leak", "number", "photograph")
# From the least to the most; common practice, no source here.
LEVELS = ("I", "II", "III")


@dataclass(frozen=True, slots=True)
class Step:
    """`caution` is the id of a built-in caution, or the owner's own words.

    Without a `citation` the step is common practice, or the owner's own.
    """

    id: str
    look_at: str
    where: str
    measure: str
    unit: str | None
    acceptance: str
    caution: str | None
    citation: str | None


@dataclass(frozen=True, slots=True)
class Need:
    """A method that an item asks for, at this level or above."""

    method: str
    level: str


@dataclass(frozen=True, slots=True)
class Held:
    """A method that somebody is qualified for, at a level, until a day and on it."""

    method: str
    level: str
    valid_until: date

    def meets(self, need: Need) -> bool:
        return self.method == need.method and _rank(self.level) >= _rank(need.level)


def composed(built_in: Sequence[Step], own: Sequence[Step], *, instead: bool) -> tuple[Step, ...]:
    """The steps of an item for one owner: the owner's own, behind the built-in ones or in their place."""
    return tuple(own) if instead else (*built_in, *own)


def lacking(needs: Sequence[Need], held: Sequence[Held], day: date) -> str:
    """What keeps somebody from meeting any one of the needs on a day, as a phrase; empty when nothing does."""
    if not needs:
        return ""
    meeting = [each for each in held if any(each.meets(need) for need in needs)]
    if any(each.valid_until >= day for each in meeting):
        return ""
    if meeting:
        last = max(meeting, key=lambda each: each.valid_until)
        return f"{last.method}, level {last.level}, was valid until {last.valid_until}"
    of_method = [each for each in held if any(each.method == need.method for need in needs)]
    if of_method:
        return f"{of_method[0].method} is held at level {of_method[0].level}"
    return "none of these is on record"


def _rank(level: str) -> int:
    """A level that nobody ranks counts as the least."""
    return LEVELS.index(level) if level in LEVELS else 0

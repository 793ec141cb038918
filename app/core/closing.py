"""What closes an item that is owed, in words."""

from __future__ import annotations

from collections.abc import Iterable
from functools import lru_cache

from app.core.facts import Reason
from app.core.owed import Owing
from app.core.words import words

_PASSING = {"reflective_sheeting": "reflective sheeting that passes against the panel"}
# A failure of these is closed also by another one in its place.
_IN_ITS_PLACE = {
    "relief_device": "another relief device in its place",
    "lining": "a new lining on record as an event (lining applied)",
}


def closing(item: str, owings: Iterable[Owing]) -> Reason:
    """What closes all of these; only a failure is closed by something else than a pass."""
    return _closing(item, all(owing.failed for owing in owings))


@lru_cache
def _closing(item: str, failed: bool) -> Reason:
    passing = _PASSING.get(item) or f"a passing {words(item)}"
    instead = _IN_ITS_PLACE.get(item) if failed else None
    return Reason(f"Closed by {passing}" + (f", or by {instead}" if instead else ""), part="closes")

"""The kinds of event that a fleet's history is made of: what each passes, fails, opens and changes, told once."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from app.bulk.days import Flags, Numbers
from app.core.facts import CHANGES, ITEMS, Event, Outcome
from app.core.owed import opened
from app.core.rule import Rulebook

PLACE: Final = {item: place for place, item in enumerate(ITEMS)}
_CHANGES = frozenset(CHANGES)
_MARKED = ("relief_device_changed", "lining_applied", "sheeting_replaced", "air_brake", "thickness")
_DAY = date(2000, 1, 1)


class _Kind(NamedTuple):
    """One kind: yes or no by place of the item, citations by place, and what else is asked of it."""

    passed: list[bool]
    failed: list[bool]
    changed: list[bool]
    citation: list[str]
    change_citation: list[str]
    lining: int
    marked: list[bool]


@dataclass(frozen=True, slots=True)
class Kinds:
    """The kinds as tables, a row each. Opened items are `failed` or `changed` (opened by a change).

    `citation` is that of what opened the item first, `change_citation` of the first change that did; `lining` is 1
    for an application, 0 for a removal, -1 for neither; `marked` says which names of note an event bears.
    """

    passed: Flags
    failed: Flags
    changed: Flags
    citation: NDArray[np.object_]
    change_citation: NDArray[np.object_]
    lining: Numbers
    marked: dict[str, Flags]


def kinds_of(
    events: Iterable[tuple[str, Outcome, str, str]], rulebook: Rulebook
) -> tuple[Kinds, Numbers]:
    """The kinds among events (items, outcome, opens, regime), and which of them each event is."""
    codes: dict[tuple[str, Outcome, str, str], int] = {}
    of_each = np.fromiter((codes.setdefault(each, len(codes)) for each in events), dtype=np.int64)
    told = [_kind(*each, rulebook) for each in codes] or [_kind("", "pass", "", "", rulebook)]
    marked = np.array([each.marked for each in told], dtype=bool)
    kinds = Kinds(
        passed=np.array([each.passed for each in told], dtype=bool),
        failed=np.array([each.failed for each in told], dtype=bool),
        changed=np.array([each.changed for each in told], dtype=bool),
        citation=np.array([each.citation for each in told], dtype=object),
        change_citation=np.array([each.change_citation for each in told], dtype=object),
        lining=np.array([each.lining for each in told], dtype=np.int64),
        marked={name: marked[:, place] for place, name in enumerate(_MARKED)},
    )
    return kinds, of_each


def _kind(items: str, outcome: Outcome, opens: str, regime: str, rulebook: Rulebook) -> _Kind:
    its_own = frozenset(rulebook.regime_items.get(regime, ())) | _CHANGES
    names, chosen = _kept(items, its_own), _kept(opens, its_own)
    failed, changed = [False] * len(ITEMS), [False] * len(ITEMS)
    citation, change_citation = [""] * len(ITEMS), [""] * len(ITEMS)
    for item, owing in opened(Event(_DAY, names, outcome, opens=chosen), rulebook):
        place, cited = PLACE[item], owing.reason.citation or ""
        if not (failed[place] or changed[place]):
            citation[place] = cited
        if not owing.failed and not changed[place]:
            change_citation[place] = cited
        (failed if owing.failed else changed)[place] = True
    steps = [name for name in names if name in ("lining_applied", "lining_removed")]
    return _Kind(
        [outcome == "pass" and item in names for item in ITEMS], failed, changed,
        citation, change_citation,
        int(steps[-1] == "lining_applied") if steps else -1,
        [name in names for name in _MARKED],
    )  # fmt: skip


def _kept(joined: str, its_own: frozenset[str]) -> tuple[str, ...]:
    return tuple(name for name in joined.split(";") if name in its_own)

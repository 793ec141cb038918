"""What a change moved: the due items of a car before it and after it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from app.core.facts import ITEMS
from app.store.due import DueListRow


@dataclass(frozen=True, slots=True)
class Move:
    """An item before and after a change; None where the car had or has no such item."""

    item: str
    before: DueListRow | None
    after: DueListRow | None

    @property
    def opened(self) -> bool:
        """Whether it is owed now and was not before."""
        return _owed(self.after) and not _owed(self.before)

    @property
    def closed(self) -> bool:
        """Whether it was owed before and is no longer."""
        return _owed(self.before) and not _owed(self.after)

    @property
    def moved(self) -> bool:
        return _stand(self.before) != _stand(self.after)


def moves(before: Sequence[DueListRow], after: Sequence[DueListRow]) -> list[Move]:
    """Every item of either, moved or not, in the order of every list."""
    was, now = ({row.item: row for row in rows} for rows in (before, after))
    return [
        Move(item, was.get(item), now.get(item)) for item in ITEMS if item in was or item in now
    ]


def _owed(row: DueListRow | None) -> bool:
    return row is not None and row.state == "owed"


def _stand(row: DueListRow | None) -> object:
    return row and (row.status, row.due_on)

"""What a list can be filtered by: owners, regions, classes, ladings, as the register has them.

Asking which there are reads every car, so the answer is kept until a fact that bears on it is recorded.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from fastapi import Request
from sqlalchemy.orm import Session

from app.store import car_counts, cars, reach

Choice = tuple[str, str]
# Companies whose choices are kept at once.
MOST_KEPT = 64


@dataclass(frozen=True, slots=True)
class Choices:
    """For each filter what it sends and what it is called."""

    owners: Sequence[Choice]
    regions: Sequence[Choice]
    classes: Sequence[Choice]
    ladings: Sequence[Choice]

    def owner(self, key: int | None) -> str | None:
        return None if key is None else dict(self.owners).get(str(key))


def choices(request: Request, db: Session) -> Choices:
    newest = cars.newest(db)
    mine = reach.of(db)
    whose = mine.parties, mine.foreign
    held: tuple[object, dict[object, Choices]] = getattr(request.app.state, "choices", (None, {}))
    if held[0] != newest or len(held[1]) > MOST_KEPT:
        held = request.app.state.choices = (newest, {})
    if whose not in held[1]:
        held[1][whose] = _read(db)
    return held[1][whose]


def _read(db: Session) -> Choices:
    return Choices(
        owners=[(str(owner.id), owner.name) for owner in car_counts.owners(db)],
        regions=_called_so(car_counts.regions(db)),
        classes=_called_so(car_counts.specification_classes(db)),
        ladings=_called_so(car_counts.commodities(db)),
    )


def _called_so(names: Sequence[str]) -> list[Choice]:
    return [(name, name) for name in names]

"""Two cars never bear one mark and number on the same days."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import date, timedelta

from sqlalchemy.orm import Session

from app.errors import Conflict
from app.store import cars
from app.store.bearers import Borne, bearers, names_of
from app.store.columns import BEGINNING
from app.store.tables import Car


def must_be_free(db: Session, mark: str, number: int, car: Car | None) -> None:
    """Raise Conflict when another car in record bears the name today."""
    other = cars.by_name(db, mark, number)
    if other is not None and (car is None or other.id != car.id):
        raise Conflict(taken(mark, number))


def taken(mark: str, number: int) -> str:
    return (
        f"{mark} {number} is in the register already. "
        f"Open that car, or re-mark it, sell or scrap it first."
    )


def free_from(borne: Sequence[Borne]) -> date:
    """The day from which a car bears a name of which nobody says since when: after whoever had it."""
    return max((each.until for each in borne if each.until < date.max), default=BEGINNING)


def must_not_overlap(db: Session, car: Car, since: date) -> None:
    """Raise Conflict when the car bears a name, on a day from `since` on, that was another's then."""
    for (mark, number), borne in bearers(db, names_of(db, car.id)).items():
        for first, until, other in _shared(borne, car.id, since):
            raise Conflict(
                f"{mark} {number} was the name of another car, {other.car.name} today, "
                f"{_days(first, until)}. Two cars cannot bear one name at once: say another day, or "
                f"correct the names of that car first."
            )


def _shared(borne: Sequence[Borne], car_id: int, since: date) -> Iterator[tuple[date, date, Borne]]:
    own = [each for each in borne if each.car.id == car_id]
    for other in borne:
        for mine in own if other.car.id != car_id else ():
            first, until = max(mine.from_on, other.from_on, since), min(mine.until, other.until)
            if first < until:
                yield first, until, other


def _days(first: date, until: date) -> str:
    begun = "" if first == BEGINNING else f"from {first} "
    return f"{begun}on" if until == date.max else f"{begun}until {until - timedelta(days=1)}"

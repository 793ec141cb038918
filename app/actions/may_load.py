"""Whether a car may be loaded, asked by mark and number: what a loading rack wants to know."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from sqlalchemy.orm import Session

from app.actions import looking_back, rulebooks
from app.core.facts import Answer, Loading, Settings
from app.errors import Conflict, NotFound, Refused
from app.store import cars
from app.store.asked import Standpoint
from app.store.names import LARGEST, read_prefix


@dataclass(frozen=True, slots=True)
class MayLoad:
    """The answer for a car on a day, and what it was worked out from."""

    car_id: int
    mark: str
    number: int
    specification: str
    commodity: str | None
    on: date
    loading: Loading
    answer: Answer


def answer(db: Session, name: str, on: date, soon_days: int) -> MayLoad:
    """The car in record that bears this mark and number today.

    Raises Refused for what is no mark and number, NotFound where the session reaches no such car, and
    Conflict where it reaches two, each in the register of another company.
    """
    prefix = read_prefix(name)
    if not (prefix.mark and prefix.digits):
        raise Refused(f"{name.strip()!r} is not a mark and number. Write both, such as ZQKX 1045.")
    return of_car(db, prefix.mark, int(prefix.digits), on, soon_days)


def of_car(db: Session, mark: str, number: int, on: date, soon_days: int) -> MayLoad:
    """The same by mark and number apart."""
    found = cars.all_named(db, mark, number) if number <= LARGEST else []
    if not found:
        raise NotFound(
            f"There is no car {mark} {number} in the register. Check the mark and number on the car; "
            f"without an answer it is not to be loaded on the word of this page."
        )
    if len(found) > 1:
        raise Conflict(
            f"Two cars are in record as {mark} {number}. Ask their owners which of the two it is."
        )
    record = looking_back.record_of(db, found[0].id, Standpoint(on), Settings(soon_days=soon_days))
    whole = rulebooks.in_force(db).whole_answer(record, on).answer
    return MayLoad(
        found[0].id, mark, number, record.car.specification, record.car.service.commodity, on,
        whole.loading, whole,
    )  # fmt: skip

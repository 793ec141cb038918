"""What the routes on the register share: the page of a list, who records, a car's answer."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import date
from typing import Annotated, Any

from pydantic import BaseModel, ConfigDict, Field
from sqlalchemy.orm import Session

from app.actions import rulebooks
from app.answers import answer_as_json
from app.core.facts import Answer, Settings
from app.errors import Fault, Refused
from app.store import cars, facts
from app.store.facts import CarRecord
from app.store.names import NamePrefix, read_prefix

# No database takes a NUL in a text.
Words = Annotated[str, Field(max_length=200, pattern=r"^[^\x00]*$")]


class Listing(BaseModel):
    """What every list can be asked. A misspelt parameter is refused, not ignored."""

    model_config = ConfigDict(extra="forbid")

    search: Words = Field("", description="mark and number, or how they begin: `ZQKX 1045`")
    owner: Words | None = Field(None, description="the whole name of an owner")
    region: Words | None = None
    after: Words | None = Field(None, description="`next_after` of the page before")
    limit: int = Field(50, ge=1, le=500, description="rows a page")

    def prefix(self) -> NamePrefix:
        return read_prefix(self.search)

    def owner_id(self, db: Session) -> int | None:
        if self.owner is None:
            return None
        found = cars.party_by_name(db, self.owner)
        if found is None:
            raise Refused.because([Fault("owner", f"there is no owner named {self.owner!r}")])
        return found.id


@contextmanager
def told_at(place_of: Callable[[str], str]) -> Iterator[None]:
    """Faults at the place where the request states what an action calls by a name of its own."""
    try:
        yield
    except Refused as refused:
        raise Refused.because(
            Fault(place_of(each.path), each.problem) for each in refused.faults
        ) from None


def answered(db: Session, car_id: int, day: date, soon_days: int) -> tuple[CarRecord, Answer]:
    """What is known of a car on a day, and what the calculator says to it. Raises NotFound."""
    cars.car_or_raise(db, car_id)
    record = facts.load(db, [car_id], day, settings=Settings(soon_days=soon_days))[car_id]
    return record, rulebooks.in_force(db).whole_answer(record, day).answer


def answer_shown(db: Session, car_id: int, day: date, soon_days: int) -> dict[str, Any]:
    """The same as plain JSON."""
    return answer_as_json(answered(db, car_id, day, soon_days)[1])

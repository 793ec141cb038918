"""What the routes on the register share: the page of a list, who records, a car's answer."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import date, datetime
from typing import Annotated, Any
from zoneinfo import ZoneInfo

from fastapi import Depends, Query, Request
from pydantic import BaseModel, ConfigDict, Field
from sqlalchemy.orm import Session

from app.actions import looking_back, rulebooks
from app.actions.standpoint import Lookback, lookback
from app.answers import answer_as_json
from app.api.schemas import OnDay
from app.core.devices import Whole
from app.core.facts import Settings
from app.core.rule import Rulebook
from app.errors import Fault, Refused
from app.store import cars
from app.store.asked import Standpoint
from app.store.facts import CarRecord
from app.store.names import NamePrefix, read_prefix

# No database takes a NUL in a text.
Words = Annotated[str, Field(max_length=200, pattern=r"^[^\x00]*$")]


KNOWN = (
    "the register as it was known at this moment, by the rules in force then: `2026-01-05T12:00` in the "
    "time zone of the settings, with seconds, a fraction of them and an offset where they matter "
    "(`2026-01-05T12:00:30.25Z`), or a day. A day, minute, second or fraction is its end. What was "
    "recorded or corrected later does not count"
)


class Seen(BaseModel):
    """As of which day, and as known at which moment, a question is asked; without both, today."""

    model_config = ConfigDict(extra="forbid")

    as_of: OnDay | None = Field(
        None, description="facts and events after this day do not count; without it that of `known`"
    )
    known: Words | None = Field(None, description=KNOWN)


class Listing(Seen):
    """What every list can be asked. A misspelt parameter is refused, not ignored."""

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


def seen_from(request: Request, asked: Seen) -> Lookback | None:
    """From where the question is asked; None for today by what is known now. Raises Refused."""
    zone = ZoneInfo(request.app.state.settings.time_zone)
    now: datetime = request.app.state.clock()
    return lookback(asked.as_of, asked.known, now, zone)


def _back(request: Request, asked: Annotated[Seen, Query()]) -> Lookback | None:
    return seen_from(request, asked)


Back = Annotated[Lookback | None, Depends(_back)]


def standpoint(back: Lookback | None, today: date) -> Standpoint:
    return back.at if back else Standpoint(today)


def answered(
    db: Session, car_id: int, at: Standpoint, soon_days: int
) -> tuple[CarRecord, Whole, Rulebook]:
    """What is known of a car, seen from a day and a moment, what the calculator says to it, and by which rules.

    Raises NotFound.
    """
    cars.car_or_raise(db, car_id)
    record = looking_back.record_of(db, car_id, at, Settings(soon_days=soon_days))
    programme = rulebooks.in_force(db, at.known_at)
    whole = programme.whole_answer(record, at.as_of)
    return record, whole, programme.of(record.owner_id).rulebook


def answer_shown(db: Session, car_id: int, at: Standpoint, soon_days: int) -> dict[str, Any]:
    """The same as plain JSON."""
    _, whole, _ = answered(db, car_id, at, soon_days)
    return answer_as_json(whole.answer)

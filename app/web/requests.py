"""What a handler asks for by name: session, moment, day, settings, sender, form."""

from __future__ import annotations

from collections.abc import AsyncIterator, Callable, Iterator, Mapping
from contextlib import AbstractContextManager
from dataclasses import dataclass
from datetime import date, datetime
from typing import Annotated, Any
from zoneinfo import ZoneInfo

from fastapi import Depends, Path, Request
from pydantic import BeforeValidator
from sqlalchemy.orm import Session
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData, UploadFile

from app.access import Viewer
from app.actions.stamp import Stamp
from app.errors import NotFound
from app.settings import Settings
from app.store import db as store_db
from app.web.admission import (
    READING,
    Admitted,
    admitted,
    check_store,
    doer,
    may_lag,
    moment,
    viewer,
)

# A form for a thousand cars posts as many fields; more is no form of ours.
MOST_FIELDS = 20_000
MOST_IN_A_FIELD = 4 * 1024 * 1024
# A key beyond this is no row's on either engine, and a JSON number may not hold it.
LARGEST_KEY = 2**53
DIGITS = 16


def session(request: Request, asked: Annotated[Admitted, Depends(admitted)]) -> Iterator[Session]:
    """One session a request, with the reach of who asks; a changing one commits before the answer."""
    state = request.app.state
    check_store(request)
    if may_lag(request):
        with state.replica.session(asked.reach, request.state.replica_has) as lagging:
            if lagging is not None:
                yield lagging
                return
    reads = request.method in READING
    opened = (
        store_db.read_session(state.sessions, asked.reach)
        if reads
        else store_db.write_session(state.sessions, asked.reach, doer(request, asked))
    )
    with opened as db:
        yield db


@dataclass(frozen=True, slots=True)
class Sessions:
    """Short sessions with the reach of who asks, opened as they are needed."""

    reading: Callable[[], AbstractContextManager[Session]]
    writing: Callable[[], AbstractContextManager[Session]]


async def sessions(request: Request, asked: Annotated[Admitted, Depends(admitted)]) -> Sessions:
    """For what reads for long, or keeps something though it only asks."""
    state = request.app.state

    def reading() -> AbstractContextManager[Session]:
        return store_db.read_session(state.sessions, asked.reach)

    def writing() -> AbstractContextManager[Session]:
        return store_db.write_session(state.sessions, asked.reach, doer(request, asked))

    return Sessions(reading, writing)


async def now(request: Request) -> datetime:
    """This moment, in UTC; of a change, never before an earlier one's."""
    known = request.method in READING or hasattr(request.state, "moment")
    return moment(request) if known else await run_in_threadpool(moment, request)


def today(request: Request) -> date:
    """The day it is in the time zone of the settings."""
    zone = ZoneInfo(request.app.state.settings.time_zone)
    clock: datetime = request.app.state.clock()
    return clock.astimezone(zone).date()


# What asks no database is a coroutine, which is spared the way to a thread and back; two of these ways took a tenth of
# the time of a list page.


async def day(request: Request) -> date:
    return today(request)


async def settings(request: Request) -> Settings:
    held: Settings = request.app.state.settings
    return held


class Sent(Mapping[str, list[str]]):
    """What a form posted: every value of each field, trimmed, in order; files stand apart."""

    def __init__(self, data: FormData) -> None:
        self._data = data
        self._values = {
            name: [each.strip() for each in data.getlist(name) if isinstance(each, str)]
            for name in data
        }

    def __getitem__(self, name: str) -> list[str]:
        return self._values[name]

    def __iter__(self) -> Iterator[str]:
        return iter(self._values)

    def __len__(self) -> int:
        return len(self._values)

    def one(self, name: str) -> str:
        """The first value of a field; empty when it was not sent."""
        return next(iter(self._values.get(name, ())), "")

    def secret(self, name: str) -> str:
        """The first value of a field exactly as it was typed, spaces and all."""
        found = self._data.get(name)
        return found if isinstance(found, str) else ""

    def file(self, name: str) -> UploadFile | None:
        """The file handed in under `name`, or None when none was chosen."""
        found = self._data.get(name)
        return found if isinstance(found, UploadFile) and found.filename else None


async def posted(request: Request) -> AsyncIterator[Sent]:
    data = await form_of(request)
    try:
        yield Sent(data)
    finally:
        await data.close()


async def form_of(request: Request) -> FormData:
    """The form that was posted; read once, however often it is asked for."""
    return await request.form(max_fields=MOST_FIELDS, max_part_size=MOST_IN_A_FIELD)


async def recorder(asked: Annotated[Viewer, Depends(viewer)]) -> str:
    """Who records what is sent: the person signed in."""
    return asked.name


async def stamp(
    by: Annotated[str, Depends(recorder)],
    at: Annotated[datetime, Depends(now)],
    on: Annotated[date, Depends(day)],
) -> Stamp:
    return Stamp(by, at, on)


def recorder_for(person: str, named: str) -> str:
    """A person who records through a program that names itself, or for another."""
    return f"{person} ({named})"[:200] if named and named != person else person


def wants_part(request: Request) -> bool:
    """Whether htmx asks for a part of a page instead of the page."""
    return "hx-request" in request.headers and "hx-boosted" not in request.headers


def _that_a_row_can_have(given: Any) -> Any:
    """The number as given; one that no row can have is as good as not found."""
    text = str(given).strip()
    whole = text.removeprefix("-").isdecimal()
    if whole and (len(text) > DIGITS or not 1 <= int(text) <= LARGEST_KEY):
        shown = text if len(text) <= 2 * DIGITS else f"{text[:DIGITS]}…"
        raise NotFound(f"Nothing in the register has the number {shown}.")
    return given


# The number of a row in an address.
Key = Annotated[int, BeforeValidator(_that_a_row_can_have), Path(ge=1, le=LARGEST_KEY)]
# scope="function": the commit comes before the answer, so that a failed one is no 200.
Db = Annotated[Session, Depends(session, scope="function")]
Opening = Annotated[Sessions, Depends(sessions)]
Posted = Annotated[Sent, Depends(posted, scope="function")]
Now = Annotated[datetime, Depends(now)]
Today = Annotated[date, Depends(day)]
Configured = Annotated[Settings, Depends(settings)]
Stamped = Annotated[Stamp, Depends(stamp)]
Recorder = Annotated[str, Depends(recorder)]
Seeing = Annotated[Viewer, Depends(viewer)]
Asking = Annotated[Admitted, Depends(admitted)]

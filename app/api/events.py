"""Inspections and changes of a car: what was recorded, recording one, correcting one."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from typing import Annotated, Any

from fastapi import Body, Depends, Header, Response
from sqlalchemy.orm import Session

from app import web
from app.actions import events as actions
from app.actions.changes import NewEvent
from app.actions.stamp import Stamp
from app.api.event_schemas import (
    EventIn,
    EventOut,
    RecordedOut,
    event_out,
    place_of,
)
from app.api.exact import can_fail, subject
from app.api.matching import IfMatch, must_match
from app.api.parts import PartDueOut, part_due
from app.api.register import answer_shown, told_at
from app.api.schemas import DueDatesOut, PageOut
from app.errors import Conflict
from app.store import cars, events
from app.store.asked import Standpoint
from app.store.events import EventShown
from app.store.tables import EventRow

router = subject("events")

INSPECTION: dict[str, Any] = {
    "on": "2026-11-03",
    "items": ["visual", "structural_integrity", "thickness"],
    "outcome": "pass",
    "facility": "Invented Tank Car Works",
    "inspector": "I. Nobody",
    "reference": "R-1001",
    "readings": [
        {"zone": "shell_bottom", "inches": 0.441},
        {"zone": "head_b", "inches": 0.437, "extent": "local", "span_in": 6, "apart_in": 20},
    ],
    "recorded_by": "maintenance system",
}
CORRECTION: dict[str, Any] = INSPECTION | {"on": "2026-11-04", "notes": "the day was misread"}
IdempotencyKey = Annotated[
    str | None,
    Header(
        min_length=1,
        max_length=40,
        description="a text of your own for this one record: sent again, it adds nothing",
        examples=["5f0c1f7e-6f0b-4d2a-9d5e-0c6a3f4b7a11"],
    ),
]


@dataclass(frozen=True, slots=True)
class Sending:
    """What recording needs beside what is recorded."""

    response: Response
    db: Session
    now: datetime
    today: date
    soon_days: int
    key: str | None
    by: str
    version: str | None

    def stamp(self, named: str) -> Stamp:
        return Stamp(web.recorder_for(self.by, named), self.now, self.today)


def sending(
    response: Response,
    db: web.Db,
    now: web.Now,
    today: web.Today,
    settings: web.Configured,
    by: web.Recorder,
    idempotency_key: IdempotencyKey = None,
    if_match: IfMatch = None,
) -> Sending:
    return Sending(response, db, now, today, settings.soon_days, idempotency_key, by, if_match)


Sent = Annotated[Sending, Depends(sending, scope="function")]


@router.get(
    "/cars/{car_id}/events",
    summary="Everything recorded of a car's inspections and changes",
    responses=can_fail(404),
)
@web.may("read")
def history(car_id: web.Key, db: web.Db) -> PageOut[EventOut]:
    """Newest first, with those that were corrected or withdrawn; a car's whole history is one page.

    Whoever answers for the car's lining or service equipment alone is told what names those items and no
    others, without readings.
    """
    _, items = cars.part_or_raise(db, car_id)
    rows = [event_out(each) for each in events.history(db, car_id, items)]
    return PageOut(rows=rows, next_after=None)


@router.get("/events/{event_id}", summary="One event", responses=can_fail(404))
@web.may("read")
def one(event_id: web.Key, db: web.Db) -> EventOut:
    """An inspection or a change as it was recorded, and what became of it."""
    return event_out(_shown(db, events.event_or_raise(db, event_id)))


@router.post(
    "/cars/{car_id}/events",
    status_code=201,
    summary="Record an inspection or a change",
    responses=can_fail(404, 409, 412),
)
@web.may("record_work")
def record(
    car_id: web.Key,
    new: Annotated[EventIn, Body(openapi_examples={"inspection": {"value": INSPECTION}})],
    sent: Sent,
) -> RecordedOut:
    """Record an event, and answer what is due of the car now that it is recorded.

    The same inspection twice is a conflict. A reading that looks like a slip is asked about: send
    it again with `"confirmed": true` when it is right. With an `Idempotency-Key` a request sent
    again adds nothing, and is answered with 200 and what it recorded the first time.
    """
    event = new.as_change(sent.key)
    cars.part_or_raise(sent.db, car_id)
    row = _again(sent, car_id, event)
    if row is None:
        with told_at(place_of):
            row = actions.record_event(sent.db, car_id, event, sent.stamp(new.recorded_by))
        must_match(sent.db, car_id, sent.version)
    return _recorded(sent, row)


@router.post(
    "/events/{event_id}/correction",
    status_code=201,
    summary="Correct an event",
    responses=can_fail(404, 409, 412),
)
@web.may("record_work")
def correct(
    event_id: web.Key,
    new: Annotated[EventIn, Body(openapi_examples={"correction": {"value": CORRECTION}})],
    sent: Sent,
) -> RecordedOut:
    """Put a new event in the place of one that was recorded wrongly; both stay on the record.

    Send the whole event as it should have been. One that was corrected already is a conflict.
    """
    event = new.as_change(sent.key)
    row = _again(sent, actions.changeable_or_raise(sent.db, event_id).car_id, event)
    if row is None:
        with told_at(place_of):
            row = actions.correct_event(sent.db, event_id, event, sent.stamp(new.recorded_by))
        must_match(sent.db, row.car_id, sent.version)
    return _recorded(sent, row)


def _again(sent: Sending, car_id: int, event: NewEvent) -> EventRow | None:
    """What this key recorded before. Raises Conflict when that was something else."""
    row = events.by_form_key(sent.db, car_id, sent.key) if sent.key else None
    if row is None:
        return None
    if not actions.says_the_same(sent.db, row, event):
        raise Conflict(
            f"This Idempotency-Key recorded event {row.id}, which says something else. Nothing "
            f"was recorded now. Give every record a key of its own."
        )
    sent.response.status_code = 200
    return row


def _recorded(sent: Sending, row: EventRow) -> RecordedOut:
    sent.response.headers["Location"] = f"/api/v1/events/{row.id}"
    return RecordedOut(event=event_out(_shown(sent.db, row)), due=_due(sent, row.car_id))


def _due(sent: Sending, car_id: int) -> DueDatesOut | PartDueOut:
    car, items = cars.part_or_raise(sent.db, car_id)
    if items is not None:
        return part_due(sent.db, car, items, sent.today, sent.soon_days)
    return DueDatesOut(**answer_shown(sent.db, car_id, Standpoint(sent.today), sent.soon_days))


def _shown(db: Session, row: EventRow) -> EventShown:
    items = cars.part_or_raise(db, row.car_id)[1]
    found = [each for each in events.history(db, row.car_id, items) if each.row.id == row.id]
    if not found:
        raise events.unknown(row.id)
    return found[0]

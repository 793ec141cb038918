"""Field work from tablets: who is signed in, entries as they come, and the entries of a report that was stored."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from datetime import date, datetime
from typing import Annotated, Any, Literal

from fastapi import Body, Depends, Path, Request
from pydantic import BaseModel, ConfigDict, Field, SkipValidation
from sqlalchemy.orm import Session

from app import web
from app.actions import field as actions
from app.actions.stamp import Stamp
from app.answers.field_entries import MOST_AT_ONCE, AnyEntry, read_entry
from app.api.exact import can_fail, subject
from app.api.schemas import ErrorOut, FaultOut, Out
from app.core.facts import Outcome
from app.core.field.entries import Entry
from app.core.showing import Days, Length, Pressure
from app.errors import Conflict
from app.store import reports
from app.web import field_program, signing

router = subject("field work")

BEGUN: dict[str, Any] = {
    "key": "5f0c1f7e6f0b4d2a9d5e0c6a3f4b7a11",
    "report": "0b1d3c5e7f9a4b6c8d0e2f4a6b8c0d1e",
    "place": 1,
    "kind": "begun",
    "made_at": "2026-11-25T10:03:22.120Z",
    "replaces": None,
    "says": {
        "car_id": 1,
        "happened_on": "2026-11-25",
        "facility": "Invented Tank Car Works",
        "facility_address": "1 Nowhere Road, Made-up Town",
        "station_code": "ZQ01",
        "items": ["visual", "thickness"],
    },
}
READING: dict[str, Any] = {
    "key": "9a2c4e6081a34c5e8f7092b4d6f80a1c",
    "report": BEGUN["report"],
    "place": 2,
    "kind": "reading",
    "made_at": "2026-11-25T10:09:41.007Z",
    "replaces": None,
    "says": {"zone": "shell_bottom", "ring": 3, "spot": "6 o'clock", "inches": "0.438"},
}
SENDING: dict[str, Any] = {"person": 1, "entries": [BEGUN, READING]}
MANNER: dict[int | str, dict[str, Any]] = {
    429: {"model": ErrorOut, "description": "Too much in a short time; wait and go on."}
}


class PrefersOut(Out):
    """How the person reads and types thickness, pressure and days."""

    length: Length
    pressure: Pressure
    days: Days


class WhoOut(Out):
    """Who is signed in, which program the server holds for tablets, and its clock."""

    person: int
    name: str
    prefers: PrefersOut
    version: str
    now: datetime


class _In(BaseModel):
    model_config = ConfigDict(extra="forbid")


class SendingIn(_In):
    """Entries of one person's reports, in any order. What cannot be read is refused one by one."""

    person: int = Field(ge=1, description="whose entries these are; refused when somebody else is")
    # Each is read by itself, so that a fault of one holds up no other report.
    entries: list[SkipValidation[AnyEntry]] = Field(max_length=MOST_AT_ONCE)


class OtherOut(Out):
    """An event of the same car and item that came into the record meanwhile."""

    item: str
    event_id: int
    happened_on: date
    outcome: Outcome
    facility: str
    inspector: str
    recorded_by: str
    recorded_at: datetime


class ResultOut(Out):
    """What became of one entry."""

    key: str
    state: Literal["stored", "known", "refused", "waiting", "conflict"]
    faults: list[FaultOut]
    others: list[OtherOut]


class ReceivedOut(Out):
    """A result for each entry, in the order in which they were sent."""

    person: int
    results: list[ResultOut]


class EntryOut(Out):
    key: str
    report: str
    place: int
    kind: str
    made_at: datetime
    replaces: str | None
    says: dict[str, Any]


class ReportOut(Out):
    """A report as far as it is stored; `mine` says whether who asks began it and can add to it."""

    id: int
    key: str
    car_id: int
    mine: bool
    entries: list[EntryOut]


@dataclass(frozen=True, slots=True)
class Receiving:
    """What taking entries in needs beside the entries."""

    db: Session
    viewer_id: int
    stamp: Stamp
    request: Request

    def receiver(self) -> actions.Receiver:
        return actions.Receiver(self.viewer_id, self.stamp, signing.seal(self.request))


def receiving(
    request: Request, db: web.Db, viewer: web.Seeing, now: web.Now, today: web.Today
) -> Receiving:
    return Receiving(db, viewer.person_id, Stamp(viewer.name, now, today), request)


Received = Annotated[Receiving, Depends(receiving, scope="function")]
ReportKey = Annotated[str, Path(max_length=200)]


@router.get("/field/who", summary="Who is signed in, for a tablet")
@web.may("record_work")
def who(viewer: web.Seeing, now: web.Now) -> WhoOut:
    """Asked before anything is sent: a tablet shows and sends only what is this person's."""
    return WhoOut(
        person=viewer.person_id,
        name=viewer.name,
        prefers=PrefersOut(**asdict(viewer.prefers)),
        version=field_program.program().version,
        now=now,
    )


@router.post(
    "/field/entries",
    summary="Send entries of field work",
    responses=can_fail(409) | MANNER,
)
@web.may("record_work")
def send(
    sent: Annotated[SendingIn, Body(openapi_examples={"beginning": {"value": SENDING}})],
    received: Received,
) -> ReceivedOut:
    """Store each entry once, in the order of its report; sending it again adds nothing.

    An entry is stored, known from before, refused with what is to be mended, or waiting for an
    earlier one. With the entry `signed` the report becomes events, and due dates move; it is
    refused while something lacks, and a conflict while others recorded the same meanwhile.
    """
    if sent.person != received.viewer_id:
        raise Conflict("These entries are another person's. Whoever recorded them signs in first.")
    given = [actions.Sent(*read_entry(each)) for each in sent.entries]
    found = actions.receive(received.db, given, received.receiver())
    return ReceivedOut(person=sent.person, results=[_result_out(each) for each in found])


@router.get("/field/reports/{report_key}", summary="A report as stored", responses=can_fail(404))
@web.may("record_work")
def one(report_key: ReportKey, db: web.Db, viewer: web.Seeing) -> ReportOut:
    """For a tablet that lost what it held. Of somebody else's report of a car that is reached, to read."""
    row = reports.keyed_or_raise(db, report_key)
    entries = reports.entries(db, [row])[row.key]
    return ReportOut(
        id=row.id, key=row.key, car_id=row.car_id, mine=row.person_id == viewer.person_id,
        entries=[_entry_out(each) for each in entries],
    )  # fmt: skip


def _result_out(result: actions.Result) -> ResultOut:
    return ResultOut(
        key=result.key,
        state=result.state,
        faults=[FaultOut(path=each.path, problem=each.problem) for each in result.faults],
        others=[OtherOut(**asdict(each)) for each in result.others],
    )


def _entry_out(entry: Entry) -> EntryOut:
    return EntryOut(
        key=entry.key, report=entry.report, place=entry.place, kind=entry.kind,
        made_at=entry.made_at, replaces=entry.replaces, says=dict(entry.says),
    )  # fmt: skip

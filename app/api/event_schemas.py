"""Inspections and changes of a car, in and out, named as the calculator's request names them."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated

from pydantic import Field

from app.actions.changes import NewEvent, NewReading
from app.answers.request import EventPart, ReadingPart, Text
from app.api.exactly import as_decimal, decimal_or_none
from app.api.parts import PartDueOut
from app.api.schemas import NOBODY, DueDatesOut, Exact, Out, RecordedBy
from app.core.facts import Extent, Outcome
from app.store.events import EventShown
from app.store.tables import ReadingRow


class ReadingIn(ReadingPart):
    """A thickness reading; `confirmed` says that somebody looked again at an unlikely number."""

    confirmed: bool = False

    def as_change(self) -> NewReading:
        return NewReading(
            zone=self.zone,
            inches=as_decimal(self.inches),
            extent=self.extent,
            span_in=decimal_or_none(self.span_in),
            apart_in=decimal_or_none(self.apart_in),
            confirmed=self.confirmed,
        )


class EventIn(EventPart):
    """An inspection with an outcome, a change to the car, or both on one day."""

    readings: list[ReadingIn] = Field([], max_length=10_000)  # type: ignore[assignment]
    facility: Text = ""
    inspector: Text = ""
    notes: Annotated[str, Field(max_length=10_000)] = ""
    recorded_by: RecordedBy = NOBODY

    def as_change(self, form_key: str | None) -> NewEvent:
        return NewEvent(
            happened_on=self.on.day,
            month_only=self.on.month_only,
            items=tuple(self.items),
            outcome=self.outcome,
            opens=tuple(self.opens),
            facility=self.facility,
            inspector=self.inspector,
            reference=self.reference or "",
            notes=self.notes,
            readings=tuple(reading.as_change() for reading in self.readings),
            form_key=form_key,
        )


def place_of(path: str) -> str:
    """Where a request states what an action calls `path`."""
    return "on" if path == "happened_on" else path


class ReadingOut(Out):
    zone: str
    inches: Exact
    extent: Extent
    span_in: Exact | None
    apart_in: Exact | None
    stated: str | None = Field(
        description="the measures that were stated in another unit, such as inches=11.1 mm; here they are "
        "rounded down to the sixth place"
    )


class WithdrawalOut(Out):
    """Who let an event count no longer, with none in its place, and why."""

    recorded_by: str
    recorded_at: datetime
    reason: str


class EventOut(Out):
    """An event as recorded. `in_force` is false when it was corrected, withdrawn or taken back."""

    id: int
    car_id: int
    on: str = Field(description="YYYY-MM-DD, or YYYY-MM where only the month is known")
    items: list[str]
    outcome: Outcome | None = Field(
        description="of what was inspected; null for a change alone, which neither passes nor fails"
    )
    opens: list[str]
    readings: list[ReadingOut]
    facility: str
    inspector: str
    reference: str
    notes: str
    recorded_by: str
    recorded_at: datetime
    in_force: bool
    corrects: int | None = Field(description="the event that this one replaces")
    corrected_by: int | None = Field(description="the event that replaces this one")
    withdrawal: WithdrawalOut | None


class RecordedOut(Out):
    """What was recorded, and what is due now that it is."""

    event: EventOut
    due: DueDatesOut | PartDueOut


def reading_out(row: ReadingRow) -> ReadingOut:
    return ReadingOut(
        zone=row.zone,
        inches=row.inches,
        extent="local" if row.extent == "local" else "general",
        span_in=row.span_in,
        apart_in=row.apart_in,
        stated=row.stated,
    )


def event_out(shown: EventShown) -> EventOut:
    row, gone = shown.row, shown.withdrawal
    return EventOut(
        id=row.id,
        car_id=row.car_id,
        on=f"{row.happened_on:%Y-%m}" if row.month_only else row.happened_on.isoformat(),
        items=list(shown.items),
        outcome=shown.outcome,
        opens=list(shown.opens),
        readings=[reading_out(each) for each in shown.readings],
        facility=row.facility,
        inspector=row.inspector,
        reference=row.reference,
        notes=row.notes,
        recorded_by=row.recorded_by,
        recorded_at=row.recorded_at,
        in_force=shown.in_force,
        corrects=row.corrects,
        corrected_by=shown.corrected_by,
        withdrawal=gone
        and WithdrawalOut(
            recorded_by=gone.recorded_by, recorded_at=gone.recorded_at, reason=gone.reason
        ),
    )

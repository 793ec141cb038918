"""Trying a change on a car: what would fall due if it were so, with nothing recorded."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from typing import Annotated, Any, Literal

from fastapi import Body
from pydantic import BaseModel, ConfigDict, Field
from sqlalchemy.orm import Session

from app import web
from app.actions import rulebooks
from app.answers import answer_as_json
from app.answers.request import ApprovalPart, Day, Months, ServicePart, StencilPart
from app.api.exact import can_fail, subject
from app.api.schemas import DueDatesOut, Out
from app.core import trial
from app.core.facts import Due, Settings, Status
from app.core.status import state_on
from app.core.trial import Change, Direction, LiningWork
from app.errors import Fault, Refused
from app.store import cars, facts

router = subject("cars")

EXAMPLE: dict[str, Any] = {
    "service": {"commodity": "Hydrochloric acid", "un": "UN1789", "hazard_class": "8"},
    "lining": {"what": "applied", "on": "2026-11-20", "inspected": True},
    "owner_interval_months": {"lining": 60},
}


class _Tried(BaseModel):
    model_config = ConfigDict(
        extra="forbid", strict=True, frozen=True, arbitrary_types_allowed=True
    )


class LiningIn(_Tried):
    what: Literal["applied", "removed"]
    on: Day
    inspected: bool = Field(False, description="what the work asks for passed on the same day")


class IntervalsIn(_Tried):
    service_equipment: Months | None = None
    relief_device: Months | None = None
    lining: Months | None = None


class ReadingIn(_Tried):
    due_precision: Literal["day", "month_end", "year_end"] | None = None
    stencil_year: Literal["start", "end"] | None = None


class TrialIn(_Tried):
    """What is tried; what is left out stays as it is on record."""

    as_of: Day | None = Field(None, description="the day the trial is seen on; today when left out")
    service: ServicePart | None = Field(None, description="another lading, whole")
    stated: ServicePart | None = Field(
        None, description="only these facts of the lading are stated otherwise"
    )
    lining: LiningIn | None = None
    stencil: StencilPart | None = Field(None, description="takes the place of the whole stencil")
    approval: ApprovalPart | None = None
    owner_interval_months: IntervalsIn = IntervalsIn()
    settings: ReadingIn = ReadingIn()

    def as_core(self) -> Change:
        stated = self.stated.as_core() if self.stated else None
        names = sorted(self.stated.model_fields_set) if self.stated else ()
        return Change(
            service=self.service.as_core() if self.service else None,
            stated=tuple((name, getattr(stated, name)) for name in names),
            lining=self._lining(),
            stencil=self.stencil.as_core() if self.stencil else None,
            approval=self.approval.as_core() if self.approval else None,
            service_equipment_months=self.owner_interval_months.service_equipment,
            relief_device_months=self.owner_interval_months.relief_device,
            lining_months=self.owner_interval_months.lining,
            due_precision=self.settings.due_precision,
            stencil_year=self.settings.stencil_year,
        )

    def _lining(self) -> LiningWork | None:
        work = self.lining
        return LiningWork(work.what, work.on.day, work.inspected) if work else None


class StandOut(Out):
    status: Status
    due_on: date | None
    interval_months: int | None


class MoveOut(Out):
    """A due item before and after; null where the car has no such item."""

    item: str
    direction: Direction = Field(description="due now and unknown count as sooner than any date")
    days: int | None = Field(description="from the date before to the date after")
    what_changes: str
    before: StandOut | None
    after: StandOut | None


class TrialOut(Out):
    as_of: date
    moves: list[MoveOut]
    before: DueDatesOut
    after: DueDatesOut


@router.post("/cars/{car_id}/trial", summary="Try a change on a car", responses=can_fail(404))
@web.may("try_out")
def tried(
    car_id: web.Key,
    new: Annotated[TrialIn, Body(openapi_examples={"lined for acid": {"value": EXAMPLE}})],
    db: web.Db,
    today: web.Today,
    settings: web.Configured,
) -> TrialOut:
    """What would fall due if something were otherwise, before and after, with each item's move.

    Another lading, lining work, a stencil, an approval, an interval of the owner, or another reading
    of dates can be tried, alone or together.

    Nothing is recorded. A calculation aid: the rule in force, the owner's written instructions and
    the qualified shop decide.
    """
    day = _seen_on(new, today)
    return _compared(db, car_id, day, settings.soon_days, new.as_core())


def _seen_on(new: TrialIn, today: date) -> date:
    if new.as_of and new.as_of.month_only:
        raise Refused.because([Fault("as_of", "must be a day, a month alone does not do")])
    day = new.as_of.day if new.as_of else today
    faults = [
        Fault(path, f"is {told}, later than {day}, the day the trial is seen on")
        for path, told in _days(new)
        if told > day
    ]
    if new.lining and new.lining.on.month_only:
        faults.append(Fault("lining.on", "must be a day, a month alone does not do"))
    if faults:
        raise Refused.because(faults)
    return day


def _days(new: TrialIn) -> Iterator[tuple[str, date]]:
    if new.lining:
        yield "lining.on", new.lining.on.day
    if new.stencil and new.stencil.marked_on:
        yield "stencil.marked_on", new.stencil.marked_on.day


def _compared(db: Session, car_id: int, day: date, soon_days: int, change: Change) -> TrialOut:
    cars.car_or_raise(db, car_id)
    record = facts.load(db, [car_id], day, settings=Settings(soon_days=soon_days))[car_id]
    programme = rulebooks.in_force(db)
    before = programme.whole_answer(record, day).answer
    after = programme.whole_answer(record, day, change).answer

    def stand(due: Due | None) -> StandOut | None:
        if due is None:
            return None
        status = state_on(due.state, due.due_on, day, soon_days)
        return StandOut(status=status, due_on=due.due_on, interval_months=due.interval_months)

    moves = [
        MoveOut(
            item=move.item,
            direction=move.direction,
            days=move.days,
            what_changes=move.in_words(),
            before=stand(move.before),
            after=stand(move.after),
        )
        for move in trial.moves(before, after)
    ]
    return TrialOut(
        as_of=day,
        moves=moves,
        before=DueDatesOut(**answer_as_json(before)),
        after=DueDatesOut(**answer_as_json(after)),
    )

"""Visits of cars to shops: those going on, sending a car, noting that it arrived or was released."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Annotated, Any

from fastapi import Body, Depends, Response
from pydantic import BaseModel, ConfigDict, Field
from sqlalchemy.orm import Session

from app import web
from app.actions import visits as actions
from app.actions.stamp import Stamp
from app.api.exact import can_fail, subject
from app.api.schemas import Out, PageOut
from app.store import cars, visit_lists, visit_work, visiting
from app.store.visit_lists import VisitFilter
from app.store.visit_work import WorkShown
from app.store.visiting import VisitShown

router = subject("visits")

SENDING: dict[str, Any] = {
    "shop": "Invented Tank Car Works",
    "sent_on": "2026-11-10",
    "instructions": "Qualify the relief valve; look at the lining.",
}
ARRIVAL: dict[str, Any] = {"on": "2026-11-14"}
RELEASE: dict[str, Any] = {"on": "2026-11-24"}


class _In(BaseModel):
    model_config = ConfigDict(extra="forbid")


class SendingIn(_In):
    """To which shop a car is sent, and when. A shop that is not known yet is added."""

    shop: str = Field(min_length=1, max_length=200, pattern=r"^[^\x00]*$")
    sent_on: date
    instructions: str = Field("", max_length=10_000, pattern=r"^[^\x00]*$")


class StepIn(_In):
    """The day on which it happened."""

    on: date


class VisitWorkOut(Out):
    """A due item to be done; done once it passed between the day sent and the day released."""

    item: str
    due_on: date | None
    done_on: date | None


class VisitOut(Out):
    """A visit with the day of each step; null where that did not happen yet.

    `state` is planned, sent, in_shop, released or cancelled. `month` and `days_out` (days from sent to
    released) are those it was planned with; null where it was not planned.
    """

    id: int
    car_id: int
    mark: str
    number: int
    owner: str
    shop: str
    instructions: str
    sent_on: date | None
    arrived_on: date | None
    released_on: date | None
    state: str
    month: str | None = Field(examples=["2027-02"])
    days_out: int | None
    work: list[VisitWorkOut]


@dataclass(frozen=True, slots=True)
class Noting:
    """What noting needs beside what is noted."""

    db: Session
    stamp: Stamp


def noting(by: web.Recorder, db: web.Db, now: web.Now, today: web.Today) -> Noting:
    return Noting(db, Stamp(by, now, today))


Noted = Annotated[Noting, Depends(noting, scope="function")]


@router.get("/visits", summary="Cars in the shops, and planned visits")
@web.may("read")
def going_on(db: web.Db, today: web.Today) -> PageOut[VisitOut]:
    """Cars that were sent and are not released, by shop, mark and number; then planned visits by month; one page."""
    planned = visit_lists.in_state(db, VisitFilter(today), "planned")
    return PageOut(rows=visits_out(db, [*visiting.going_on(db), *planned]), next_after=None)


@router.get("/cars/{car_id}/visits", summary="A car's visits to shops", responses=can_fail(404))
@web.may("read")
def of_car(car_id: web.Key, db: web.Db) -> PageOut[VisitOut]:
    """All that count, the latest first; what was undone is on the car's page."""
    cars.car_or_raise(db, car_id)
    return PageOut(rows=visits_out(db, visiting.of_car(db, car_id)), next_after=None)


@router.post(
    "/cars/{car_id}/visits",
    status_code=201,
    summary="Send a car to a shop",
    responses=can_fail(404, 409),
)
@web.may("record_facts")
def send(
    car_id: web.Key,
    new: Annotated[SendingIn, Body(openapi_examples={"sending": {"value": SENDING}})],
    noted: Noted,
    response: Response,
) -> VisitOut:
    """The shop's people reach all of the car until it is released.

    A conflict while it is sent and not released, and for a car that is out of record.
    """
    sending = actions.Sending(new.shop, new.sent_on, new.instructions)
    visit = actions.send(noted.db, car_id, sending, noted.stamp)
    response.headers["Location"] = f"/api/v1/cars/{car_id}/visits"
    return visit_out(noted.db, visiting.one(noted.db, visit.id))


@router.post(
    "/visits/{visit_id}/arrival",
    summary="The car arrived at the shop",
    responses=can_fail(404, 409),
)
@web.may("record_work")
def arrived(
    visit_id: web.Key,
    new: Annotated[StepIn, Body(openapi_examples={"arrival": {"value": ARRIVAL}})],
    noted: Noted,
) -> VisitOut:
    """Note the day on which the shop had the car; a conflict when it was noted already."""
    actions.step(noted.db, visit_id, "arrived", new.on, noted.stamp)
    return visit_out(noted.db, visiting.one(noted.db, visit_id))


@router.post(
    "/visits/{visit_id}/release",
    summary="The shop released the car",
    responses=can_fail(404, 409),
)
@web.may("record_work")
def released(
    visit_id: web.Key,
    new: Annotated[StepIn, Body(openapi_examples={"release": {"value": RELEASE}})],
    noted: Noted,
) -> VisitOut:
    """From then on the shop's people reach the car no longer, so for them this answer is the last."""
    before = visiting.one(noted.db, visit_id)
    actions.step(noted.db, visit_id, "released", new.on, noted.stamp)
    days = {**before.days, "released": new.on}
    return visit_out(noted.db, replace(before, days=days))


def visit_out(db: Session, visit: VisitShown) -> VisitOut:
    return visits_out(db, [visit])[0]


def visits_out(db: Session, visits: Sequence[VisitShown]) -> list[VisitOut]:
    work = visit_work.work_of(db, [each.id for each in visits])
    return [_out(each, work.get(each.id, ())) for each in visits]


def _out(visit: VisitShown, work: Sequence[WorkShown]) -> VisitOut:
    return VisitOut(
        id=visit.id,
        car_id=visit.car_id,
        mark=visit.mark,
        number=visit.number,
        owner=visit.owner,
        shop=visit.shop,
        instructions=visit.instructions,
        sent_on=visit.days.get("sent"),
        arrived_on=visit.days.get("arrived"),
        released_on=visit.days.get("released"),
        state=visit.state,
        month=f"{visit.month:%Y-%m}" if visit.month else None,
        days_out=visit.days_out,
        work=[
            VisitWorkOut(item=each.item, due_on=each.due_on, done_on=each.done_on) for each in work
        ],
    )

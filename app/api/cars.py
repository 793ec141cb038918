"""Cars of the register: listing, one with its facts, what is due of it, and adding one."""

from __future__ import annotations

from datetime import date, datetime
from typing import Annotated, Any, Literal

from fastapi import Body, Query, Request, Response
from pydantic import Field
from sqlalchemy.orm import Session

from app import web
from app.actions import cars as actions
from app.actions import components, looking_back
from app.actions.stamp import Stamp
from app.answers import answer_as_json
from app.api.calculator import REQUEST
from app.api.cars_in import CarIn, place_of
from app.api.cars_out import CarOut, CarRowOut, facts_out, row_out
from app.api.exact import can_fail, subject
from app.api.matching import etag
from app.api.parts import PartDueOut, part_due
from app.api.register import (
    Back,
    Listing,
    Words,
    answer_shown,
    answered,
    seen_from,
    standpoint,
    told_at,
)
from app.api.schemas import DueDatesOut, PageOut, ReasonOut
from app.core.contradictions import of_car
from app.store import car_as_known, cars
from app.store.asked import Standpoint
from app.store.cars import RegisterFilter
from app.store.tables import STANDINGS

router = subject("cars")

NEW_CAR: dict[str, Any] = REQUEST["car"] | {
    "owner": "Northern Example Leasing",
    "region": "North",
    "service_from": "2019-05-01",
    "recorded_by": "maintenance system",
}
Standing = Literal[*STANDINGS, "all"]  # type: ignore[valid-type]


class CarPageOut(PageOut[CarRowOut]):
    as_of: date
    known_at: datetime | None = Field(description="the moment as known at; null is now")


class DueDatesThenOut(DueDatesOut):
    """The calculator's answer to what was known at a moment."""

    known_at: datetime


class CarsAsked(Listing):
    """Filters of the fleet register."""

    standing: Standing | None = Field(
        None, description="without it every car in record; `all` also those sold or scrapped"
    )
    specification_class: Words | None = Field(None, description="such as `111`")
    commodity: Words | None = None


@router.get("/cars", summary="The fleet register, by mark and number")
@web.may("read", looks_back=True)
def listed(
    request: Request,
    asked: Annotated[CarsAsked, Query()],
    db: web.Db,
    today: web.Today,
    settings: web.Configured,
) -> CarPageOut:
    """Cars with what falls due first. Pages follow by cursor: pass `next_after` as `after`.

    A search for mark and number finds a car by a name it had, too; it is listed by the one of the day.
    """
    back, search = seen_from(request, asked), asked.prefix()
    now = back is None or back.stored
    wanted = RegisterFilter(
        search=search,
        once_so_named=cars.once_beginning(db, search) if now else (),
        owner_id=asked.owner_id(db),
        region=asked.region,
        standing=asked.standing,
        specification_class=asked.specification_class,
        commodity=asked.commodity,
    )
    if back is None or back.stored:
        page = cars.register(db, wanted, asked.after, asked.limit)
    else:
        page = looking_back.register(db, back.at, wanted).page(asked.after, asked.limit)
    at = standpoint(back, today)
    rows = [row_out(row, at.as_of, settings.soon_days) for row in page.rows]
    return CarPageOut(rows=rows, next_after=page.next_after, as_of=at.as_of, known_at=at.known_at)


@router.get("/cars/{car_id}", summary="A car with its facts and due items", responses=can_fail(404))
@web.may("read", looks_back=True)
def one(
    car_id: web.Key,
    db: web.Db,
    today: web.Today,
    settings: web.Configured,
    back: Back,
    response: Response,
) -> CarOut:
    """Every fact in force on the day, as a due-date request states it, and every due item.

    As of today by what is known now, or with `as_of` and `known` as of another day, as known at
    another moment. As of now the header ETag is the version of what is recorded; a change sent with
    it as If-Match is made only while nothing else was recorded of the car.
    """
    shown = _shown(db, car_id, standpoint(back, today), settings.soon_days)
    if back is None:
        response.headers["ETag"] = etag(db, car_id)
    return shown


@router.get("/cars/{car_id}/due", summary="What is due of a car, and why", responses=can_fail(404))
@web.may("read", looks_back=True)
def due(
    car_id: web.Key, db: web.Db, today: web.Today, settings: web.Configured, back: Back
) -> DueDatesThenOut | DueDatesOut | PartDueOut:
    """The calculator's answer to all that is recorded of the car.

    Due items with their reasons, thickness against its lines, and whether it may be loaded on the
    day: today, or with `as_of` and `known` another day, by what was known at another moment. Whoever
    answers for the car's lining or service equipment alone is told those items, as of today.

    A calculation aid: the rule in force, the owner's written instructions and the qualified shop
    decide.
    """
    car, items = cars.part_or_raise(db, car_id)
    if items is not None:
        if back:
            raise cars.unknown(car_id)
        return part_due(db, car, items, today, settings.soon_days)
    at = standpoint(back, today)
    answer = answer_shown(db, car_id, at, settings.soon_days)
    if at.known_at is None:
        return DueDatesOut(**answer)
    return DueDatesThenOut(**answer, known_at=at.known_at)


@router.post("/cars", status_code=201, summary="Add a car", responses=can_fail(409))
@web.may("record_facts")
def add(
    new: Annotated[CarIn, Body(openapi_examples={"car": {"value": NEW_CAR}})],
    response: Response,
    by: web.Recorder,
    db: web.Db,
    now: web.Now,
    today: web.Today,
    settings: web.Configured,
) -> CarOut:
    """Add a car with all that is known of it. An owner that is not known yet is added too.

    A relief device that is named is put on the car; inspections are recorded as events.
    """
    stamp = Stamp(web.recorder_for(by, new.recorded_by), now, today)
    with told_at(place_of):
        car = actions.add_car(db, new.as_change(), stamp)
    device = new.relief_installation()
    if device is not None:
        with told_at("relief_device.{}".format):
            components.install(db, car.id, device, stamp)
    response.headers["Location"] = f"/api/v1/cars/{car.id}"
    return _shown(db, car.id, Standpoint(today), settings.soon_days)


def _shown(db: Session, car_id: int, at: Standpoint, soon_days: int) -> CarOut:
    record, whole, rulebook = answered(db, car_id, at, soon_days)
    car = record.facts(at.as_of, whole.first).car
    put_on = car_as_known.on_car(car_as_known.mounted_history(db, car_id, at))
    kinds = {each.component.kind for each in put_on}
    told = of_car(car, record.events, kinds, rulebook)
    return CarOut(
        id=car_id,
        as_of=at.as_of,
        known_at=at.known_at,
        mark=car.mark,
        number=car.number,
        owner=cars.party_names(db)[record.owner_id],
        region=record.region,
        standing=record.standing,
        facts=facts_out(car),
        due=answer_as_json(whole.answer)["items"],
        contradictions=[ReasonOut(text=each.text, citation=each.citation) for each in told],
    )

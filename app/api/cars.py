"""Cars of the register: listing, one with its facts, what is due of it, and adding one."""

from __future__ import annotations

from datetime import date
from typing import Annotated, Any, Literal

from fastapi import Body, Query, Response
from pydantic import Field
from sqlalchemy.orm import Session

from app import web
from app.actions import cars as actions
from app.actions import components, rulebooks
from app.actions.stamp import Stamp
from app.answers import answer_as_json
from app.api.calculator import REQUEST
from app.api.cars_in import CarIn, place_of
from app.api.cars_out import CarOut, CarRowOut, facts_out, row_out
from app.api.exact import can_fail, subject
from app.api.register import Listing, Words, answer_shown, answered, told_at
from app.api.schemas import DueDatesOut, PageOut, ReasonOut
from app.core.contradictions import of_car
from app.store import cars
from app.store.cars import RegisterFilter
from app.store.components import on_car
from app.store.tables import STANDINGS

router = subject("cars")

NEW_CAR: dict[str, Any] = REQUEST["car"] | {
    "owner": "Northern Example Leasing",
    "region": "North",
    "service_from": "2019-05-01",
    "recorded_by": "maintenance system",
}
Standing = Literal[*STANDINGS, "all"]  # type: ignore[valid-type]


class CarsAsked(Listing):
    """Filters of the fleet register."""

    standing: Standing | None = Field(
        None, description="without it every car in record; `all` also those sold or scrapped"
    )
    specification_class: Words | None = Field(None, description="such as `111`")
    commodity: Words | None = None


@router.get("/cars", summary="The fleet register, by mark and number")
def listed(
    asked: Annotated[CarsAsked, Query()], db: web.Db, today: web.Today, settings: web.Configured
) -> PageOut[CarRowOut]:
    """Cars with what falls due first. Pages follow by cursor: pass `next_after` as `after`.

    A search for mark and number finds a car by a name it had, too; it is listed by today's.
    """
    search = asked.prefix()
    wanted = RegisterFilter(
        search=search,
        once_so_named=cars.once_beginning(db, search),
        owner_id=asked.owner_id(db),
        region=asked.region,
        standing=asked.standing,
        specification_class=asked.specification_class,
        commodity=asked.commodity,
    )
    page = cars.register(db, wanted, asked.after, asked.limit)
    rows = [row_out(row, today, settings.soon_days) for row in page.rows]
    return PageOut(rows=rows, next_after=page.next_after)


@router.get("/cars/{car_id}", summary="A car with its facts and due items", responses=can_fail(404))
def one(car_id: web.Key, db: web.Db, today: web.Today, settings: web.Configured) -> CarOut:
    """Every fact in force today, as a due-date request states it, and every due item."""
    return _shown(db, car_id, today, settings.soon_days)


@router.get("/cars/{car_id}/due", summary="What is due of a car, and why", responses=can_fail(404))
def due(car_id: web.Key, db: web.Db, today: web.Today, settings: web.Configured) -> DueDatesOut:
    """The calculator's answer to all that is recorded of the car.

    Due items with their reasons, thickness against its lines, and whether it may be loaded today.

    A calculation aid: the rule in force, the owner's written instructions and the qualified shop
    decide.
    """
    return DueDatesOut(**answer_shown(db, car_id, today, settings.soon_days))


@router.post("/cars", status_code=201, summary="Add a car", responses=can_fail(409))
def add(
    new: Annotated[CarIn, Body(openapi_examples={"car": {"value": NEW_CAR}})],
    response: Response,
    db: web.Db,
    now: web.Now,
    today: web.Today,
    settings: web.Configured,
) -> CarOut:
    """Add a car with all that is known of it. An owner that is not known yet is added too.

    A relief device that is named is put on the car; inspections are recorded as events.
    """
    stamp = Stamp(new.recorded_by, now, today)
    with told_at(place_of):
        car = actions.add_car(db, new.as_change(), stamp)
    device = new.relief_installation()
    if device is not None:
        with told_at("relief_device.{}".format):
            components.install(db, car.id, device, stamp)
    response.headers["Location"] = f"/api/v1/cars/{car.id}"
    return _shown(db, car.id, today, settings.soon_days)


def _shown(db: Session, car_id: int, today: date, soon_days: int) -> CarOut:
    record, answer = answered(db, car_id, today, soon_days)
    programme = rulebooks.in_force(db)
    first = programme.whole_answer(record, today).first
    car = record.facts(today, first).car
    kinds = {each.component.kind for each in on_car(db, car_id, today)}
    told = of_car(car, record.events, kinds, programme.of(record.owner_id).rulebook)
    return CarOut(
        id=car_id,
        mark=car.mark,
        number=car.number,
        owner=cars.party_names(db)[record.owner_id],
        region=record.region,
        standing=record.standing,
        facts=facts_out(car),
        due=answer_as_json(answer)["items"],
        contradictions=[ReasonOut(text=each.text, citation=each.citation) for each in told],
    )

"""Work orders to be printed, a page for each car: what is to be done in a visit, by which steps, and with what care."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from fastapi import APIRouter, Request
from fastapi.responses import Response
from sqlalchemy.orm import Session

from app import web
from app.actions.pack import PackedInstruction, instruction
from app.actions.pack_numbers import Zone
from app.actions.work_orders import zones_of
from app.core.facts import EVENT_ITEMS
from app.errors import Fault, Refused
from app.pages.instructions import MEASURES
from app.pages.visit_lists import Line, Seen, lines
from app.rules.field_work import field_work
from app.store import cars, instructions, visit_lists, visiting
from app.store.tables import Car
from app.store.visit_work import WorkShown
from app.store.visiting import VisitShown

router = APIRouter()

# What fits a folder; more is asked for in parts.
MOST = 200
LISTED = ("planned", "sent", "in_shop")


@dataclass(frozen=True, slots=True)
class Job:
    """A due item to be done, and the steps that it goes by: built in, the owner’s, or both."""

    work: WorkShown
    steps: PackedInstruction | None


@dataclass(frozen=True, slots=True)
class Order:
    """What stands on the order of a visit."""

    line: Line
    car: Car
    jobs: Sequence[Job]
    zones: Sequence[Zone]

    @property
    def measured(self) -> Sequence[Zone]:
        """The zones to be measured, where thickness is among the work."""
        return self.zones if any(job.work.item == "thickness" for job in self.jobs) else ()


@router.get("/visits/orders")
@web.may("read")
def orders(request: Request, db: web.Db, seen: Seen) -> Response:
    """Those of the visits of a shop that are not over, for a month when it names one."""
    if "shop" not in seen.asked.values:
        raise Refused.because([Fault("shop", "want the name of the shop whose orders they are")])
    seen.asked.refuse()
    states = [each for each in seen.filter.states if each in LISTED]
    found = [
        each for state in states for each in visit_lists.in_state(db, seen.filter, state, MOST + 1)
    ]
    if len(found) > MOST:
        raise Refused(f"These are more than {MOST} work orders. Ask for those of one month.")
    return _page(request, db, found, seen.filter.today, f"Work orders for {seen.filter.shop}")


@router.get("/visits/{visit_id}/order")
@web.may("read")
def order(request: Request, visit_id: web.Key, db: web.Db, today: web.Today) -> Response:
    visit = visiting.one(db, visit_id)
    return _page(request, db, [visit], today, f"Work order {visit_id}, {visit.mark} {visit.number}")


def _page(
    request: Request, db: Session, found: Sequence[VisitShown], today: date, title: str
) -> Response:
    work = field_work()
    return web.page(
        request,
        "visits/orders.html",
        title=title,
        orders=_orders(db, lines(db, found, today), today),
        cautions=work.cautions,
        measures=dict(MEASURES),
        titles={each.id: each.title for each in work.cautions},
        today=today,
    )


def _orders(db: Session, found: Sequence[Line], today: date) -> list[Order]:
    held = [(line, cars.car_or_raise(db, line.visit.car_id)) for line in found]
    own = instructions.in_force(db, {car.owner_id for _, car in held}, today)
    zones = zones_of(db, [car.id for _, car in held], today)
    return [
        Order(line, car, [_job(each, car, own) for each in line.work], zones.get(car.id, ()))
        for line, car in held
    ]


def _job(work: WorkShown, car: Car, own: Mapping[tuple[int, str], instructions.Instructed]) -> Job:
    if work.item not in EVENT_ITEMS:
        return Job(work, None)
    return Job(work, instruction(work.item, own.get((car.owner_id, work.item))))

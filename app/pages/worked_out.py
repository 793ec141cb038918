"""How a car's dates were worked out: all the calculator said of it and what was checked beside, for paper."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from fastapi import APIRouter, Request
from fastapi.responses import Response
from sqlalchemy.orm import Session

from app import web
from app.actions import looking_back, rulebooks
from app.actions.car_checks import Checks, checks
from app.actions.car_seen import (
    DeviceLine,
    DueLine,
    Heading,
    answered,
    heading,
    line,
    specification,
)
from app.actions.standpoint import Lookback
from app.core.facts import Answer, Settings
from app.core.loading import MECHANICAL
from app.files.drawings import ZoneScale, zone_scales
from app.pages.car_view import seen_from
from app.pages.changing import Looking, Seen
from app.pages.looking_back import Back
from app.store import car_as_known, cars, components
from app.store.asked import Standpoint
from app.store.components import Mounted
from app.store.facts import CarRecord

router = APIRouter()


@dataclass(frozen=True, slots=True)
class WorkedOut:
    """What the page shows: the answer on a day, and the facts that it was given."""

    car: Heading
    day: date
    owner: str
    record: CarRecord
    answer: Answer
    specification: Sequence[tuple[str, str]]
    due: Sequence[DueLine]
    devices: Sequence[DeviceLine]
    scales: Sequence[ZoneScale]
    checks: Checks

    @property
    def qualification(self) -> list[DueLine]:
        return [each for each in self.due if each.due.item not in MECHANICAL]

    @property
    def mechanical(self) -> list[DueLine]:
        return [each for each in self.due if each.due.item in MECHANICAL]


@router.get("/cars/{car_id}/worked-out")
@web.may("read", looks_back=True)
def worked_out_page(
    request: Request, car_id: web.Key, db: web.Db, looking: Looking, back: Back
) -> Response:
    cars.car_or_raise(db, car_id)
    shown = _view(db, car_id, looking, back)
    return web.page(
        request,
        "cars/worked_out.html",
        car=shown.car,
        view=shown,
        checks=shown.checks,
        back=back,
    )


def _view(db: Session, car_id: int, looking: Seen, back: Lookback | None) -> WorkedOut:
    at = seen_from(looking, back)
    day, programme = at.as_of, rulebooks.in_force(db, at.known_at)
    record = looking_back.record_of(db, car_id, at, Settings(soon_days=looking.soon_days))
    record, rulebook = programme.read(record), programme.of(record.owner_id).rulebook
    answer, devices = answered(record, day, rulebook)
    return WorkedOut(
        car=heading(record),
        day=day,
        owner=cars.party_names(db)[record.owner_id],
        record=record,
        answer=answer,
        specification=specification(record.car.specification, rulebook),
        due=[line(due, day, looking.soon_days) for due in answer.items],
        devices=devices,
        scales=zone_scales(answer.thickness),
        checks=checks(db, record, _mounted(db, car_id, at, back), at),
    )


def _mounted(db: Session, car_id: int, at: Standpoint, back: Lookback | None) -> Sequence[Mounted]:
    """What is on the car now, or was on it as known then."""
    if back is None:
        return components.on_car(db, car_id, at.as_of)
    return car_as_known.on_car(car_as_known.mounted_history(db, car_id, at))

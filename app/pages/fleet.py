"""The fleet register: by mark and number, filtered, told in words, and taken away as files."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any, cast

from fastapi import APIRouter, Request
from fastapi.responses import Response
from sqlalchemy.orm import Session

from app import web
from app.core.due import state_on
from app.core.facts import State, Status
from app.core.words import label
from app.pages.choices import Choices, choices
from app.pages.exports import Table, as_csv, as_xlsx
from app.pages.filters import Asked
from app.store import cars
from app.store.cars import CarListRow, RegisterFilter
from app.store.paging import Page
from app.store.tables import STANDINGS

router = APIRouter()

NAMES = ("q", "owner", "region", "standing", "class", "lading")
PAGE = 50
STANDING_CHOICES = (
    *((name, label(name)) for name in STANDINGS),
    ("all", "every car ever registered"),
)
# An export is read by pages too, only larger ones.
EXPORT_PAGE = 1000
EXPORTED = (
    "mark", "number", "owner", "region", "standing", "specification", "lading", "built_on",
    "next_item", "next_status", "next_due_on",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Line:
    """A car of the register with how its next due item stands."""

    car: CarListRow
    next_status: Status | None


@dataclass(frozen=True)
class Wanted:
    asked: Asked
    filter: RegisterFilter
    choices: Choices

    def in_words(self) -> str:
        """What the register shows, as a sentence."""
        found = self.filter
        name = f"{found.search.mark} {found.search.digits}".strip()
        parts = [
            _standing_in_words(found.standing),
            name and f"mark and number beginning {name}",
            found.once_so_named and "or once called so",
            found.owner_id and f"owner {self.choices.owner(found.owner_id)}",
            found.region and f"region {found.region}",
            found.specification_class and f"class {found.specification_class}",
            found.commodity and f"lading {found.commodity}",
        ]
        return f"{', '.join(part for part in parts if part)}."


def _standing_in_words(standing: str | None) -> str:
    if standing == "all":
        return "Every car ever registered"
    return f"Cars {label(standing)}" if standing else "Cars in the register"


@router.get("/fleet")
def register(request: Request, db: web.Db, today: web.Today, settings: web.Configured) -> Response:
    seen = wanted(request, db)
    fine = not seen.asked.problems
    after = request.query_params.get("after") or None
    found: Page[CarListRow] = cars.register(db, seen.filter, after, PAGE) if fine else Page(())
    return web.page(
        request,
        "fleet/list.html",
        200 if fine else 422,
        asked=seen.asked.values,
        problems=seen.asked.problems,
        in_words=seen.in_words(),
        lines=[_line(car, today, settings.soon_days) for car in found.rows],
        count=cars.count(db, seen.filter) if fine else 0,
        after=after,
        previous=found.previous,
        next_after=found.next_after,
        choices=seen.choices,
        standings=STANDING_CHOICES,
    )


@router.get("/fleet.csv")
def register_csv(
    request: Request, db: web.Db, today: web.Today, settings: web.Configured
) -> Response:
    return as_csv(_table(request, db, today, settings.soon_days))


@router.get("/fleet.xlsx")
def register_xlsx(
    request: Request, db: web.Db, today: web.Today, settings: web.Configured
) -> Response:
    return as_xlsx(_table(request, db, today, settings.soon_days))


def _table(request: Request, db: Session, today: date, soon_days: int) -> Table:
    seen = wanted(request, db)
    seen.asked.refuse()
    rows = (_cells(_line(car, today, soon_days)) for car in _every(db, seen.filter))
    return Table(f"fleet-{today}", "Fleet", EXPORTED, rows)


def _every(db: Session, wanted: RegisterFilter) -> Iterator[CarListRow]:
    after: str | None = None
    while True:
        page = cars.register(db, wanted, after, EXPORT_PAGE)
        yield from page.rows
        if page.next_after is None:
            return
        after = page.next_after


def _line(car: CarListRow, today: date, soon_days: int) -> Line:
    if car.next_state is None:
        return Line(car, None)
    return Line(car, state_on(cast(State, car.next_state), car.next_due_on, today, soon_days))


def _cells(line: Line) -> Sequence[Any]:
    car = line.car
    return (
        car.mark, car.number, car.owner, car.region, car.standing, car.specification,
        car.commodity, car.built_on, car.next_item, line.next_status, car.next_due_on,
    )  # fmt: skip


def wanted(request: Request, db: Session, beside: Collection[str] = ()) -> Wanted:
    """What the address asks of the register; `beside` are other names that the page knows."""
    given = choices(request, db)
    asked = Asked.of(request.query_params, NAMES, beside)
    search = asked.prefix("q")
    made = RegisterFilter(
        search=search,
        once_so_named=cars.once_beginning(db, search),
        owner_id=asked.key("owner", given.owners),
        region=asked.one_of("region", given.regions),
        standing=asked.one_of("standing", STANDING_CHOICES),
        specification_class=asked.one_of("class", given.classes),
        commodity=asked.one_of("lading", given.ladings),
    )
    return Wanted(asked, made, given)

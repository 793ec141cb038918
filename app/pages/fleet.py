"""The fleet register: by mark and number, filtered, told in words, and taken away as files."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import date
from typing import Any, Protocol, cast
from urllib.parse import urlencode

from fastapi import APIRouter, Request
from fastapi.responses import Response
from sqlalchemy.orm import Session

from app import web
from app.actions import looking_back
from app.actions.standpoint import Lookback
from app.core.due import state_on
from app.core.facts import State, Status
from app.core.words import label
from app.errors import Refused
from app.files import lists_out
from app.pages import looking_back as from_where
from app.pages.choices import Choices, choices
from app.pages.exports import Table, as_asked
from app.pages.filters import Asked
from app.store import car_counts, cars
from app.store.cars import CarListRow, RegisterFilter
from app.store.names import read_name
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
    back: Lookback | None = None

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
@web.may("read", looks_back=True, may_lag=True)
def register(request: Request, db: web.Db, today: web.Today, settings: web.Configured) -> Response:
    seen = wanted_seen(request, db)
    after = request.query_params.get("after") or None
    rows = _rows(db, seen)
    found: Page[CarListRow] = rows.page(after, PAGE) if rows else Page(())
    seen = replace(seen, filter=rows.wanted) if rows else seen
    day = seen.back.at.as_of if seen.back else today
    return web.page(
        request,
        "fleet/list.html",
        200 if rows else 422,
        asked=seen.asked.values,
        problems=seen.asked.problems,
        in_words=seen.in_words(),
        lines=[_line(car, day, settings.soon_days) for car in found.rows],
        count=rows.count() if rows else 0,
        some_cars=rows.some_cars if rows else True,
        after=after,
        back=seen.back,
        previous=found.previous,
        next_after=found.next_after,
        choices=seen.choices,
        standings=STANDING_CHOICES,
    )


@router.get("/find")
@web.may("read")
def find(request: Request, db: web.Db) -> Response:
    """The page of the car whose whole mark and number is asked for; else every car that begins so."""
    text = request.query_params.get("q", "")
    with suppress(Refused):
        if car := cars.by_name(db, *read_name(text)):
            return web.see_other(f"/cars/{car.id}")
    return web.see_other(f"/fleet?{urlencode({'q': text})}")


@router.get("/fleet.csv")
@router.get("/fleet.xlsx")
@router.get("/fleet.json")
@web.may("read", looks_back=True, may_lag=True)
def register_file(
    request: Request, db: web.Db, today: web.Today, settings: web.Configured
) -> Response:
    return as_asked(request, _table(request, db, today, settings.soon_days))


def _table(request: Request, db: Session, today: date, soon_days: int) -> Table:
    seen = wanted_seen(request, db)
    seen.asked.refuse()
    back = seen.back
    day, looked_from = back.at.as_of if back else today, from_where.cells(back)
    rows = ((*_cells(_line(car, day, soon_days)), *looked_from) for car in made(db, seen).each())
    columns = (*lists_out.FLEET.columns, *from_where.columns(back))
    return Table(f"fleet-{back.name if back else today}", "Fleet", columns, rows)


class Rows(Protocol):
    """A register to be shown: as it is stored, or worked out as it was."""

    @property
    def wanted(self) -> RegisterFilter: ...
    @property
    def some_cars(self) -> bool: ...
    def page(self, after: str | None = None, limit: int = 50) -> Page[CarListRow]: ...
    def each(self) -> Iterator[CarListRow]: ...
    def count(self) -> int: ...


@dataclass(frozen=True)
class Stored:
    """The register as it is."""

    db: Session
    wanted: RegisterFilter
    some_cars: bool = True

    def page(self, after: str | None = None, limit: int = 50) -> Page[CarListRow]:
        return cars.register(self.db, self.wanted, after, limit)

    def each(self) -> Iterator[CarListRow]:
        after: str | None = None
        while True:
            page = self.page(after, EXPORT_PAGE)
            yield from page.rows
            if page.next_after is None:
                return
            after = page.next_after

    def count(self) -> int:
        return car_counts.count(self.db, self.wanted)


def _rows(db: Session, seen: Wanted) -> Rows | None:
    """The register that is asked for; None, with what is wrong noted, where it cannot be shown."""
    if seen.asked.problems:
        return None
    try:
        return made(db, seen)
    except Refused as too_many:
        seen.asked.problems["owner"] = str(too_many)
        return None


def made(db: Session, seen: Wanted) -> Rows:
    """The register that was asked for. Raises Refused where it is too large to be worked out."""
    if seen.back is None or seen.back.stored:
        return Stored(db, seen.filter)
    return looking_back.register(db, seen.back.at, seen.filter)


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
    asked = Asked.of(request.query_params, NAMES, beside)
    made = filter_of(asked, choices(request, db))
    made = replace(made, once_so_named=cars.once_beginning(db, made.search))
    return Wanted(asked, made, choices(request, db))


def wanted_seen(request: Request, db: Session) -> Wanted:
    """The same where the address may ask how the register stood at another time."""
    asked = Asked.of(request.query_params, (*NAMES, *from_where.NAMES))
    back = from_where.read(asked, request)
    if back is None or back.stored:
        given = choices(request, db)
        made = filter_of(asked, given)
        made = replace(made, once_so_named=cars.once_beginning(db, made.search))
        return Wanted(asked, made, given, back)
    given = from_where.choices_then(db, back.at)
    return Wanted(asked, filter_of(asked, given), given, back)


def filter_of(asked: Asked, given: Choices) -> RegisterFilter:
    """The register that the fields ask for; what is wrong is noted beside its field."""
    return RegisterFilter(
        search=asked.prefix("q"),
        owner_id=asked.key("owner", given.owners),
        region=asked.one_of("region", given.regions),
        standing=asked.one_of("standing", STANDING_CHOICES),
        specification_class=asked.one_of("class", given.classes),
        commodity=asked.one_of("lading", given.ladings),
    )

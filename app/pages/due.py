"""The due list and the overdue list: filtered, told in words, by pages, and as CSV and XLSX."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Annotated, Any, Protocol, cast

from fastapi import APIRouter, Depends, Request
from fastapi.responses import Response
from sqlalchemy.orm import Session

from app import web
from app.actions import looking_back
from app.actions.reasons import each_told, told
from app.actions.standpoint import Lookback
from app.core.facts import ITEMS, Reason, Status
from app.core.words import capitalized, label
from app.errors import NotFound, Refused
from app.files import lists_out
from app.files.tables_out import counted
from app.pages import looking_back as from_where
from app.pages.choices import Choice, Choices, choices
from app.pages.exports import Table, as_asked
from app.pages.filters import Asked
from app.rules.reader import default_rulebook
from app.store import cars, due_counts
from app.store import due as due_rows
from app.store.due import DueFilter, DueListRow
from app.store.paging import Page

router = APIRouter()

NAMES = ("q", "owner", "item", "rule", "status", "region", "from", "to", "cars", *from_where.NAMES)
PAGE = 50
# Cars; above it the totals come after the page.
COUNTED_AT_ONCE = 5_000
STATUSES: tuple[Status, ...] = (
    "due_now",
    "overdue",
    "soon",
    "in_date",
    "by_event",
    "unknown",
    "not_required",
)
OVERDUE_STATUSES: tuple[Status, ...] = ("due_now", "overdue")
ITEM_CHOICES = tuple((item, capitalized(label(item))) for item in ITEMS)
RULE_CHOICES = tuple(
    (name, capitalized(name.replace("_", " ")))
    for name, rule in default_rulebook().rules.items()
    if rule.feeds
)
CARS_CHOICES = (("all", "in service or not"),)


@dataclass(frozen=True)
class Kind:
    """One of the two lists: what it is called, where it is, what it keeps."""

    heading: str
    address: str
    overdue: bool
    statuses: Sequence[Status]

    @property
    def status_choices(self) -> list[Choice]:
        return [(status, label(status)) for status in self.statuses]


DUE = Kind("Due", "/due", overdue=False, statuses=STATUSES)
OVERDUE = Kind("Overdue", "/overdue", overdue=True, statuses=OVERDUE_STATUSES)


@dataclass(frozen=True)
class Totals:
    """How many there are of each status, whichever is asked for, and how many rows the list has."""

    by_status: Sequence[tuple[Status, int]]
    count: int


@dataclass
class Wanted:
    """What is asked of a list: the fields as typed, the filter they make, the choices given."""

    asked: Asked
    filter: DueFilter
    choices: Choices
    back: Lookback | None


class Rows(Protocol):
    """A list to be shown: as it is stored, or worked out as it was."""

    @property
    def some_cars(self) -> bool: ...
    def page(self, after: str | None = None, limit: int = 50) -> Page[DueListRow]: ...
    def each(self) -> Iterator[DueListRow]: ...
    def totals(self) -> dict[Status, int]: ...


@dataclass(frozen=True)
class Stored:
    """The list of today, or of a later day if nothing is done until then."""

    db: Session
    wanted: DueFilter
    some_cars: bool = True

    def page(self, after: str | None = None, limit: int = 50) -> Page[DueListRow]:
        return due_rows.page(self.db, self.wanted, after, limit)

    def each(self) -> Iterator[DueListRow]:
        return due_rows.each(self.db, self.wanted)

    def totals(self) -> dict[Status, int]:
        kind = OVERDUE if self.wanted.overdue else DUE
        return due_counts.totals(self.db, self.wanted, kind.statuses)


@dataclass(frozen=True)
class Here:
    """Where a list stands: the request, its session, the day and how many days off is soon."""

    request: Request
    db: Session
    today: date
    soon_days: int


async def here(request: Request, db: web.Db, today: web.Today, settings: web.Configured) -> Here:
    return Here(request, db, today, settings.soon_days)


At = Annotated[Here, Depends(here)]


@router.get("/due")
@web.may("read", looks_back=True, may_lag=True)
def due_list(at: At) -> Response:
    return _listing(at, DUE)


@router.get("/due.csv")
@router.get("/due.xlsx")
@router.get("/due.json")
@web.may("read", looks_back=True, may_lag=True)
def due_file(at: At) -> Response:
    return as_asked(at.request, _table(at, DUE))


@router.get("/overdue")
@web.may("read", looks_back=True, may_lag=True)
def overdue_list(at: At) -> Response:
    return _listing(at, OVERDUE)


@router.get("/overdue.csv")
@router.get("/overdue.xlsx")
@router.get("/overdue.json")
@web.may("read", looks_back=True, may_lag=True)
def overdue_file(at: At) -> Response:
    return as_asked(at.request, _table(at, OVERDUE))


@router.get("/due/totals")
@web.may("read", looks_back=True, may_lag=True)
def due_totals(at: At) -> Response:
    return _totals_alone(at, DUE)


@router.get("/overdue/totals")
@web.may("read", looks_back=True, may_lag=True)
def overdue_totals(at: At) -> Response:
    return _totals_alone(at, OVERDUE)


@router.get("/due/{car_id}/{item}/reasons")
@web.may("read", looks_back=True)
def reasons(car_id: web.Key, item: str, at: At, back: from_where.Back) -> Response:
    """Why one item falls due, to be unfolded below its row."""
    if back and not back.stored:
        cars.car_or_raise(at.db, car_id)
        rows = looking_back.items_of(at.db, car_id, back.at, at.soon_days)
    else:
        cars.part_or_raise(at.db, car_id)
        rows = due_rows.for_car(at.db, car_id, at.today, at.soon_days)
    row = [each for each in rows if each.item == item]
    if not row:
        raise NotFound("This car has no such due item now. Load the list again.")
    if not (back and not back.stored):
        row = told(at.db, row, at.today)
    return web.partial(at.request, "due/_reasons.html", row=row[0], back=back)


def _listing(at: Here, kind: Kind) -> Response:
    seen = wanted(at, kind)
    after = at.request.query_params.get("after") or None
    rows = _rows(at, seen)
    found: Page[DueListRow] = rows.page(after, PAGE) if rows else Page(())
    at_once = isinstance(rows, looking_back.DueItems) or _counts_at_once(at)
    return web.page(
        at.request,
        "due/list.html",
        200 if rows else 422,
        kind=kind,
        asked=seen.asked.values,
        problems=seen.asked.problems,
        in_words=f"{seen.filter.in_words()}.",
        found=found,
        built=cars.built(at.db, {row.car_id for row in found.rows}),
        some_cars=rows.some_cars if rows else True,
        totals=_totals(rows, kind, seen.filter) if rows and at_once else None,
        after=after,
        back=seen.back,
        choices=seen.choices,
        items=ITEM_CHOICES,
        rules=RULE_CHOICES,
        which_cars=CARS_CHOICES,
    )


def _totals_alone(at: Here, kind: Kind) -> Response:
    seen = wanted(at, kind)
    rows = rows_or_refuse(at, seen)
    return web.partial(
        at.request,
        "due/_totals.html",
        kind=kind,
        asked=seen.asked.values,
        totals=_totals(rows, kind, seen.filter),
    )


def _rows(at: Here, seen: Wanted) -> Rows | None:
    """The list that is asked for; None, with what is wrong noted, where it cannot be shown."""
    if seen.asked.problems:
        return None
    try:
        return _made(at, seen)
    except Refused as too_many:
        seen.asked.problems["owner"] = str(too_many)
        return None


def rows_or_refuse(at: Here, seen: Wanted) -> Rows:
    """The list that is asked for. Raises Refused where it cannot be shown."""
    seen.asked.refuse()
    return _made(at, seen)


def _made(at: Here, seen: Wanted) -> Rows:
    if seen.back is None or seen.back.stored:
        return Stored(at.db, seen.filter)
    return looking_back.due_items(at.db, seen.back.at, seen.filter)


def _counts_at_once(at: Here) -> bool:
    """Counting reads the whole list: a large fleet's page comes first, and its totals after it."""
    return "totals" in at.request.query_params or cars.highest_key(at.db) <= COUNTED_AT_ONCE


def _totals(rows: Rows, kind: Kind, seen: DueFilter) -> Totals:
    found = rows.totals()
    by_status = [(status, found[status]) for status in kind.statuses if found[status]]
    return Totals(by_status, sum(found[status] for status in _counted(seen, kind)))


def _counted(seen: DueFilter, kind: Kind) -> Sequence[Status]:
    """The statuses whose rows the list holds; without one asked for it holds dated items only."""
    if seen.status:
        return (seen.status,)
    return [status for status in kind.statuses if status not in due_rows.UNDATED]


def _table(at: Here, kind: Kind) -> Table:
    """Every row of the list as shown, to be taken away. A wrong filter gives no file."""
    seen = wanted(at, kind)
    rows, back = rows_or_refuse(at, seen), seen.back
    name = f"{kind.heading.lower()}-{back.name if back else seen.filter.as_of}"
    columns = (*lists_out.DUE.columns, *from_where.columns(back))
    return Table(name, kind.heading, columns, _cells(at, rows, back))


def _cells(at: Here, rows: Rows, back: Lookback | None) -> Iterator[Sequence[Any]]:
    looked_from = from_where.cells(back)
    # What is stored tells why as of today, also where a later day is looked at.
    day, known_at = (
        (at.today, None) if back is None or back.stored else (back.at.as_of, back.at.known_at)
    )
    for row in each_told(at.db, rows.each(), day, known_at):
        yield [*cells(row), *looked_from]


def cells(row: DueListRow) -> list[Any]:
    """A line of a file: the columns of `lists_out.DUE`."""
    found = {name: getattr(row, name) for name in lists_out.DUE.names}
    found["reasons"] = " ".join(_spoken(reason) for reason in row.reasons)
    found["calculated_due_on"] = counted(row.basis_on, row.interval_months, row.calculated_due_on)
    return list(found.values())


def _spoken(reason: Reason) -> str:
    return f"{reason.text} ({reason.citation})." if reason.citation else f"{reason.text}."


def wanted(at: Here, kind: Kind) -> Wanted:
    """What the address asks of a list; what is wrong is noted beside its field."""
    asked = Asked.of(at.request.query_params, NAMES)
    back = from_where.read(asked, at.request)
    given = _choices(at, back)
    day = back.at.as_of if back else at.today
    return Wanted(asked, filter_of(asked, given, kind, day, at.soon_days), given, back)


def filter_of(asked: Asked, given: Choices, kind: Kind, as_of: date, soon_days: int) -> DueFilter:
    """The list that the fields ask for; what is wrong is noted beside its field."""
    owner_id = asked.key("owner", given.owners)
    return DueFilter(
        as_of=as_of,
        soon_days=soon_days,
        owner_id=owner_id,
        owner=given.owner(owner_id),
        item=asked.one_of("item", ITEM_CHOICES),
        rule=asked.one_of("rule", RULE_CHOICES),
        status=cast(Status | None, asked.one_of("status", kind.status_choices)),
        overdue=kind.overdue,
        region=asked.one_of("region", given.regions),
        search=asked.prefix("q"),
        due_from=asked.day("from"),
        due_to=asked.day("to"),
        listed_only=asked.one_of("cars", CARS_CHOICES) is None,
    )


def _choices(at: Here, back: Lookback | None) -> Choices:
    if back is None or back.stored:
        return choices(at.request, at.db)
    return from_where.choices_then(at.db, back.at)

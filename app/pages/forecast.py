"""Forecast: what falls due over ten years, with and without the planned visits; days, costs, last service days."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from typing import Any, cast

from fastapi import APIRouter, Request
from fastapi.responses import Response
from sqlalchemy.orm import Session

from app import web
from app.actions import plans, rulebooks
from app.core.facts import VISIT_ITEMS
from app.core.plan.basis import Basis
from app.core.plan.forecast import MONTHS, YEARS, Falling, Need, by_month, ended, left_out, needs
from app.core.plan.problem import month_text
from app.core.words import capitalized, label
from app.errors import NotFound
from app.files import forecast_lists
from app.files.charts import Chart, svg
from app.files.list_out import ListOut
from app.files.tables_out import Sheet, Value, plain
from app.pages.choices import choices
from app.pages.exports import Table, as_asked, as_picture, as_workbook
from app.pages.filters import Asked
from app.store import forecasting
from app.store.forecasting import ForecastFilter, Grouping, LastDay

router = APIRouter()
Rows = list[Sequence[Value]]

GROUPINGS = (("item", "item"), ("owner", "owner"), ("region", "region"))
ITEM_CHOICES = tuple((item, capitalized(label(item))) for item in VISIT_ITEMS)
VISITS = (("with", "as planned"),)
NAMES = ("by", "item", "owner", "region", "visits")
PICTURES = ("due", "days", "cost", "last-days")
# More groups than this are drawn as one; the table has them all.
MOST_DRAWN = 8
OTHERS = "others"
# Last service days that the page lists; the files have all.
MOST_LAST = 500


@dataclass(frozen=True, slots=True)
class Forecast:
    """Ten years from a month on. Of the last service days `last` may be the first alone.

    `due` counts by group and month, with the planned visits where `moved`.

    `plain` and `planned` are needs by month, without and with the planned visits.
    """

    first: int
    groups: Sequence[str]
    due: Mapping[tuple[str, int], int]
    plain: Mapping[int, Need]
    planned: Mapping[int, Need]
    capacity: Mapping[int, float]
    last: Sequence[LastDay]
    last_number: int
    last_years: Mapping[int, int]
    any_planned: bool
    moved: bool = False
    # Items by month that would fall due when their car is in service no more; nothing above counts them.
    left_out: Mapping[int, int] = field(default_factory=dict)

    @property
    def months(self) -> range:
        return range(self.first, self.first + MONTHS)

    @property
    def years(self) -> list[int]:
        return sorted({month // 12 for month in self.months})

    def total(self, month: int) -> int:
        return self.plain.get(month, Need()).number

    def by_year(self, needed: Mapping[int, Need]) -> dict[int, Need]:
        found: dict[int, Need] = defaultdict(Need)
        for month, need in needed.items():
            found[month // 12] += need
        return found

    def left_out_by_year(self) -> dict[int, int]:
        found: dict[int, int] = defaultdict(int)
        for month, number in self.left_out.items():
            found[month // 12] += number
        return found

    def last_by_year(self) -> dict[int, int]:
        """Cars by the year of their first such day; what is past stands in the first year."""
        found: dict[int, int] = defaultdict(int)
        for year, number in self.last_years.items():
            found[max(year, self.first // 12)] += number
        return found


def forecast(
    db: Session,
    wanted: ForecastFilter,
    basis: Basis,
    today: date,
    moved: bool = False,
    most: int | None = None,
) -> Forecast:
    """What falls due, and of the last service days the first `most`."""
    start = today.replace(day=1)
    first, months = today.year * 12 + today.month - 1, MONTHS
    # What a month asks for is the same in whatever groups; its work is that of the kinds of items.
    falling, gone = _falling(db, replace(wanted, by="item"), start)
    grouped = falling if wanted.by == "item" else _falling(db, wanted, start)[0]
    due, visits = forecasting.moved_by_plan(db, wanted, start)
    counted = by_month(grouped, first, months)
    if moved:
        counted = _moved(counted, by_month(due, first, months), by_month(visits, first, months))
    sizes: dict[str, int] = defaultdict(int)
    for (group, _), number in counted.items():
        sizes[group] += number
    plain = needs(falling, basis, first, months)
    planned = _less(plain, needs(due, basis, first, months), needs(visits, basis, first, months))
    capacity = {
        month: sum(shop.capacity(month_text(month)) for shop in basis.shops)
        for month in range(first, first + months)
    }
    # Whatever item is asked for, a car comes to its last day.
    whichever = replace(wanted, item=None)
    return Forecast(
        first, sorted(sizes, key=lambda group: (-sizes[group], group)), counted, plain, planned,
        capacity, forecasting.last_days(db, whichever, start, most),
        forecasting.count_last_days(db, whichever, start), forecasting.cars_by_last_year(db, whichever, start),
        bool(visits), moved, left_out(gone, first, months),
    )  # fmt: skip


def _falling(
    db: Session, wanted: ForecastFilter, start: date
) -> tuple[list[Falling], list[Falling]]:
    """What falls due while its car is in service; and what would after that."""
    gone = forecasting.gone(db, wanted, start)
    return ended(forecasting.falling(db, wanted, start), gone), gone


Counted = Mapping[tuple[str, int], int]


def _moved(all_: Counted, taken: Counted, put: Counted) -> dict[tuple[str, int], int]:
    found = {at: all_.get(at, 0) - taken.get(at, 0) + put.get(at, 0) for at in {*all_, *put}}
    return {at: number for at, number in found.items() if number}


def _less(
    all_: Mapping[int, Need], taken: Mapping[int, Need], put: Mapping[int, Need]
) -> dict[int, Need]:
    """All, less what the plan takes from its months, and with what it puts into others."""
    found = {}
    for month in sorted({*all_, *put}):
        held, away, more = (each.get(month, Need()) for each in (all_, taken, put))
        found[month] = Need(
            held.number - away.number + more.number,
            held.days - away.days + more.days,
            held.cost - away.cost + more.cost,
        )
    return found


@router.get("/forecast")
@web.may("read", may_lag=True)
def show(request: Request, db: web.Db, today: web.Today) -> Response:
    asked, wanted = _wanted(request, db)
    found = None if asked.problems else _found(asked, db, wanted, today, MOST_LAST)
    given = choices(request, db)
    return web.page(
        request, "forecast/show.html", 422 if found is None else 200, found=found, wanted=wanted, asked=asked.values,
        problems=asked.problems, groupings=GROUPINGS, visits=VISITS, items=ITEM_CHOICES, owners=given.owners,
        regions=given.regions, month_name=month_text, called=_called(wanted), need=Need(),
        years=YEARS, today=today,
    )  # fmt: skip


@router.get("/forecast.xlsx")
@web.may("read", may_lag=True)
def as_file(request: Request, db: web.Db, today: web.Today) -> Response:
    """All of it as one workbook."""
    asked, wanted = _wanted(request, db)
    asked.refuse()
    found = _found(asked, db, wanted, today)
    return as_workbook(f"forecast-{today}", _sheets(found, wanted))


@router.get("/forecast/{table}.csv")
@router.get("/forecast/{table}.xlsx")
@router.get("/forecast/{table}.json")
@web.may("read", may_lag=True)
def table_file(request: Request, table: str, db: web.Db, today: web.Today) -> Response:
    """One of its tables, by the name of the picture above it."""
    if table not in TABLES:
        raise NotFound("There is no such table.")
    asked, wanted = _wanted(request, db)
    asked.refuse()
    kind, rows = TABLES[table]
    found = rows(_found(asked, db, wanted, today), wanted)
    return as_asked(request, Table(f"forecast-{table}-{today}", kind.title, kind.columns, found))


@router.get("/forecast/{picture}.svg")
@web.may("read", may_lag=True)
def picture(request: Request, picture: str, db: web.Db, today: web.Today) -> Response:
    if picture not in PICTURES:
        raise NotFound("There is no such picture.")
    asked, wanted = _wanted(request, db)
    asked.refuse()
    found = _found(asked, db, wanted, today, 0)
    return as_picture(svg(_chart(found, picture, wanted)))


def _found(
    asked: Asked, db: Session, wanted: ForecastFilter, today: date, most: int | None = None
) -> Forecast:
    moved = asked.values.get("visits") == "with"
    return forecast(db, wanted, plans.basis_of(db), today, moved, most)


def _wanted(request: Request, db: Session) -> tuple[Asked, ForecastFilter]:
    asked = Asked.of(request.query_params, NAMES)
    given = choices(request, db)
    owner_id = asked.key("owner", given.owners)
    asked.one_of("visits", VISITS)
    return asked, ForecastFilter(
        cast(Grouping, asked.one_of("by", GROUPINGS) or "item"),
        asked.one_of("item", ITEM_CHOICES),
        owner_id,
        given.owner(owner_id),
        asked.one_of("region", given.regions),
        rulebooks.again(db),
    )


def _called(wanted: ForecastFilter) -> Any:
    """What a group is called on the page."""

    def called(group: str) -> str:
        if wanted.by == "item":
            return capitalized(label(group))
        return group or "not stated"

    return called


def _chart(found: Forecast, picture: str, wanted: ForecastFilter) -> Chart:
    months, years = found.months, found.years
    if picture == "due":
        return Chart([month_text(month) for month in months], _drawn(found, wanted), every=12)
    if picture == "days":
        series = {"Days needed": [found.plain.get(month, Need()).days for month in months]}
        if found.any_planned:
            series["With the planned visits"] = [
                found.planned.get(month, Need()).days for month in months
            ]
        series["Days there are"] = [found.capacity[month] for month in months]
        return Chart([month_text(month) for month in months], series, "lines", every=12)
    if picture == "cost":
        costs = {"Cost": [found.by_year(found.plain)[year].cost for year in years]}
        if found.any_planned:
            planned = found.by_year(found.planned)
            costs["With the planned visits"] = [planned[year].cost for year in years]
        return Chart([str(year) for year in years], costs, "beside")
    last = found.last_by_year()
    return Chart([str(year) for year in years], {"Cars": [last[year] for year in years]})


def _drawn(found: Forecast, wanted: ForecastFilter) -> dict[str, list[float]]:
    called = _called(wanted)
    series: dict[str, list[float]] = {}
    for group in found.groups:
        name = called(group) if len(series) < MOST_DRAWN else OTHERS
        numbers = [float(found.due.get((group, month), 0)) for month in found.months]
        held = series.get(name, [0.0] * len(numbers))
        series[name] = [one + other for one, other in zip(held, numbers, strict=True)]
    return series


def _sheets(found: Forecast, wanted: ForecastFilter) -> list[Sheet]:
    """Groups side by side, as the page has them; then the other tables."""
    others = (table for name, table in TABLES.items() if name != "due")
    return [
        _due_sheet(found, wanted),
        *(Sheet(kind.title, kind.columns, rows(found, wanted)) for kind, rows in others),
    ]


def _due_sheet(found: Forecast, wanted: ForecastFilter) -> Sheet:
    header = ["month", *map(_called(wanted), found.groups), "all", "all with planned visits"]
    rows: Rows = [
        [
            month_text(month),
            *(found.due.get((group, month), 0) for group in found.groups),
            found.total(month),
            found.planned.get(month, Need()).number,
        ]
        for month in found.months
    ]
    return Sheet("Due by month", plain(*header), rows)


def _group_rows(found: Forecast, wanted: ForecastFilter) -> Rows:
    called = _called(wanted)
    return [
        [month_text(month), called(group), found.due.get((group, month), 0)]
        for month in found.months
        for group in found.groups
    ]


def _month_rows(found: Forecast, _: ForecastFilter) -> Rows:
    rows: Rows = []
    for month in found.months:
        one, other = found.plain.get(month, Need()), found.planned.get(month, Need())
        there_are = found.capacity[month]
        rows.append([month_text(month), one.days, other.days, there_are, one.number, other.number])
    return rows


def _year_rows(found: Forecast, _: ForecastFilter) -> Rows:
    without, planned = found.by_year(found.plain), found.by_year(found.planned)
    last, out = found.last_by_year(), found.left_out_by_year()
    rows: Rows = []
    for year in found.years:
        one, other = without[year], planned[year]
        rows.append([year, one.number, other.number, one.cost, other.cost, last[year], out[year]])
    return rows


def _last_rows(found: Forecast, _: ForecastFilter) -> Rows:
    return [[each.mark, each.number, each.owner, each.item, each.on] for each in found.last]


# By the name of the picture that says the same.
TABLES: Mapping[str, tuple[ListOut, Callable[[Forecast, ForecastFilter], Rows]]] = {
    "due": (forecast_lists.GROUPS, _group_rows),
    "days": (forecast_lists.MONTHS, _month_rows),
    "cost": (forecast_lists.YEARS, _year_rows),
    "last-days": (forecast_lists.LAST_DAYS, _last_rows),
}

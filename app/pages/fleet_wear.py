"""The fleet's wear: shells, linings and relief valves in groups, and the cars behind each number.

An owner's aid and not the rule.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any, NamedTuple

from fastapi import APIRouter, Request
from fastapi.responses import Response
from sqlalchemy.orm import Session

from app import web
from app.actions import fleet_wear as actions
from app.actions.fleet_wear import FleetWear, LinedCar, Shell, Valve, median_wear
from app.errors import Refused
from app.files.tables_out import Sheet, Value, plain
from app.pages.choices import choices
from app.pages.exports import as_workbook
from app.pages.filters import Asked
from app.store.paging import page_among
from app.store.wear import FleetCar, WearFilter

router = APIRouter()

PAGE = 100
ROW_NAMES = ("of", "group", "count")


class Listed(NamedTuple):
    """A row of a list: its car, and what else the list says of it."""

    car: FleetCar
    cells: Sequence[Value]


@dataclass(frozen=True)
class Part:
    """One of the three tables: how its rows are grouped, what is counted of them, and how they are listed.

    `counted` has for each count its column and which rows it counts; the last is told as a share of `share_of`,
    those of which it could be told. `columns` are those of a list.
    """

    name: str
    title: str
    groupings: Mapping[str, Callable[[Any], str]]
    counted: Mapping[str, tuple[str, Callable[[Any], bool]]]
    share_of: str
    columns: Sequence[str]
    listed: Callable[[Any], Listed]

    @property
    def others(self) -> list[tuple[str, str]]:
        """What it can be grouped by beside the first, to choose from."""
        return [(name, name) for name in list(self.groupings)[1:]]

    def rows(self, found: FleetWear) -> Sequence[Any]:
        rows: Sequence[Any] = getattr(found, self.name)
        return rows


def _shell(each: Shell) -> Listed:
    failed = ", ".join(map(str, each.failed_on))
    return Listed(each.car, (each.measured.readings, each.mil_a_year, failed))


def _lining(each: LinedCar) -> Listed:
    life, put_on = each.life, each.life.applied
    return Listed(
        each.car, (put_on.kind, put_on.by, put_on.on, life.due_on, life.until, life.failed_on)
    )


def _valve(each: Valve) -> Listed:
    bench = each.bench
    device = " ".join(part for part in (bench.maker, bench.model, bench.serial) if part)
    years = None if each.months is None else round(each.months / 12, 1)
    return Listed(each.car, (device, bench.tested_on, bench.set_psig, bench.found_psig, years))


PARTS = (
    Part(
        "shells", "Shells", actions.SHELLS_BY,
        {
            "cars": ("Cars", lambda each: True),
            "measured": ("Cars measured", lambda each: each.measured.readings > 0),
            "rated": ("Cars with a rate", lambda each: each.a_year is not None),
            "failed": ("Cars that failed", lambda each: bool(each.failed_on)),
        },
        "measured", ("readings", "fastest wear, mil a year", "thickness test failed on"), _shell,
    ),
    Part(
        "linings", "Linings", actions.LININGS_BY,
        {
            "linings": ("Linings", lambda each: True),
            "failed": ("Failed", lambda each: each.life.failed_on is not None),
            "early": ("Failed before its interval", lambda each: each.life.failed_early),
        },
        "linings", ("kind", "applied by", "applied on", "interval ends", "replaced or removed on", "failed on"),
        _lining,
    ),
    Part(
        "valves", "Relief valves as they came in", actions.VALVES_BY,
        {
            "valves": ("Found on the bench", lambda each: True),
            "judged": ("Judged", lambda each: each.judged),
            "outside": ("Out of tolerance", lambda each: each.outside),
        },
        "judged", ("device", "tested on", "set, psig", "found, psig", "years since before"), _valve,
    ),
)  # fmt: skip
BY_NAME = {part.name: part for part in PARTS}
GROUPING_NAMES = tuple(part.name for part in PARTS)


@dataclass(frozen=True, slots=True)
class Group:
    """A group by its name: how many rows each count has, their share, and of shells their readings and wear."""

    name: str
    counts: Mapping[str, int]
    share: float | None
    readings: int = 0
    mil_a_year: float | None = None


@dataclass(frozen=True)
class Grouped:
    """A table of the page: its part, by what it is grouped, and its groups, the largest first."""

    part: Part
    by: str
    groups: Sequence[Group]


@dataclass(frozen=True)
class Wanted:
    asked: Asked
    filter: WearFilter
    by: Mapping[str, str]


@router.get("/fleet/wear")
@web.may("read", may_lag=True)
def show(request: Request, db: web.Db, today: web.Today) -> Response:
    seen = _wanted(request, db, ())
    found = _found(db, seen, today)
    given = choices(request, db)
    return web.page(
        request, "wear/show.html", 422 if found is None else 200, asked=seen.asked.values,
        problems=seen.asked.problems, in_words=seen.filter.in_words(), parts=PARTS, by=seen.by,
        tables=[_grouped(found, part, seen.by[part.name]) for part in PARTS] if found else [],
        owners=given.owners, regions=given.regions, today=today,
    )  # fmt: skip


@router.get("/fleet/wear/rows")
@web.may("read", may_lag=True)
def rows(request: Request, db: web.Db, today: web.Today) -> Response:
    """The rows that a number of the page counts."""
    seen = _wanted(request, db, ROW_NAMES)
    part, count = _number_asked(seen)
    found = _found(db, seen, today)
    if found is None:
        seen.asked.refuse()
    assert found is not None
    after = request.query_params.get("after") or None
    group, by = seen.asked.values.get("group"), seen.by[part.name]
    kept = list(_kept(found, part, by, group, count))
    keyed = (((row.car.mark, row.car.number, at), row) for at, row in enumerate(kept))
    page = page_among(keyed, (str, int, int), after, PAGE)
    return web.page(
        request, "wear/rows.html", part=part, by=by, group=group, counted_as=part.counted[count][0],
        rows=page.rows, count=len(kept), asked=seen.asked.values, after=after,
        previous=page.previous, next_after=page.next_after, in_words=seen.filter.in_words(),
        back_to={name: value for name, value in seen.asked.values.items() if name not in ROW_NAMES},
    )  # fmt: skip


@router.get("/fleet/wear.xlsx")
@web.may("read", may_lag=True)
def as_file(request: Request, db: web.Db, today: web.Today) -> Response:
    seen = _wanted(request, db, ())
    found = _found(db, seen, today)
    if found is None:
        seen.asked.refuse()
    assert found is not None
    sheets = [_table(_grouped(found, part, seen.by[part.name])) for part in PARTS]
    sheets += [_list(found, part, seen.by[part.name]) for part in PARTS]
    return as_workbook(f"wear-{today}", sheets)


def _wanted(request: Request, db: Session, more: Sequence[str]) -> Wanted:
    asked = Asked.of(request.query_params, (*GROUPING_NAMES, "owner", "region", *more))
    given = choices(request, db)
    by = {
        part.name: asked.one_of(part.name, [(name, name) for name in part.groupings])
        or next(iter(part.groupings))
        for part in PARTS
    }
    owner_id = asked.key("owner", given.owners)
    region = asked.one_of("region", given.regions)
    return Wanted(asked, WearFilter(owner_id, given.owner(owner_id), region), by)


def _found(db: Session, seen: Wanted, today: date) -> FleetWear | None:
    """What there is; None, with what is wrong noted, where it cannot be shown."""
    if seen.asked.problems:
        return None
    try:
        return actions.fleet_wear(db, seen.filter, today)
    except Refused as too_many:
        seen.asked.problems["owner"] = str(too_many)
        return None


def _number_asked(seen: Wanted) -> tuple[Part, str]:
    """Which table and which count of it the address asks for; Refused where it names none."""
    name = seen.asked.one_of("of", [(name, name) for name in BY_NAME])
    seen.asked.refuse()
    if name is None:
        raise Refused(
            "The address does not say which number is meant. Choose one on the page of the fleet’s wear."
        )
    part = BY_NAME[name]
    count = seen.asked.one_of("count", [(each, each) for each in part.counted])
    seen.asked.refuse()
    return part, count or next(iter(part.counted))


def _kept(found: FleetWear, part: Part, by: str, group: str | None, count: str) -> Iterator[Listed]:
    """The rows of a group (None: of all) that a count counts."""
    named, counts = part.groupings[by], part.counted[count][1]
    for row in part.rows(found):
        if counts(row) and (group is None or named(row) == group):
            yield part.listed(row)


def _grouped(found: FleetWear, part: Part, by: str) -> Grouped:
    groups: dict[str, list[Any]] = defaultdict(list)
    for row in part.rows(found):
        groups[part.groupings[by](row)].append(row)
    ordered = sorted(groups, key=lambda name: (-len(groups[name]), name))
    return Grouped(part, by, [_group(name, groups[name], part) for name in ordered])


def _group(name: str, members: Sequence[Any], part: Part) -> Group:
    counts = {
        count: sum(1 for row in members if counted(row))
        for count, (_, counted) in part.counted.items()
    }
    of = counts[part.share_of]
    share = counts[list(counts)[-1]] / of if of else None
    if part.name != "shells":
        return Group(name, counts, share)
    readings = sum(row.measured.readings for row in members)
    return Group(name, counts, share, readings, median_wear(members))


def _table(table: Grouped) -> Sheet:
    shells = table.part.name == "shells"
    header = [table.by, *(column for column, _ in table.part.counted.values()), "Share"]
    header += ["Readings", "Median wear, mil a year"] if shells else []
    return Sheet(
        f"{table.part.title[:13]} by {table.by}",
        plain(*header),
        [
            [
                group.name,
                *group.counts.values(),
                group.share,
                *((group.readings, group.mil_a_year) if shells else ()),
            ]
            for group in table.groups
        ],
    )


def _list(found: FleetWear, part: Part, by: str) -> Sheet:
    """Each row with what it is grouped by, where no column of its own says that."""
    own = by in part.columns
    header = ["mark", "number", "owner", *(() if own else (by,)), *part.columns]
    listed = ((row, part.listed(row)) for row in part.rows(found))
    rows = [
        [
            each.car.mark, each.car.number, each.car.owner,
            *(() if own else (part.groupings[by](row),)), *each.cells,
        ]
        for row, each in listed
    ]  # fmt: skip
    return Sheet(f"{part.title[:13]}, each", plain(*header), rows)

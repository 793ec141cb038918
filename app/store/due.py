"""Questions about stored due items, and replacing those of a car; no date is counted here."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from dataclasses import replace as replaced
from datetime import date, timedelta
from functools import partial
from typing import Any, get_args

from sqlalchemy import (
    ColumnElement,
    Row,
    Select,
    and_,
    case,
    delete,
    false,
    func,
    literal,
    or_,
    select,
    union_all,
)
from sqlalchemy.orm import Session

from app.core.due import state_on
from app.core.facts import ITEMS, Reason, Status
from app.store import aside, reach, rolled
from app.store.bulk import insert_ready, insert_rows
from app.store.columns import BEGINNING, table_of
from app.store.derived import DueRow
from app.store.names import EVERY_NAME, NamePrefix, matches
from app.store.paging import Cursor, Page, Value, page_among, page_of, read_cursor
from app.store.tables import Car, Party

TABLE = table_of(DueRow)
STATUSES: tuple[Status, ...] = get_args(Status)
DAY = timedelta(days=1)
# How a condition asks a column.
At = Callable[[Any], ColumnElement[Any]]
UNDATED = ("by_event", "unknown", "not_required")
IN_WORDS = {
    "due_now": "due now",
    "overdue": "overdue",
    "soon": "due soon",
    "in_date": "in date",
    "by_event": "by event",
    "unknown": "unknown",
    "not_required": "not required",
}


@dataclass(frozen=True, slots=True)
class DueFilter:
    """What a due list shows, seen from the day `as_of`.

    `as_of` is today or later; of earlier days the stored items say nothing. Without a status it is
    every dated item (due now among them); `overdue` keeps what is due now or overdue. `listed_only`
    leaves out cars that are not in service. `owner` is for the words alone. `aside`: only lines that are
    set aside as seen, or none of these; `lists` keeps what any of these filters keeps.
    """

    as_of: date
    soon_days: int = 180
    owner_id: int | None = None
    owner: str | None = None
    item: str | None = None
    rule: str | None = None
    status: Status | None = None
    overdue: bool = False
    region: str | None = None
    search: NamePrefix = EVERY_NAME
    due_from: date | None = None
    due_to: date | None = None
    listed_only: bool = True
    aside: bool | None = None
    lists: tuple[DueFilter, ...] | None = None

    @property
    def undated(self) -> bool:
        return self.status in UNDATED

    def in_words(self) -> str:
        """What the list shows, as a sentence without its full stop."""
        name = f"{self.search.mark} {self.search.digits}".strip()
        parts = [
            self._kind_in_words(),
            self.item and self.item.replace("_", " "),
            self.rule and f"governed by the rule {self.rule.replace('_', ' ')}",
            self.due_from and f"due from {self.due_from}",
            self.due_to and f"due until {self.due_to}",
            self.owner_id and f"owner {self.owner or self.owner_id}",
            self.region and f"region {self.region}",
            name and f"mark and number beginning {name}",
            "cars in service" if self.listed_only else "every car, in service or not",
        ]
        return ", ".join(part for part in parts if part)

    def _kind_in_words(self) -> str:
        if self.status:
            kind = IN_WORDS[self.status].capitalize()
        else:
            kind = "Due now or overdue" if self.overdue else "Every dated item"
        return f"{kind} on {self.as_of}"


@dataclass(frozen=True, slots=True)
class DueListRow:
    """A due item as a list shows it; status and days left are those of the filter's day.

    Its reasons are not stored: `actions.reasons` works them out for the rows that are looked at.
    """

    car_id: int
    mark: str
    number: int
    owner: str
    region: str
    item_no: int
    item: str
    state: str
    status: Status
    due_on: date | None
    days_left: int | None
    basis_on: date | None
    interval_months: int | None
    calculated_due_on: date | None
    confidence: str
    citation: str
    hazardous: bool
    reasons: tuple[Reason, ...] = ()

    @property
    def name(self) -> str:
        return f"{self.mark} {self.number}"


def page(
    db: Session, wanted: DueFilter, after: str | None = None, limit: int = 50
) -> Page[DueListRow]:
    """Soonest first, then mark, number, item; `after` is an earlier page's cursor."""
    kinds = _kinds(wanted)
    cursor = read_cursor(after, kinds) if after else None
    query = _paged(db, _within(wanted, cursor) if cursor else wanted, cursor)
    make = partial(_keyed, wanted=wanted)
    return page_of(db, query, _keys(wanted), kinds, after, limit, make)


def first_pages(db: Session, lists: Sequence[DueFilter], limit: int = 50) -> list[Page[DueListRow]]:
    """The first page of each of these lists, in one query."""
    each = [
        _paged(db, wanted).order_by(*_keys(wanted)).limit(limit + 1).subquery() for wanted in lists
    ]
    numbered = [select(literal(place).label("place"), rows) for place, rows in enumerate(each)]
    found: list[list[tuple[tuple[Value, ...], DueListRow]]] = [[] for _ in lists]
    for row in db.execute(union_all(*numbered)):
        found[row.place].append(_keyed(row, lists[row.place]))
    return [
        page_among(keyed, _kinds(wanted), None, limit)
        for wanted, keyed in zip(lists, found, strict=True)
    ]


def _paged(
    db: Session, wanted: DueFilter, cursor: Cursor | None = None
) -> Select[*tuple[Any, ...]]:
    query = _rows(db, wanted)
    if not wanted.undated:
        return query
    # None has a day; so PostgreSQL sees that an index has them in this order.
    return query.order_by(DueRow.due_on.desc() if cursor and cursor.backwards else DueRow.due_on)


def _keyed(row: Row[*tuple[Any, ...]], wanted: DueFilter) -> tuple[tuple[Value, ...], DueListRow]:
    shown = _shown(row, wanted)
    dated = () if wanted.undated else (shown.due_on,)
    return (*dated, shown.mark, shown.number, shown.item_no), shown


def _kinds(wanted: DueFilter) -> tuple[type, ...]:
    return (str, int, int) if wanted.undated else (date, str, int, int)


def _within(wanted: DueFilter, cursor: Cursor) -> DueFilter:
    """The same rows of the page, with a bound on the day from which SQLite can start searching."""
    day = cursor.key[0]
    if not isinstance(day, date):
        return wanted
    if cursor.backwards:
        return replaced(wanted, due_to=min(day, wanted.due_to or day))
    return replaced(wanted, due_from=max(day, wanted.due_from or day))


def each(db: Session, wanted: DueFilter) -> Iterator[DueListRow]:
    """Every row in the order of the list, a thousand at a time: what an export writes."""
    query = _rows(db, wanted).order_by(*_keys(wanted))
    for row in db.execute(query, execution_options={"yield_per": 1000}):
        yield _shown(row, wanted)


def for_car(db: Session, car_id: int, as_of: date, soon_days: int = 180) -> list[DueListRow]:
    """All due items of a car in the order of items, whatever its standing."""
    seen = DueFilter(as_of, soon_days)
    query = (
        _columns(db).where(DueRow.car_id == car_id, reach.due_items(db)).order_by(DueRow.item_no)
    )
    return [_shown(row, seen) for row in db.execute(query)]


Again = Mapping[str, int]


def next_interval(
    item_no: ColumnElement[int], interval: ColumnElement[Any], again: Again
) -> ColumnElement[Any]:
    """Months after which an item falls due again when it is done: what led to its day, or fewer, as `again` says."""
    sooner = [
        (and_(item_no == ITEMS.index(item), interval > months), literal(months))
        for item, months in again.items()
    ]
    return case(*sooner, else_=interval) if sooner else interval


First = tuple[str, str, date | None]


def first(db: Session, car_ids: Sequence[int]) -> dict[int, First]:
    """What falls due first of each of these cars among what the session finds: item, state and day."""
    rows = db.execute(
        select(DueRow.car_id, DueRow.item, DueRow.state, DueRow.due_on)
        .where(DueRow.car_id.in_(car_ids), DueRow.due_on.is_not(None), reach.due_items(db))
        .order_by(DueRow.state != "owed", DueRow.due_on, DueRow.item_no)
    )
    found: dict[int, First] = {}
    for car_id, item, state, due_on in rows:
        found.setdefault(car_id, (item, state, due_on))
    return found


def kept_by(db: Session, wanted: DueFilter) -> list[ColumnElement[bool]]:
    """What a filter asks of items that are found by their cars, beside their status and the cars' standing."""
    # PostgreSQL knows what an index would save, as long as it is asked of the column itself.
    lite = db.get_bind().dialect.name == "sqlite"
    at = _starts_elsewhere if lite else reach.as_it_is
    return conditions(db, replaced(wanted, listed_only=False), at)


def cars_listed(db: Session, wanted: DueFilter) -> Select[int]:
    """The keys of the cars that the list holds an item of."""
    return select(DueRow.car_id).where(*kept(db, wanted))


def replace(db: Session, car_ids: Sequence[int], rows: Sequence[dict[str, Any]]) -> None:
    """Put `rows` (columns of `due`) in the place of all that is stored for these cars."""
    rolled.items_change(db, car_ids)
    db.execute(delete(DueRow).where(DueRow.car_id.in_(car_ids)))
    insert_rows(db, TABLE, rows)


def replace_ready(
    db: Session, car_ids: Sequence[int], columns: Sequence[str], rows: Sequence[tuple[Any, ...]]
) -> None:
    """The same with rows whose values are the driver's own already, in the order of `columns`."""
    rolled.items_change(db, car_ids)
    for first in range(0, len(car_ids), 5_000):
        db.execute(delete(DueRow).where(DueRow.car_id.in_(car_ids[first : first + 5_000])))
    insert_ready(db, TABLE, columns, rows)


def _columns(db: Session) -> Select[*tuple[Any, ...]]:
    region: ColumnElement[str] = DueRow.region.expression
    if reach.of(db).partial:
        # Where a car is, is its owner's affair.
        region = case((reach.whole(db, DueRow.owner_id, DueRow.car_id), region), else_="")
    return select(
        DueRow.car_id, DueRow.mark, DueRow.number, Party.name, region.label("region"),
        DueRow.item_no, DueRow.item, DueRow.state, DueRow.due_on, DueRow.basis_on,
        DueRow.interval_months, DueRow.calculated_due_on, DueRow.confidence, DueRow.citation,
        DueRow.hazardous,
    ).join(Party, Party.id == DueRow.owner_id)  # fmt: skip


def _rows(db: Session, wanted: DueFilter) -> Select[*tuple[Any, ...]]:
    return _columns(db).where(*kept(db, wanted))


def _shown(row: Row[*tuple[Any, ...]], wanted: DueFilter) -> DueListRow:
    return DueListRow(
        car_id=row.car_id,
        mark=row.mark,
        number=row.number,
        owner=row.name,
        region=row.region,
        item_no=row.item_no,
        item=row.item,
        state=row.state,
        status=state_on(row.state, row.due_on, wanted.as_of, wanted.soon_days),
        due_on=row.due_on,
        days_left=(row.due_on - wanted.as_of).days if row.due_on else None,
        basis_on=row.basis_on,
        interval_months=row.interval_months,
        calculated_due_on=row.calculated_due_on,
        confidence=row.confidence,
        citation=row.citation,
        hazardous=row.hazardous,
    )


def _keys(wanted: DueFilter) -> list[ColumnElement[Any]]:
    name: list[ColumnElement[Any]] = [
        DueRow.mark.expression,
        DueRow.number.expression,
        DueRow.item_no.expression,
    ]
    return name if wanted.undated else [DueRow.due_on.expression, *name]


def kept(db: Session, wanted: DueFilter) -> list[ColumnElement[bool]]:
    """What the rows of a list are."""
    return [*common(db, wanted), *own(wanted)]


def own(wanted: DueFilter) -> list[ColumnElement[bool]]:
    """What of that is of the filter's status and days."""
    narrow = _narrowed(wanted)
    return [*_days(narrow), *_kind_conditions(narrow)]


def _narrowed(wanted: DueFilter) -> DueFilter:
    """The same with the days of its status among its own: of two bounds SQLite may start from the farther."""
    last_soon = wanted.as_of + timedelta(days=wanted.soon_days)
    first, last = {
        "overdue": (None, wanted.as_of - DAY),
        "soon": (wanted.as_of, last_soon),
        "in_date": (last_soon + DAY, None),
    }.get(wanted.status or "", (None, None))
    return replaced(
        wanted,
        due_from=max(filter(None, (wanted.due_from, first)), default=None),
        due_to=min(filter(None, (wanted.due_to, last)), default=None),
    )


def conditions(
    db: Session, wanted: DueFilter, at: At = reach.as_it_is
) -> list[ColumnElement[bool]]:
    """All of the filter but which statuses are meant."""
    return [*common(db, wanted, at), *_days(wanted)]


def _days(wanted: DueFilter) -> list[ColumnElement[bool]]:
    found = []
    if wanted.due_from is not None:
        found.append(DueRow.due_on >= wanted.due_from)
    if wanted.due_to is not None:
        found.append(DueRow.due_on <= wanted.due_to)
    return found


def common(db: Session, wanted: DueFilter, at: At = reach.as_it_is) -> list[ColumnElement[bool]]:
    """All of the filter but which statuses and days are meant."""
    at = _starts_elsewhere if _begins_with_few(wanted) else at
    found = [reach.due_items(db, at), _named(wanted.search, at)]
    if wanted.listed_only:
        found.append(DueRow.listed.is_(True))
    if wanted.owner_id is not None:
        found.append(at(DueRow.owner_id) == wanted.owner_id)
    if wanted.item is not None:
        found.append(at(DueRow.item_no) == ITEMS.index(wanted.item))
    if wanted.rule is not None:
        found.append(at(DueRow.rule) == wanted.rule)
    if wanted.region is not None:
        whole = reach.whole(db, at(DueRow.owner_id), at(DueRow.car_id))
        found += [at(DueRow.region) == wanted.region, whole]
    if wanted.aside is not None:
        set_aside = aside.is_aside(db, wanted.as_of)
        found += [aside.any_aside(db, wanted.as_of), set_aside] if wanted.aside else [~set_aside]
    if wanted.lists is not None:
        each_list = [and_(*conditions(db, each, at)) for each in wanted.lists]
        found.append(or_(false(), *each_list))
    return found


def _begins_with_few(wanted: DueFilter) -> bool:
    """Whether the list is to begin with few cars, rather than with the index that has its order."""
    return bool(wanted.aside) or wanted.search.few


def _named(search: NamePrefix, at: At) -> ColumnElement[bool]:
    if search.few:
        # No index of items begins with the name.
        named = matches(search, Car.mark.expression, Car.number.expression)
        return DueRow.car_id.in_(select(Car.id).where(named))
    return matches(search, at(DueRow.mark), at(DueRow.number))


def _kind_conditions(wanted: DueFilter) -> list[ColumnElement[bool]]:
    at = _starts_elsewhere if _begins_with_few(wanted) else reach.as_it_is
    # The order of a list without dates must not hang on a column that is null throughout.
    if wanted.undated:
        return [at(DueRow.state) == wanted.status, at(DueRow.due_on).is_(None)]
    found = [DueRow.due_on >= BEGINNING] if wanted.due_from is None else []
    if wanted.status is not None:
        found.append(at(DueRow.state) == ("owed" if wanted.status == "due_now" else "dated"))
    if wanted.overdue:
        # What is owed became so on its date or later, so its date has passed as well.
        past = or_(DueRow.state == "owed", DueRow.due_on < wanted.as_of)
        found += [past, DueRow.due_on <= wanted.as_of]
    return found


def _starts_elsewhere(column: Any) -> ColumnElement[Any]:
    """The column without its index, for a question that is to begin with few rows found otherwise."""
    found: ColumnElement[Any] = func.coalesce(column, column)
    return found

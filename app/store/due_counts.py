"""How many items a due list has, from what is rolled up (`store.rolled`): whole months, and the days at both ends.

What a filter or a reach asks beyond a cut is counted from the items themselves.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta

from sqlalchemy import ColumnElement, ScalarSelect, Select, func, literal, select, union_all
from sqlalchemy.orm import Session

from app.core.facts import ITEMS, Status
from app.store import due, reach, rolled
from app.store.columns import BEGINNING
from app.store.derived import STATES, DueEnding, DueRolled, DueRow
from app.store.due import DAY, STATUSES, DueFilter
from app.store.names import EVERY_NAME
from app.store.tables import Party

NOT_OWED = tuple(state for state in STATES if state != "owed")


def totals(
    db: Session, wanted: DueFilter, statuses: Sequence[Status] = STATUSES
) -> dict[Status, int]:
    """How many items have each of these statuses, whatever status the filter asks for."""
    each = [replace(wanted, status=status, overdue=False) for status in statuses]
    return dict(zip(statuses, counts(db, each), strict=True))


def count(db: Session, wanted: DueFilter) -> int:
    """How many rows the whole list has."""
    return counts(db, [wanted])[0]


def counts(db: Session, lists: Sequence[DueFilter]) -> list[int]:
    """How many rows each of these lists has."""
    return [number for number, _ in counts_and_aside(db, lists)]


def counts_and_aside(db: Session, lists: Sequence[DueFilter]) -> list[tuple[int, int]]:
    """The same, and how many more it would have if none of them were set aside; two queries at most."""
    whole = db.execute(select(*(_number(db, wanted) for wanted in lists))).one()
    less = [each.total() for each in _aside(db, lists)]
    return [(number - taken, taken) for number, taken in zip(whole, less, strict=True)]


def by_owner(db: Session, lists: Sequence[DueFilter]) -> list[dict[tuple[int, str], int]]:
    """How many rows of each of these lists each owner has, by key and name; two queries at most."""
    whole, names = _whole_by_owner(db, lists)
    for each, less in zip(whole, _aside(db, lists), strict=True):
        each.subtract(less)
    return [{(key, names[key]): number for key, number in (+each).items()} for each in whole]


def _whole_by_owner(
    db: Session, lists: Sequence[DueFilter]
) -> tuple[list[Counter[int]], dict[int, str]]:
    """As if nothing were set aside; and the names of the owners."""
    found, names = [Counter[int]() for _ in lists], dict[int, str]()
    pieces = [
        piece.by_owner(place)
        for place, wanted in enumerate(lists)
        for piece in _pieces(db, wanted, owners=True)
    ]
    if not pieces:
        return found, names
    counted = union_all(*pieces).subquery()
    query = select(counted.c.place, Party.id, Party.name, counted.c.number)
    for place, key, name, number in db.execute(query.join(Party, Party.id == counted.c.owner_id)):
        found[place][key] += number
        names[key] = name
    return found, names


def _aside(db: Session, lists: Sequence[DueFilter]) -> list[Counter[int]]:
    """By owner, how many rows of each of these lists are set aside and so no longer on it.

    They are few, so one question is what all lists begin with that differ by status and days alone.
    """
    alike: dict[DueFilter, list[int]] = {}
    for place, wanted in enumerate(lists):
        if wanted.aside is False:
            bare = replace(wanted, status=None, overdue=False, due_from=None, due_to=None)
            alike.setdefault(replace(bare, aside=True), []).append(place)
    found = [Counter[int]() for _ in lists]
    for seen, places in alike.items():
        each = [func.count().filter(*due.own(lists[place])) for place in places]
        query = select(DueRow.owner_id, *each).where(*due.common(db, seen))
        for owner, *numbers in db.execute(query.group_by(DueRow.owner_id)):
            for place, number in zip(places, numbers, strict=True):
                found[place][owner] = number
    return found


def counted_one_by_one(db: Session, wanted: DueFilter) -> int:
    """The same number as `count`, from the items alone: what the rolled up numbers are held against."""
    return db.scalar(select(_one_by_one(db, wanted).alone())) or 0


# Pieces of a count -----------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Span:
    """Items of these states whose day lies within; without `dated`, those that have none."""

    states: tuple[str, ...] = STATES
    first: date | None = None
    last: date | None = None
    dated: bool = True

    def __and__(self, other: Span) -> Span:
        return Span(
            tuple(state for state in self.states if state in other.states),
            max(filter(None, (self.first, other.first)), default=None),
            min(filter(None, (self.last, other.last)), default=None),
        )

    @property
    def empty(self) -> bool:
        return not self.states or bool(self.first and self.last and self.first > self.last)

    def in_months(self) -> tuple[tuple[date | None, date | None], list[Span]]:
        """The months that lie within wholly, from one to before another, and what is left at both ends."""
        start = self.first and _month_from(self.first)
        stop = self.last and (self.last + DAY).replace(day=1)
        if start and stop and stop < start:
            return (start, start), [self]
        ends = [
            start and replace(self, last=start - DAY),
            stop and replace(self, first=stop),
        ]
        return (start, stop), [end for end in ends if end and not end.empty]


def _month_from(day: date) -> date:
    """The first month that begins on this day or later."""
    return day if day.day == 1 else (day.replace(day=1) + timedelta(days=31)).replace(day=1)


def spans(wanted: DueFilter) -> list[Span]:
    """The items of a list by state and day, each once."""
    within = Span(first=wanted.due_from, last=wanted.due_to)
    if wanted.undated:
        undated = Span((str(wanted.status),), dated=False)
        return [] if wanted.due_from or wanted.due_to else [undated]
    found = [_of_status(wanted) & within]
    if wanted.overdue:
        owed = Span(("owed",), last=wanted.as_of)
        past = Span(NOT_OWED, last=wanted.as_of - DAY)
        found = [each & late for each in found for late in (owed, past)]
    return [each for each in found if not each.empty]


def _of_status(wanted: DueFilter) -> Span:
    last_soon = wanted.as_of + timedelta(days=wanted.soon_days)
    by_status = {
        "due_now": Span(("owed",)),
        "overdue": Span(("dated",), last=wanted.as_of - DAY),
        "soon": Span(("dated",), wanted.as_of, last_soon),
        "in_date": Span(("dated",), last_soon + DAY),
    }
    return by_status[wanted.status] if wanted.status else Span()


def cut_of(db: Session, owner_id: int | None, region: str | None) -> str | None:
    """The cut by month that knows these owners and regions, within what the session reaches; None: none does."""
    mine = reach.of(db)
    if (mine.foreign and mine.parties is not None) or not rolled.is_current(db, rolled.ITEMS):
        return None
    of_owners = owner_id is not None or mine.parties is not None
    if region is not None:
        return None if of_owners else "region"
    return "owner" if of_owners else "month"


def rows_of(
    db: Session,
    cut: str,
    owner_id: int | None = None,
    region: str | None = None,
    of: type[DueRolled | DueEnding] = DueRolled,
) -> list[ColumnElement[bool]]:
    """Its rows of this owner and region (None: of all that the session owns, in all of them)."""
    owner = of.owner_id
    conditions = [of.cut == cut]
    if cut not in ("owner", "rule", "last"):
        conditions.append(owner == 0)
    elif owner_id is None:
        # One by one, so that the rows of each are looked up.
        conditions.append(owner.in_(select(Party.id).where(reach.owned(db, Party.id))))
    else:
        conditions += [owner == owner_id, reach.owned(db, owner)]
    if region is not None or cut != "region":
        conditions.append(of.region == (region or ""))
    return conditions


def _cut(db: Session, wanted: DueFilter) -> str | None:
    if wanted.search != EVERY_NAME or wanted.lists is not None or wanted.aside:
        return None
    asked = wanted.as_of, wanted.due_from, wanted.due_to
    # Months before or after would leave the calendar.
    near = all(date.min.year + 100 < day.year < date.max.year - 100 for day in asked if day)
    return cut_of(db, wanted.owner_id, wanted.region) if near else None


@dataclass(frozen=True, slots=True)
class Piece:
    """Rows of either table that are counted together."""

    conditions: Sequence[ColumnElement[bool]]
    rolled: bool = True

    def number(self) -> ColumnElement[int]:
        return func.coalesce(func.sum(DueRolled.number), 0) if self.rolled else func.count()

    def alone(self) -> ScalarSelect[int]:
        return select(self.number()).where(*self.conditions).scalar_subquery()

    def by_owner(self, place: int) -> Select[int, int, int]:
        """With the place of the list that they are counted for."""
        owner = DueRolled.owner_id if self.rolled else DueRow.owner_id
        counted = owner.label("owner_id"), self.number().label("number")
        query = select(literal(place).label("place"), *counted)
        return query.where(*self.conditions).group_by(owner)


def _number(db: Session, wanted: DueFilter) -> ColumnElement[int]:
    return sum((piece.alone() for piece in _pieces(db, wanted)), start=literal(0))


def _pieces(db: Session, wanted: DueFilter, *, owners: bool = False) -> Iterator[Piece]:
    """What its number adds up from, with what is set aside; so that it can be told by owner where `owners`."""
    if wanted.aside is False:
        wanted = replace(wanted, aside=None)
    cut = _cut(db, wanted)
    if cut == "month" and owners:
        cut = "owner"
    if cut is None or (cut == "region" and owners):
        yield _one_by_one(db, wanted)
        return
    for span in spans(wanted):
        yield from _of_span(db, wanted, cut, span)


def _of_span(db: Session, wanted: DueFilter, cut: str, span: Span) -> Iterator[Piece]:
    if not span.dated:
        yield Piece([*_rolled(db, wanted, cut, span), DueRolled.day == BEGINNING])
        return
    (start, stop), ends = span.in_months()
    if start is None or start != stop:
        bounds = [DueRolled.day > BEGINNING] if start is None else [DueRolled.day >= start]
        bounds += [DueRolled.day < stop] if stop else []
        yield Piece([*_rolled(db, wanted, cut, span), *bounds])
    for end in ends:
        if cut == "month":
            within = DueRolled.day.between(end.first, end.last)
            yield Piece([*_rolled(db, wanted, "day", span), within])
        else:
            open_ended = replace(wanted, due_from=None, due_to=None)
            within = DueRow.due_on.between(end.first, end.last)
            states = DueRow.state.in_(span.states)
            yield Piece([*due.conditions(db, open_ended), states, within], rolled=False)


def _rolled(db: Session, wanted: DueFilter, cut: str, span: Span) -> list[ColumnElement[bool]]:
    """The rows of a cut that the filter keeps, of the span's states on whatever day."""
    listed = (True,) if wanted.listed_only else (True, False)
    kept = [
        *rows_of(db, cut, wanted.owner_id, wanted.region),
        DueRolled.listed.in_(listed),
        DueRolled.state.in_(span.states),
    ]
    if wanted.item is not None:
        kept.append(DueRolled.item_no == ITEMS.index(wanted.item))
    if wanted.rule is not None:
        kept.append(DueRolled.rule == wanted.rule)
    return kept


def _one_by_one(db: Session, wanted: DueFilter) -> Piece:
    return Piece(due.kept(db, wanted), rolled=False)

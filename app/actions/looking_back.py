"""Lists and cars as they were on a day, as known at a moment: worked out anew in memory, and nothing stored.

The same calculator, filters and rows as the stored lists; the rules are those that were in force then.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from typing import Any, NamedTuple

from sqlalchemy.orm import Session

from app import garbage
from app.actions import fleet_due, rulebooks
from app.actions.due import BATCH, MANY, PLACE
from app.actions.evidence_words import moment
from app.actions.rulebooks import Programme
from app.bulk.days import WrittenDays
from app.core.facts import ITEMS, Answer, Due, Settings, Status
from app.core.status import days_left, state_on
from app.core.stencil import Unreadable, decode
from app.errors import NotFound, Refused
from app.store import as_known, cars, facts, fleet_rows
from app.store.asked import Standpoint
from app.store.cars import CarListRow, RegisterFilter
from app.store.due import STATUSES, UNDATED, DueFilter, DueListRow
from app.store.facts import DEFAULTS, CarRecord
from app.store.fleet_rows import InRegister
from app.store.names import NamePrefix, begins
from app.store.paging import Page, page_among
from app.store.tables import OUT_OF_RECORD

# Each page is worked out anew: of 50,000 cars in 4.5 s of processor time and 430 MB, as measured, of
# this many in under two seconds, which is as long as a reader waits for a page.
MOST_CARS = 20_000


# A car ----------------------------------------------------------------------------------------------------------


def record_of(db: Session, car_id: int, at: Standpoint, settings: Settings = DEFAULTS) -> CarRecord:
    """What held of a car on the day, as known at the moment. NotFound where it was not in the register."""
    record = facts.load(db, [car_id], at.as_of, at.known_at, settings).get(car_id)
    if record is None:
        raise _not_known(db, car_id, at)
    built = record.car.built_on
    if built is not None and built > at.as_of:
        raise NotFound(f"{record.car.mark} {record.car.number} was not built yet on {at.as_of}.")
    return record


def _not_known(db: Session, car_id: int, at: Standpoint) -> NotFound:
    """What is missing, by the name that the car bore on the day, and from where it can be seen."""
    car, _ = cars.part_or_raise(db, car_id)
    name, since = as_known.called(db, car, at.as_of), as_known.first_recorded(db, car_id)
    if at.known_at is not None and at.known_at < since:
        return NotFound(
            f"By all that was known then, {name} was not in the register: it was first recorded at {moment(since)}. "
            f"Ask as known at that moment or later."
        )
    return NotFound(
        f"By what is recorded, {name} was not in the register on {at.as_of}. Ask for a later day."
    )


def items_of(db: Session, car_id: int, at: Standpoint, soon_days: int) -> list[DueListRow]:
    """All due items of a car with their reasons, as a list shows them."""
    record = record_of(db, car_id, at)
    answer = rulebooks.in_force(db, at.known_at).whole_answer(record, at.as_of).answer
    seen = DueFilter(at.as_of, soon_days)
    about = _About(
        _as_listed(record), cars.party_names(db)[record.owner_id], record.car.service.hazardous
    )
    return [
        replace(_row(_item(car_id, due), about, seen), reasons=due.reasons) for due in answer.items
    ]


def _as_listed(record: CarRecord) -> InRegister:
    car = record.car
    return InRegister(
        car.mark, car.number, record.owner_id, record.region, record.standing,
        car.specification, car.built_on, car.service.commodity or "",
    )  # fmt: skip


# Which cars -----------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Looked:
    """Cars in the register then, by key; `some` says whether any was, whatever the list keeps."""

    cars: Mapping[int, InRegister]
    some: bool


def _looked(db: Session, at: Standpoint, owner_id: int | None, search: NamePrefix) -> _Looked:
    _refuse_too_many(as_known.how_many(db, at, owner_id, search))
    ids = as_known.car_ids(db, at, owner_id, search)
    found: dict[int, InRegister] = {}
    for first in range(0, len(ids), MANY):
        found |= fleet_rows.in_register(db, ids[first : first + MANY], at)
    return _Looked(found, bool(found) or as_known.any_known(db, at))


def _refuse_too_many(many: int) -> None:
    if many > MOST_CARS:
        raise Refused(
            f"What was known of {many:,} cars at another time is worked out anew each time, and that "
            f"is done for at most {MOST_CARS:,}. Choose an owner, or how the mark begins."
        )


# Due items ------------------------------------------------------------------------------------------------------


class _Item(NamedTuple):
    """A due item as `app.bulk` gives it."""

    car_id: int
    item_no: int
    state: str
    due_on: date | None
    basis_on: date | None
    interval_months: int | None
    calculated_due_on: date | None
    confidence: str
    rule: str
    citation: str


class _About(NamedTuple):
    """What each due item of a car says of it."""

    car: InRegister
    owner: str
    hazardous: bool


@dataclass(frozen=True, slots=True)
class DueItems:
    """The list that a filter makes of another day and moment.

    `some_cars` is whether any car was known then. `kept` are the items of every status.
    """

    wanted: DueFilter
    some_cars: bool
    about: Mapping[int, _About] = field(repr=False)
    kept: Sequence[tuple[_Item, Status]] = field(repr=False)

    def page(self, after: str | None = None, limit: int = 50) -> Page[DueListRow]:
        """Soonest first, then mark, number, item, as the stored list; `after` is a cursor of this list."""
        dated: tuple[type, ...] = () if self.wanted.undated else (date,)
        found = page_among(self._keyed(), (*dated, str, int, int, int), after, limit)
        return Page(tuple(map(self._shown, found.rows)), found.next_after, found.previous)

    def each(self) -> Iterator[DueListRow]:
        """Every row in the order of the list."""
        for _, item in sorted(self._keyed()):
            yield self._shown(item)

    def totals(self) -> dict[Status, int]:
        """How many items have each status, whatever status the filter asks for."""
        counted = Counter(status for _, status in self.kept)
        return {status: counted[status] for status in STATUSES}

    def _keyed(self) -> Iterator[tuple[tuple[Any, ...], _Item]]:
        undated = self.wanted.undated
        for item, status in self.kept:
            if _asked_for(status, self.wanted):
                car = self.about[item.car_id].car
                name = (car.mark, car.number, item.item_no, item.car_id)
                yield (name if undated else (item.due_on, *name)), item

    def _shown(self, item: _Item) -> DueListRow:
        return _row(item, self.about[item.car_id], self.wanted)


def due_items(db: Session, at: Standpoint, wanted: DueFilter) -> DueItems:
    """The due list of another day and moment. Raises Refused for more cars than can be worked out at once."""
    looked = _looked(db, at, wanted.owner_id, wanted.search)
    meant = {key: car for key, car in looked.cars.items() if _meant(car, wanted)}
    programme, owners = rulebooks.in_force(db, at.known_at), cars.party_names(db)
    about: dict[int, _About] = {}
    kept: list[tuple[_Item, Status]] = []
    with garbage.paused(len(meant) > BATCH):
        for first in range(0, len(meant), MANY):
            some = dict(list(meant.items())[first : first + MANY])
            for items, hazardous in _worked_out(db, some, at, programme):
                kept += _kept(items, wanted)
                about |= {
                    key: _About(some[key], owners[some[key].owner_id], yes)
                    for key, yes in hazardous.items()
                }
    return DueItems(wanted, looked.some, about, kept)


def _meant(car: InRegister, wanted: DueFilter) -> bool:
    return (
        (car.standing == "in_service" or not wanted.listed_only)
        and wanted.owner_id in (None, car.owner_id)
        and wanted.region in (None, car.region)
        and begins(wanted.search, car.mark, car.number)
    )


def _kept(items: Sequence[_Item], wanted: DueFilter) -> Iterator[tuple[_Item, Status]]:
    """All of the filter but which statuses are meant."""
    place = PLACE[wanted.item] if wanted.item else None
    for item in items:
        if (
            place in (None, item.item_no)
            and wanted.rule in (None, item.rule)
            and _between(item.due_on, wanted.due_from, wanted.due_to)
        ):
            yield item, state_on(item.state, item.due_on, wanted.as_of, wanted.soon_days)


def _between(day: date | None, first: date | None, last: date | None) -> bool:
    if day is None:
        return first is None and last is None
    return (first is None or first <= day) and (last is None or day <= last)


def _asked_for(status: Status, wanted: DueFilter) -> bool:
    """Whether the list holds items of this status; without one asked for, those with a date."""
    if wanted.overdue and status not in ("overdue", "due_now"):
        return False
    return status == wanted.status if wanted.status else status not in UNDATED


def _worked_out(
    db: Session, some: Mapping[int, InRegister], at: Standpoint, programme: Programme
) -> Iterator[tuple[list[_Item], dict[int, bool]]]:
    """The due items of these cars, and by car whether its lading is hazardous."""
    days = WrittenDays()
    left: list[int] = []
    for rows, found in fleet_due.columns(db, some, at.as_of, programme, DEFAULTS, at.known_at):
        left += found.left
        lading: dict[int, int] = dict(rows.ladings)
        yield (
            list(map(_Item._make, found.rows(days))),
            {
                key: rows.services[lading[key]].hazardous if key in lading else True
                for key in rows.car_ids
            },
        )
    # What columns cannot express of a car is left to the pure function.
    for key, record in facts.load(db, left, at.as_of, at.known_at).items() if left else ():
        answer = programme.whole_answer(record, at.as_of).answer
        yield [_item(key, due) for due in answer.items], {key: record.car.service.hazardous}


def _item(car_id: int, due: Due) -> _Item:
    citation = next((each.citation for each in due.reasons if each.citation), "")
    return _Item(
        car_id, PLACE[due.item], due.state, due.due_on, due.basis_on, due.interval_months,
        due.calculated_due_on, due.confidence, due.rule, citation,
    )  # fmt: skip


def _row(item: _Item, about: _About, seen: DueFilter) -> DueListRow:
    return DueListRow(
        car_id=item.car_id,
        mark=about.car.mark,
        number=about.car.number,
        owner=about.owner,
        region=about.car.region,
        item_no=item.item_no,
        item=ITEMS[item.item_no],
        state=item.state,
        status=state_on(item.state, item.due_on, seen.as_of, seen.soon_days),
        due_on=item.due_on,
        days_left=days_left(item.due_on, seen.as_of),
        basis_on=item.basis_on,
        interval_months=item.interval_months,
        calculated_due_on=item.calculated_due_on,
        confidence=item.confidence,
        citation=item.citation,
        hazardous=about.hazardous,
    )


# The register ---------------------------------------------------------------------------------------------------


class _First(NamedTuple):
    """What falls due first of a car."""

    item: str | None = None
    state: str | None = None
    due_on: date | None = None


NOTHING = _First()


@dataclass(frozen=True, slots=True)
class Register:
    """The fleet as it was: what a filter keeps of it, by key, and how to work out what falls due first.

    `wanted` names the cars that a search finds by a name they had; `some_cars` is whether any car was
    known then.
    """

    db: Session = field(repr=False)
    at: Standpoint
    wanted: RegisterFilter
    some_cars: bool
    cars: Mapping[int, InRegister] = field(repr=False)

    def page(self, after: str | None = None, limit: int = 50) -> Page[CarListRow]:
        """By mark, then number, as the stored register; `after` is a cursor of it."""
        keyed = (((car.mark, car.number, key), key) for key, car in self.cars.items())
        found = page_among(keyed, (str, int, int), after, limit)
        return Page(tuple(self._shown(found.rows)), found.next_after, found.previous)

    def count(self) -> int:
        return len(self.cars)

    def each(self) -> Iterator[CarListRow]:
        """Every car in that order."""
        order = sorted(self.cars, key=lambda key: (*self.cars[key][:2], key))
        for first in range(0, len(order), MANY):
            yield from self._shown(order[first : first + MANY])

    def _shown(self, keys: Sequence[int]) -> Iterator[CarListRow]:
        owners = cars.party_names(self.db)
        first = self._first({key: self.cars[key] for key in sorted(keys)})
        for key in keys:
            car = self.cars[key]
            yield CarListRow(
                key, car.mark, car.number, car.owner_id, owners[car.owner_id], car.region,
                car.standing, car.specification, car.commodity, car.built_on,
                *first.get(key, NOTHING),
            )  # fmt: skip

    def _first(self, some: Mapping[int, InRegister]) -> dict[int, _First]:
        programme = rulebooks.in_force(self.db, self.at.known_at)
        found: dict[int, _First] = {}
        left: list[int] = []
        asked = (self.at.as_of, programme, DEFAULTS, self.at.known_at)
        for _, columns in fleet_due.columns(self.db, some, *asked):
            found |= {key: _First(*told) for key, told in columns.first(WrittenDays())}
            left += columns.left
        for key, record in facts.load(self.db, left, self.at.as_of, self.at.known_at).items():
            found[key] = _first_of(programme.whole_answer(record, self.at.as_of).answer)
        return found


def _first_of(answer: Answer) -> _First:
    first = answer.next
    return _First(first.item, first.state, first.due_on) if first else NOTHING


def register(db: Session, at: Standpoint, wanted: RegisterFilter) -> Register:
    """The fleet register of another day and moment. Raises Refused for more cars than can be looked through."""
    looked = _looked(db, at, wanted.owner_id, wanted.search)
    rulebook = rulebooks.in_force(db, at.known_at).everyone.rulebook
    classes = {text: _class(text, rulebook.stencils) for text in _specifications(looked)}
    kept = {
        key: car
        for key, car in looked.cars.items()
        if _standing_meant(car.standing, wanted.standing)
        and wanted.owner_id in (None, car.owner_id)
        and wanted.region in (None, car.region)
        and wanted.specification_class in (None, classes[car.specification])
        and wanted.commodity in (None, car.commodity)
    }
    once = {key for key, car in kept.items() if not begins(wanted.search, car.mark, car.number)}
    if not (wanted.search.mark and wanted.search.digits):
        # By what they were once called cars are found where the whole name is looked for only.
        kept, once = {key: car for key, car in kept.items() if key not in once}, set()
    return Register(db, at, replace(wanted, once_so_named=tuple(sorted(once))), looked.some, kept)


def _standing_meant(standing: str, wanted: str | None) -> bool:
    if wanted is None:
        return standing not in OUT_OF_RECORD
    return wanted in ("all", standing)


def _specifications(looked: _Looked) -> set[str]:
    return {car.specification for car in looked.cars.values()}


def _class(specification: str, tables: Any) -> str:
    try:
        return decode(specification, tables).class_
    except Unreadable:
        return ""

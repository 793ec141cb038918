"""What putting an edition in force would move: every stored car answered by the rules now and by the rules then."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass, fields, replace
from datetime import date
from typing import Any

from sqlalchemy.orm import Session

from app import garbage
from app.actions import rulebooks
from app.actions.due import BATCH, Tell
from app.actions.rulebooks import Programme
from app.core.facts import ITEMS, Answer, Due
from app.store import facts
from app.store import rulebooks as editions
from app.store.facts import CarRecord


@dataclass(frozen=True, slots=True)
class Shift:
    """One due item that would change: its state and date by the rules now, and by the rules then.

    `stops` says that nothing forbids loading the car today, and then something would.
    """

    car_id: int
    mark: str
    number: int
    owner_id: int
    item: str
    state: str
    due_on: date | None
    new_state: str
    new_due_on: date | None
    stops: bool

    @property
    def days(self) -> int | None:
        """How many days later; below zero when it is earlier, None where one of both has no date."""
        if self.due_on is None or self.new_due_on is None:
            return None
        return (self.new_due_on - self.due_on).days

    def past(self, today: date) -> bool:
        """Whether it would be overdue or due now and is not so today."""
        return _past(self.new_state, self.new_due_on, today) and not _past(
            self.state, self.due_on, today
        )


def _past(state: str, due_on: date | None, today: date) -> bool:
    return state == "owed" or (state == "dated" and due_on is not None and due_on < today)


@dataclass(frozen=True, slots=True)
class ItemShifts:
    """What would move of one item: how many cars, which way, and by how many days at most."""

    item: str
    earlier: int
    later: int
    otherwise: int
    most_earlier: int
    most_later: int
    past: int

    @property
    def cars(self) -> int:
        return self.earlier + self.later + self.otherwise


@dataclass(frozen=True, slots=True)
class Effect:
    """What would move, by mark, number and the order of items; of how many cars looked at, of how many.

    `stopped` cars are not forbidden to be loaded today and would be, `freed` cars the other way round,
    whether a date of theirs moves or not (a thickness line may). `shifts` may be fewer than
    `shift_count` where they were kept for later.
    """

    looked_at: int
    cars: int
    stopped: int
    freed: int
    shift_count: int
    by_item: Sequence[ItemShifts]
    shifts: Sequence[Shift]


def concerned(db: Session, owner_id: int | None) -> Sequence[int]:
    """The cars that an edition for this owner, or for all (None), is about: those in the record."""
    return editions.cars_of(db, owner_id, in_record=True)


def effect(
    db: Session,
    edition_id: int | None,
    owner_id: int | None,
    today: date,
    tell: Tell | None = None,
    most: int | None = None,
) -> Effect:
    """What putting it in force today would do; nothing is changed. `tell` hears how far it is.

    Of the shifts no more than the first `most` are kept; all are counted.
    """
    holding = editions.in_force(db)
    now = rulebooks.as_held(db, holding)
    then = rulebooks.as_held(db, _held_then(holding, edition_id, owner_id))
    car_ids = concerned(db, owner_id)
    sums, kept = _Sums(today), list[Shift]()
    with garbage.paused(len(car_ids) > BATCH):
        for first in range(0, len(car_ids), BATCH):
            batch = car_ids[first : first + BATCH]
            for record in facts.load(db, batch, today).values():
                before, after = _answers(record, now, then, today)
                shifts = list(_shifts(record, before, after))
                sums.add(shifts, before, after)
                kept += shifts[: None if most is None else max(0, most - len(kept))]
            if tell:
                tell(min(first + BATCH, len(car_ids)), len(car_ids))
    return Effect(
        len(car_ids), sums.cars, sums.stopped, sums.freed, sums.shifts, sums.by_item(), kept
    )  # fmt: skip


class _Sums:
    """Counts over shifts, car by car, so that those of a large fleet need not be held."""

    def __init__(self, today: date) -> None:
        self.today = today
        self.cars = self.stopped = self.freed = self.shifts = 0
        self._days: dict[str, Counter[int | None]] = defaultdict(Counter)
        self._past: Counter[str] = Counter()

    def add(self, shifts: Sequence[Shift], before: Answer, after: Answer) -> None:
        """The shifts of one car, and its answers by the rules now and then."""
        self.cars += bool(shifts)
        was, will_be = _forbidden(before), _forbidden(after)
        self.stopped += will_be and not was
        self.freed += was and not will_be
        self.shifts += len(shifts)
        for shift in shifts:
            self._days[shift.item][shift.days] += 1
            self._past[shift.item] += shift.past(self.today)

    def by_item(self) -> list[ItemShifts]:
        """In the order of items."""
        return [self._of(item, self._days[item]) for item in ITEMS if item in self._days]

    def _of(self, item: str, days: Counter[int | None]) -> ItemShifts:
        moved = [each for each in days if each]
        earlier = sum(days[each] for each in moved if each < 0)
        later = sum(days[each] for each in moved if each > 0)
        return ItemShifts(
            item, earlier, later, days.total() - earlier - later,
            -min(0, *moved, 0), max(0, *moved, 0), self._past[item],
        )  # fmt: skip


def _held_then(
    holding: Mapping[int | None, int], edition_id: int | None, owner_id: int | None
) -> dict[int | None, int]:
    then = {**holding}
    then.pop(owner_id, None)
    return then if edition_id is None else {**then, owner_id: edition_id}


def _answers(
    record: CarRecord, now: Programme, then: Programme, today: date
) -> tuple[Answer, Answer]:
    before = now.whole_answer(record, today).answer
    if now.of(record.owner_id) is then.of(record.owner_id):
        return before, before
    return before, then.whole_answer(record, today).answer


def _shifts(record: CarRecord, before: Answer, after: Answer) -> Iterator[Shift]:
    if before is after:
        return
    was = {due.item: due for due in before.items}
    stops = _forbidden(after) and not _forbidden(before)
    for due in after.items:
        if due.item in was and _told(was[due.item]) != _told(due):
            yield Shift(
                record.car_id, record.car.mark, record.car.number, record.owner_id, due.item,
                *_told(was[due.item]), *_told(due), stops,
            )  # fmt: skip


def _forbidden(answer: Answer) -> bool:
    return answer.loading.verdict == "may_not_load"


def _told(due: Due) -> tuple[str, date | None]:
    return due.state, due.due_on


# Kept with a job --------------------------------------------------------------------------------------------------

KEPT = 20_000


def as_kept(found: Effect) -> dict[str, Any]:
    """The effect as plain JSON, with no more than the first shifts."""
    return asdict(replace(found, shifts=())) | {
        "shifts": [
            [_plain(getattr(shift, each.name)) for each in fields(Shift)]
            for shift in found.shifts[:KEPT]
        ]
    }


def from_kept(kept: Mapping[str, Any]) -> Effect:
    """What `as_kept` gave, as an effect again."""
    shifts = [Shift(**_read(dict(zip(_NAMES, row, strict=True)))) for row in kept["shifts"]]
    by_item = [ItemShifts(**each) for each in kept["by_item"]]
    plain = {each.name: kept[each.name] for each in fields(Effect)}
    return Effect(**{**plain, "by_item": by_item, "shifts": shifts})


_NAMES = [each.name for each in fields(Shift)]


def _plain(value: Any) -> Any:
    return value.isoformat() if isinstance(value, date) else value


def _read(row: dict[str, Any]) -> dict[str, Any]:
    for name in ("due_on", "new_due_on"):
        row[name] = date.fromisoformat(row[name]) if row[name] else None
    return row

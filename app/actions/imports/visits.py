"""A file of visits to shops: days sent, arrived and released, laid against the visits that are on record."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from datetime import date
from itertools import pairwise

from sqlalchemy.orm import Session

from app.actions.imports.named import NamedCars, is_named
from app.actions.imports.report import Report
from app.actions.imports.stated import Repeats, Stated, beside_unread, is_repeated
from app.actions.imports.writing import Writer
from app.actions.stamp import Stamp
from app.files.days import Day
from app.files.headers import RowFault
from app.store import visiting
from app.store.intake import KnownCar
from app.store.visits import Visit, VisitStep

# The steps of a visit that a file tells, in their order; a column is a step's name and `_on`.
STEPS = ("sent", "arrived", "released")
Days = dict[str, date]


@dataclass
class Held:
    """A visit as it stands while the file is gone through.

    `planned_on` is the day on which it was planned, while the car was not sent on it.
    """

    id: int
    shop: str
    days: Days
    month: date | None = None
    planned_on: date | None = None

    @property
    def open(self) -> bool:
        return "sent" in self.days and "released" not in self.days

    def overlaps(self, days: Days) -> bool:
        """Whether the car would be on both at once; a day may end one and begin the other."""
        if "sent" not in self.days:
            return False
        ends = self.days.get("released", date.max), days.get("released", date.max)
        return self.days["sent"] < ends[1] and days["sent"] < ends[0]


@dataclass
class Matched:
    """What a row comes to: the visit that it tells of, None for a new one; or what is wrong."""

    visit: Held | None = None
    faults: list[RowFault] = field(default_factory=list)


class Visits:
    """Takes rows of visits; one that a row tells of is the one going on, the soonest planned, or a new one."""

    def __init__(self, db: Session, stamp: Stamp, writer: Writer, report: Report) -> None:
        self.db, self.stamp, self.writer, self.report = db, stamp, writer, report
        self.cars = NamedCars(db, stamp.today, report, _first_day)
        self.repeats = Repeats()
        self.held: dict[int, list[Held]] = {}

    def take(self, rows: list[Stated]) -> None:
        cars = self.cars.of(rows)
        self._look_up({car.id for car in cars.values()})
        # In the order in which it happened, whatever the order of the file.
        for row in sorted(rows, key=lambda each: _earliest(_days(each))):
            car = cars.get(row.row)
            faults = list(_faults(row, car, self.stamp.today))
            self.report.faults += faults
            if car is None or faults:
                continue
            key = (car.id, _shop(row).casefold(), _earliest(_days(row)))
            if not is_repeated(key, row, "car, shop and first day", self.repeats, self.report):
                self._take_one(car, row)

    def judge(self, rows: list[Stated]) -> None:
        cars = self.cars.of([row for row in rows if is_named(row)])
        for row in rows:
            faults = _faults(row, cars.get(row.row), self.stamp.today)
            self.report.faults += beside_unread(row, faults)

    def _look_up(self, car_ids: set[int]) -> None:
        new = car_ids - self.held.keys()
        self.held |= {car_id: [] for car_id in new}
        for shown in visiting.of_cars(self.db, sorted(new)):
            if shown.state != "cancelled":
                days = {step: shown.days[step] for step in STEPS if step in shown.days}
                planned_on = shown.days["planned"] if shown.planned else None
                held = Held(shown.id, shown.shop, days, shown.month, planned_on)
                self.held[shown.car_id].append(held)

    def _take_one(self, car: KnownCar, row: Stated) -> None:
        found = _matched(row, self.held[car.id])
        faults = found.faults or _against(row, found.visit, self.held[car.id])
        self.report.faults += faults
        if faults:
            return
        if found.visit is None:
            self._add(car, row)
        else:
            self._complete(car, row, found.visit)

    def _add(self, car: KnownCar, row: Stated) -> None:
        shop, days = _shop(row), _days(row)
        party = self.writer.party(shop, anywhere=True)
        key = self.writer.add(Visit, car_id=car.id, shop_id=party)
        held = Held(key, shop, {})
        self.held[car.id].append(held)
        self._note(held, days)
        self.report.added += 1
        self.report.touched.add(car.id)

    def _complete(self, car: KnownCar, row: Stated, visit: Held) -> None:
        new = {step: day for step, day in _days(row).items() if step not in visit.days}
        if not new:
            self.report.repeated += 1
            return
        self._note(visit, new)
        self.report.change(row.row, car.name, [(f"{step}_on", None, new[step]) for step in new])
        self.report.touched.add(car.id)

    def _note(self, visit: Held, days: Days) -> None:
        for step, day in days.items():
            self.writer.add(VisitStep, visit_id=visit.id, step=step, happened_on=day)
            visit.days[step] = day
        visit.planned_on = None


def _shop(row: Stated) -> str:
    shop: str = row.about("visit")["shop"]
    return shop


def _days(row: Stated) -> Days:
    said = row.about("visit")
    return {step: said[f"{step}_on"] for step in STEPS if f"{step}_on" in said}


def _earliest(days: Days) -> date:
    return min(days.values(), default=date.min)


def _first_day(row: Stated) -> Day | None:
    days = _days(row)
    return Day(_earliest(days)) if days else None


def _faults(row: Stated, car: KnownCar | None, today: date) -> Iterator[RowFault]:
    """What no visit can be, whatever is stored, as far as its cells could be read."""
    days = _days(row)
    if not days and not row.unread:
        yield RowFault(row.row, "sent_on", "", "at least one of sent_on, arrived_on, released_on")
    before: tuple[str, date] | None = None
    for step, day in days.items():
        found = day.isoformat()
        if day > today:
            yield RowFault(row.row, f"{step}_on", found, f"a day not after today, {today}")
        elif car is not None and car.built_on and day < car.built_on:
            wanted = f"a day not before {car.built_on}, when the car was built"
            yield RowFault(row.row, f"{step}_on", found, wanted)
        elif before and day < before[1]:
            wanted = f"a day not before {before[1]}, which is {before[0]}_on"
            yield RowFault(row.row, f"{step}_on", found, wanted)
        before = step, day


def _matched(row: Stated, held: Sequence[Held]) -> Matched:
    days, shop = _days(row), _shop(row).casefold()
    here = [each for each in held if each.shop.casefold() == shop]
    same = [each for each in here if _tells_of(days, each)]
    if same:
        return Matched(same[0])
    going = [each for each in here if each.open]
    if going and ("sent" not in days or not _is_over(days)):
        return Matched(going[0])
    if "sent" not in days:
        wanted = "the day sent as well; no visit of this car to that shop is going on"
        return Matched(faults=[RowFault(row.row, "sent_on", "", wanted)])
    planned = [each for each in here if _can_be_planned(days, each)]
    planned.sort(key=lambda each: (each.month or date.max, each.id))
    return Matched(planned[0] if planned else None)


def _can_be_planned(days: Days, visit: Held) -> bool:
    """It is planned, and was not planned only after the car had come back."""
    return visit.planned_on is not None and days.get("released", date.max) >= visit.planned_on


def _tells_of(days: Days, visit: Held) -> bool:
    """The first day that both tell of is the same."""
    both = [step for step in STEPS if step in days and step in visit.days]
    return bool(both) and days[both[0]] == visit.days[both[0]]


def _is_over(days: Days) -> bool:
    return "released" in days


def _against(row: Stated, visit: Held | None, held: Sequence[Held]) -> list[RowFault]:
    """What of the row contradicts the visit that it tells of, or another one of the car."""
    days = _days(row)
    told = visit.days if visit else {}
    for step, day in days.items():
        if step in told and told[step] != day:
            wanted = f"{told[step]}, as is stored of this visit, or that step undone on its page"
            return [RowFault(row.row, f"{step}_on", day.isoformat(), wanted)]
    whole = {**told, **days}
    return [*_disorder(row, whole, days), *_overlap(row, whole, visit, held)][:1]


def _disorder(row: Stated, whole: Days, days: Days) -> Iterator[RowFault]:
    ordered = [step for step in STEPS if step in whole]
    for first, then in pairwise(ordered):
        if whole[then] < whole[first]:
            wrong = then if then in days else first
            wanted = f"days in the order sent, arrived, released; {first} is {whole[first]}"
            yield RowFault(row.row, f"{wrong}_on", whole[wrong].isoformat(), wanted)


def _overlap(
    row: Stated, whole: Days, visit: Held | None, held: Sequence[Held]
) -> Iterator[RowFault]:
    for other in held:
        if other is not visit and other.overlaps(whole):
            until = other.days.get("released")
            ended = f"until {until}" if until else "and it is not released"
            wanted = (
                f"another day; the car was sent to {other.shop} on {other.days['sent']} {ended}"
            )
            yield RowFault(row.row, "sent_on", whole["sent"].isoformat(), wanted)

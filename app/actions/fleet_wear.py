"""How shells, linings and relief valves fare across the fleet, in groups: worked out anew when it is looked at.

An owner's aid and not the rule. Groups go by what is recorded of a car today; each number is so many of the rows
that are listed for it.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from functools import cached_property
from statistics import median

from sqlalchemy.orm import Session

from app.actions import bench, rulebooks
from app.actions.rulebooks import Programme
from app.core.lining_life import Applied, Life, lives
from app.core.months import add_months
from app.core.trend import fastest
from app.errors import Refused
from app.store import facts, wear
from app.store.wear import Benched, FleetCar, Measured, WearFilter

# Of 1,241 cars it takes 0.3 s of processor time, as measured; of this many under three seconds.
MOST_CARS = 10_000
AT_ONCE = 1_000
NOT_STATED = "not stated"
AGES = ((60, "under 5 years"), (120, "5 to 10 years"))
OLDER = "10 years and more"


@dataclass(frozen=True, slots=True)
class Shell:
    """A car's shell: what it is grouped by, its readings, its fastest wear in inches a year, its failed tests."""

    car: FleetCar
    material: str
    lining: str
    measured: Measured
    a_year: float | None
    failed_on: tuple[date, ...]

    @property
    def mil_a_year(self) -> float | None:
        """The wear as it is listed, to a hundredth of a mil."""
        # Zero is added so that a zero has no sign.
        return None if self.a_year is None else round(-1000 * self.a_year, 2) + 0.0


@dataclass(frozen=True, slots=True)
class LinedCar:
    """A lining of a car, now or once."""

    car: FleetCar
    life: Life


@dataclass(frozen=True, slots=True)
class Valve:
    """A relief valve as it came in; `months` since it was put on or tested before, where that is known."""

    car: FleetCar
    bench: Benched
    outside: bool
    judged: bool
    months: int | None

    @property
    def age(self) -> str:
        if self.months is None:
            return "not known"
        return next((name for below, name in AGES if self.months < below), OLDER)


@dataclass(frozen=True)
class FleetWear:
    """Everything that the groups are made of."""

    shells: Sequence[Shell]
    linings: Sequence[LinedCar]
    valves: Sequence[Valve]


def fleet_wear(db: Session, wanted: WearFilter, today: date) -> FleetWear:
    """Raises Refused for more cars than are worked out at once."""
    many = wear.count(db, wanted)
    if many > MOST_CARS:
        raise Refused(
            f"These are {many:,} cars, and wear is worked out for at most {MOST_CARS:,} at once. "
            "Choose an owner or a region."
        )
    found = _Reading(db, wanted, today)
    return FleetWear(list(found.shells()), list(found.linings()), list(found.valves()))


class _Reading:
    """What of the store is asked once, and what is made of it car by car."""

    def __init__(self, db: Session, wanted: WearFilter, today: date) -> None:
        self.db, self.wanted, self.today = db, wanted, today
        self.programme: Programme = rulebooks.in_force(db)
        self.cars = wear.fleet(db, wanted)
        self.lining_rows = wear.linings(db, wanted, today)
        self.failed = self._failures()

    def _failures(self) -> Mapping[tuple[int, str], list[date]]:
        found: dict[tuple[int, str], list[date]] = defaultdict(list)
        for event in wear.failures(self.db, self.wanted, self.today):
            for item in event.items:
                found[event.car_id, item].append(event.on)
        return found

    @cached_property
    def by_id(self) -> Mapping[int, FleetCar]:
        return {car.id: car for car in self.cars}

    def shells(self) -> Iterator[Shell]:
        measured = wear.measured(self.db, self.wanted, self.today)
        materials = wear.materials(self.db, self.wanted, self.today)
        rates = self._rates([car_id for car_id, each in measured.items() if each.days > 1])
        for car in self.cars:
            yield Shell(
                car, materials.get(car.id, ""), self._lining_now(car.id),
                measured.get(car.id, Measured(0, 0)), rates.get(car.id),
                tuple(self.failed.get((car.id, "thickness"), ())),
            )  # fmt: skip

    def _rates(self, car_ids: Sequence[int]) -> dict[int, float]:
        found = {}
        for first in range(0, len(car_ids), AT_ONCE):
            records = facts.load(self.db, car_ids[first : first + AT_ONCE], self.today)
            for car_id, record in records.items():
                rulebook = self.programme.of(record.owner_id).rulebook
                rate = fastest(record.facts(self.today), rulebook)
                if rate:
                    found[car_id] = rate.a_year
        return found

    def _lining_now(self, car_id: int) -> str:
        rows = self.lining_rows.get(car_id)
        if not rows or not rows[-1].lined:
            return "none recorded"
        return rows[-1].kind or f"lined, kind {NOT_STATED}"

    def linings(self) -> Iterator[LinedCar]:
        work: dict[int, list[wear.Happened]] = defaultdict(list)
        for each in wear.lining_work(self.db, self.wanted, self.today):
            work[each.car_id].append(each)
        for car in self.cars:
            done = work.get(car.id, [])
            removed = [each.on for each in done if "lining_removed" in each.items]
            for life in lives(
                _applied(self.lining_rows.get(car.id, []), done), removed,
                self.failed.get((car.id, "lining"), []),
                self.programme.of(car.owner_id).rulebook,
            ):  # fmt: skip
                yield LinedCar(car, life)

    def valves(self) -> Iterator[Valve]:
        put_on = wear.relief_put_on(self.db)
        for each in wear.benched(self.db, self.wanted, self.today):
            car = self.by_id[each.car_id]
            rulebook = self.programme.of(car.owner_id).rulebook
            judged = bench.judged(
                car.specification, car.built_on, each.kind, each.pressures, rulebook
            )
            verdict = next((one.verdict for one in judged if one.measure == "found"), "unknown")
            months = _months_since(put_on.get(each.component_id, []), each)
            yield Valve(car, each, verdict == "outside", verdict != "unknown", months)


def _applied(rows: Sequence[wear.LiningRow], done: Sequence[wear.Happened]) -> list[Applied]:
    """The applications of a car: those that a fact of the lining states, and those that were recorded as work."""
    by = {each.on: each.facility for each in done if "lining_applied" in each.items}
    lined = [row for row in rows if row.lined]
    days: dict[date | None, wear.LiningRow | None] = {row.applied_on: row for row in lined}
    for on in by:
        # Work recorded without a fact of its own: of the lining stated on that day, or stated since.
        days.setdefault(on, next((row for row in reversed(lined) if row.from_on <= on), None))
    if len(days) > 1:
        days.pop(None, None)
    return [_stated(on, row, by.get(on, "") if on else "") for on, row in days.items()]


def _stated(on: date | None, row: wear.LiningRow | None, by: str) -> Applied:
    if row is None:
        return Applied(on, by=by)
    return Applied(on, row.kind or "", by, row.owner_interval_months, row.documented)


def _months_since(put_on: Sequence[tuple[int, date]], each: Benched) -> int | None:
    """Whole months from when the device was put on or tested before to this test."""
    before = [on for key, on in put_on if key != each.installation_id]
    tested = each.tested_on or each.installed_on
    earlier = max((on for on in before if tested and on < tested), default=None)
    if earlier is None or tested is None:
        return None
    months = (tested.year - earlier.year) * 12 + tested.month - earlier.month
    return months if add_months(earlier, months) <= tested else months - 1


# Groups -----------------------------------------------------------------------------------------------------------

SHELLS_BY: Mapping[str, Callable[[Shell], str]] = {
    "lading": lambda each: each.car.commodity or "no lading recorded",
    "lining": lambda each: each.lining,
    "material": lambda each: each.material or NOT_STATED,
}
LININGS_BY: Mapping[str, Callable[[LinedCar], str]] = {
    "kind": lambda each: each.life.applied.kind or NOT_STATED,
    "applicator": lambda each: each.life.applied.by or NOT_STATED,
    "lading": lambda each: each.car.commodity or "no lading recorded",
}
VALVES_BY: Mapping[str, Callable[[Valve], str]] = {
    "maker": lambda each: each.bench.maker or NOT_STATED,
    "model": lambda each: f"{each.bench.maker} {each.bench.model}".strip() or NOT_STATED,
    "age": lambda each: each.age,
}


def median_wear(shells: Iterable[Shell]) -> float | None:
    """The median of the cars' fastest wear as listed, mil a year; None where no car has a rate."""
    rates = [each.mil_a_year for each in shells if each.mil_a_year is not None]
    return median(rates) if rates else None

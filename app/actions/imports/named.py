"""The cars that rows of components and events are about, by mark and number and the day they tell of."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date

from sqlalchemy.orm import Session

from app.actions.imports.report import Report
from app.actions.imports.stated import Stated
from app.core.months import month_end
from app.files.days import Day
from app.files.headers import RowFault
from app.store import intake
from app.store.bearers import Borne, bearers, meant
from app.store.intake import KnownCar
from app.store.names import Name

DayOf = Callable[[Stated], Day | None]


class NamedCars:
    """Looks names up once each; a row that means no car, or several, is a fault.

    `day_of` gives the day or month of a row, None when it tells of none: then today's car is meant.
    """

    def __init__(self, db: Session, today: date, report: Report, day_of: DayOf) -> None:
        self._db, self._today, self._report, self._day_of = db, today, report, day_of
        self._borne: dict[Name, list[Borne]] = {}
        self._now: dict[Name, str] = {}

    def of(self, rows: list[Stated]) -> dict[int, KnownCar]:
        """The car of each row, by the row's number."""
        self._look_up({_name(row) for row in rows})
        found = {}
        for row in rows:
            first, last = self._between(row)
            cars = meant(self._borne[_name(row)], first, last, self._today)
            if len(cars) == 1:
                found[row.row] = cars[0]
            elif cars:
                self._report.faults.append(_several(row, cars))
            else:
                self._report.faults.append(self._lacking(row, first))
        return found

    def _look_up(self, names: set[Name]) -> None:
        new = names - self._borne.keys()
        self._borne |= bearers(self._db, new)
        nobody_s = {
            name
            for name in new
            if not any(each.touches(self._today, self._today) for each in self._borne[name])
        }
        self._now |= intake.names_now(self._db, nobody_s)

    def _between(self, row: Stated) -> tuple[date, date]:
        day = self._day_of(row)
        if day is None:
            return self._today, self._today
        return day.on, month_end(day.on) if day.month_only else day.on

    def _lacking(self, row: Stated, first: date) -> RowFault:
        mark, number = name = _name(row)
        borne = self._borne[name]
        if name in self._now:
            wanted = f"{self._now[name]}, as this car is called today"
        elif borne and borne[-1].until <= first:
            wanted = (
                f"a day before {borne[-1].until}; no car of the register bore that name on "
                f"{first} or does today"
            )
        else:
            wanted = "a car that is in the register; bring in the file of cars first"
        return RowFault(row.row, "number", f"{mark} {number}", wanted)


def _several(row: Stated, cars: list[KnownCar]) -> RowFault:
    mark, number = _name(row)
    told = ", ".join(f"the one that is {each.name} today (key {each.id})" for each in cars)
    wanted = (
        f"a name that means one car; {len(cars)} bore this one then or since: {told}; record it "
        f"on the car's page"
    )
    return RowFault(row.row, "number", f"{mark} {number}", wanted)


def is_named(row: Stated) -> bool:
    """Mark and number could both be read."""
    return {"mark", "number"} <= row.about("name").keys()


def _name(row: Stated) -> Name:
    named = row.about("name")
    return named["mark"], named["number"]

"""The cars that rows of components and events are about, by mark and number."""

from __future__ import annotations

from sqlalchemy.orm import Session

from app.actions.imports.report import Report
from app.actions.imports.stated import Stated
from app.files.headers import RowFault
from app.store import intake
from app.store.intake import KnownCar, Name


class NamedCars:
    """Looks cars up once each; a row about a car that the register lacks is a fault."""

    def __init__(self, db: Session, report: Report) -> None:
        self._db, self._report = db, report
        self._known: dict[Name, KnownCar] = {}
        self._missing: dict[Name, str] = {}

    def of(self, rows: list[Stated]) -> dict[int, KnownCar]:
        """The car of each row, by the row's number."""
        self._look_up({_name(row) for row in rows})
        found = {}
        for row in rows:
            name = _name(row)
            if name in self._known:
                found[row.row] = self._known[name]
            else:
                self._report.faults.append(self._lacking(row.row, name))
        return found

    def _look_up(self, names: set[Name]) -> None:
        new = names - self._known.keys() - self._missing.keys()
        if not new:
            return
        self._known |= intake.cars_named(self._db, new)
        missing = new - self._known.keys()
        now = intake.names_now(self._db, missing)
        self._missing |= {name: now.get(name, "") for name in missing}

    def _lacking(self, row: int, name: Name) -> RowFault:
        now = self._missing[name]
        wanted = (
            f"{now}, as this car is called today"
            if now
            else ("a car that is in the register; bring in the file of cars first")
        )
        return RowFault(row, "number", f"{name[0]} {name[1]}", wanted)


def is_named(row: Stated) -> bool:
    """Mark and number could both be read."""
    return {"mark", "number"} <= row.about("name").keys()


def _name(row: Stated) -> Name:
    named = row.about("name")
    return named["mark"], named["number"]

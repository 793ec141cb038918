"""A file of cars: new ones are added with all that is stated, known ones get what is new as dated facts."""

from __future__ import annotations

from datetime import date
from typing import Any

from sqlalchemy.orm import Session

from app.actions import rulebooks
from app.actions.imports import car_checks, car_facts, car_warnings
from app.actions.imports.car_facts import FACTS, Told
from app.actions.imports.devices import Devices
from app.actions.imports.report import Report
from app.actions.imports.stated import Repeats, Stated, beside_unread, is_repeated
from app.actions.imports.writing import UNASSIGNED, Writer
from app.actions.names import free_from
from app.actions.stamp import Stamp
from app.core.contradictions import Beside
from app.files.headers import RowFault
from app.store import intake, intake_cars, tables
from app.store.bearers import Borne, bearers
from app.store.columns import BEGINNING
from app.store.intake import KnownCar
from app.store.names import Name

PARTIES = ("owner", "lining_owner", "equipment_owner")


class Cars:
    """Takes rows of cars, known by mark and number."""

    def __init__(self, db: Session, stamp: Stamp, writer: Writer, report: Report) -> None:
        self.db, self.stamp, self.writer, self.report = db, stamp, writer, report
        self.repeats = Repeats()
        self.devices = Devices(db, stamp, writer, report)
        self.unassigned = 0
        self.borne: dict[Name, list[Borne]] = {}
        self.rulebook = rulebooks.in_force(db).everyone.rulebook

    def take(self, rows: list[Stated]) -> None:
        fresh = [
            row
            for row in rows
            if not is_repeated(_name(row), row, "car", self.repeats, self.report)
        ]
        for row in fresh:
            self._name_parties(row)
        known = intake.cars_named(self.db, [_name(row) for row in fresh])
        stored = _Stored(self.db, known, fresh)
        unknown = [_name(row) for row in fresh if _name(row) not in known]
        self._remark_old_names(unknown)
        self.borne = bearers(self.db, unknown)
        for row in fresh:
            car = known.get(_name(row))
            faults = car_checks.faults(row, self.stamp.today, stored.facts_of(car, "construction"))
            faults += stored.contradictions(row, car)
            if faults:
                self.report.faults += faults
            elif car is None:
                self._add(row)
                self._warn(row, None, stored)
            elif self._compare(row, car, stored):
                self._warn(row, car, stored)

    def judge(self, rows: list[Stated]) -> None:
        """By the row alone, since the car may be one whose name could not be read."""
        for row in rows:
            faults = car_checks.faults(row, self.stamp.today, stored=[])
            self.report.faults += beside_unread(row, faults)

    def _name_parties(self, row: Stated) -> None:
        """Owners by name become parties by key, so that they compare with what is stored."""
        owned = row.values.get("ownership", {})
        for field in PARTIES:
            if field in owned:
                owned[f"{field}_id"] = self.writer.party(
                    owned.pop(field), anywhere=field != "owner"
                )

    def _remark_old_names(self, names: list[tuple[str, int]]) -> None:
        for name, now in intake.names_now(self.db, names).items():
            self.report.remarks.append(
                f"{name[0]} {name[1]} is added as a car of its own; a car now called {now} once bore "
                f"that name. If it is that car, leave the row out."
            )

    def _add(self, row: Stated) -> None:
        mark, number = _name(row)
        owned = row.values.setdefault("ownership", {})
        if "owner_id" not in owned:
            owned["owner_id"] = self.writer.party(UNASSIGNED)
            self._remark_unassigned()
        built = row.about("construction")
        car_id = self.writer.add(
            tables.Car, mark=mark, number=number, owner_id=owned["owner_id"],
            keeper_id=self.writer.keeper_of(owned["owner_id"]),
            region=owned.get("region", ""), specification=built["specification"],
            commodity=row.about("service").get("commodity", ""), built_on=built.get("built_on"),
        )  # fmt: skip
        from_on = free_from(self.borne[mark, number])
        self.writer.add(tables.CarName, car_id=car_id, mark=mark, number=number, from_on=from_on)
        self.writer.add(tables.Standing, car_id=car_id, standing="in_service", from_on=BEGINNING)
        for about, table in FACTS.items():
            values = car_facts.stated(row, about)
            if values:
                values = car_facts.UNSAID[about] | {"from_on": BEGINNING} | values
                self.writer.add(table, car_id=car_id, **values)
        for approval in car_facts.approvals(row):
            self.writer.add(tables.ApprovalFact, car_id=car_id, from_on=BEGINNING, **approval)
        self.devices.add(row, car_id, owned["owner_id"])
        self.report.added += 1
        self.report.touched.add(car_id)

    def _remark_unassigned(self) -> None:
        self.unassigned += 1
        told = "Cars without an owner, listed under Unassigned: "
        self.report.remarks = [each for each in self.report.remarks if not each.startswith(told)]
        self.report.remarks.append(f"{told}{self.unassigned}.")

    def _warn(self, row: Stated, car: KnownCar | None, stored: _Stored) -> None:
        """Tell what of the row contradicts itself or the stencil it states."""
        mark, number = _name(row)
        built = stored.facts_of(car, "construction")[-1:] or [{}]
        told = car_warnings.of_car(row, built[0], stored.beside(row, car), self.rulebook)
        for each in told:
            self.report.warn(row.row, f"{mark} {number}", car_warnings.about(each), [each])

    def _compare(self, row: Stated, car: KnownCar, stored: _Stored) -> bool:
        """Store what the row says beyond what is known of the car; count it as repeated if nothing."""
        told: list[Told] = []
        for about, table in FACTS.items():
            values = car_facts.stated(row, about)
            new = values and car_facts.beyond(
                about, values, stored.facts_of(car, about), self.stamp.today
            )
            if new:
                told += new.told
                self.writer.add(table, car_id=car.id, **new.row)
        for new in car_facts.new_approvals(row, stored.facts_of(car, "approval"), self.stamp.today):
            told += new.told
            self.writer.add(tables.ApprovalFact, car_id=car.id, **new.row)
        told += self.devices.compare(row, car, stored.mounted.get(car.id, []))
        if told:
            self.report.change(row.row, car.name, map(self._in_words, told))
            self.report.touched.add(car.id)
        else:
            self.report.repeated += 1
        return bool(told)

    def _in_words(self, told: Told) -> Told:
        """Parties by their names instead of their keys."""
        what, was, will_be = told
        if not what.endswith("_id"):
            return told
        names = self.writer.party_names
        return what.removesuffix("_id"), names.get(was), names.get(will_be)


class _Stored:
    """What is stored of the known cars of a list of rows, asked for once a table."""

    def __init__(
        self, db: Session, known: dict[tuple[str, int], KnownCar], rows: list[Stated]
    ) -> None:
        ids = [car.id for car in known.values()]
        every = FACTS | {"approval": tables.ApprovalFact}
        self._facts = {about: intake.facts_of(db, table, ids) for about, table in every.items()}
        self._first_events = intake.first_events(db, ids)
        self._lining_told = intake_cars.lining_told_by_events(db, ids)
        self._bottom_outlets = intake_cars.with_component(db, "bottom_outlet", ids)
        told_of = [car for car in rows if car.about("relief_device")]
        self.mounted = intake.mounted_on(db, ids) if told_of else {}

    def facts_of(self, car: KnownCar | None, about: str) -> list[dict[str, Any]]:
        return self._facts[about].get(car.id, []) if car else []

    def beside(self, row: Stated, car: KnownCar | None) -> Beside:
        """What is known beside the row's own facts. Where events tell of a lining, it is not doubted."""
        linings = self.facts_of(car, "lining")[-1:]
        lined = bool(row.about("lining")) or any(each["lined"] for each in linings)
        if car is None:
            return Beside(lined or None)
        return Beside(lined or car.id in self._lining_told or None, car.id in self._bottom_outlets)

    def contradictions(self, row: Stated, car: KnownCar | None) -> list[RowFault]:
        """A day of construction after something that is recorded to have happened to the car."""
        built: date | None = row.about("construction").get("built_on")
        first = self._first_events.get(car.id) if car else None
        if built is None or first is None or first >= built.replace(day=1):
            return []
        wanted = f"a day not after {first}, on which the car is recorded to have been inspected"
        return [RowFault(row.row, "built_on", built.isoformat(), wanted)]


def _name(row: Stated) -> tuple[str, int]:
    named = row.about("name")
    return named["mark"], named["number"]

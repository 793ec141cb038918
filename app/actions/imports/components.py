"""A file of components: known by car, kind, position and serial.

What is said beyond what was known is stored as a correction of how it was put on; being taken off is a
row of its own. What contradicts is refused.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import date
from typing import Any

from sqlalchemy.orm import Session

from app.actions import bench, rulebooks
from app.actions.imports.car_warnings import early, outside, wrong_outlet
from app.actions.imports.devices import Mounting, counts, differing, fills_in, with_month
from app.actions.imports.named import NamedCars, is_named
from app.actions.imports.report import Report, seen
from app.actions.imports.stated import Repeats, Stated, beside_unread, is_repeated
from app.actions.imports.writing import Writer
from app.actions.stamp import Stamp
from app.core.facts import Reason
from app.files.cells import key
from app.files.days import Day
from app.files.headers import RowFault
from app.store import intake
from app.store.intake import KnownCar
from app.store.tables import RELIEF_KINDS

Mounted = dict[str, Any]


class Components:
    """Takes rows of components on cars."""

    def __init__(self, db: Session, stamp: Stamp, writer: Writer, report: Report) -> None:
        self.db, self.stamp, self.writer, self.report = db, stamp, writer, report
        self.cars = NamedCars(db, stamp.today, report, _day)
        self.mounting = Mounting(db, stamp, writer)
        self.repeats = Repeats()
        self.programme = rulebooks.in_force(db)
        # Relief devices that this file put on, by car and place.
        self.put_on: dict[tuple[int, str], str] = {}

    def take(self, rows: list[Stated]) -> None:
        cars = self.cars.of(rows)
        fresh = []
        for row in rows:
            car = cars.get(row.row)
            faults = list(_faults(row, self.stamp.today))
            self.report.faults += faults
            if car is not None and not faults and not self._is_repeated(car, row):
                fresh.append((car, row))
        mounted = intake.mounted_on(self.db, {car.id for car, _ in fresh})
        for car, row in fresh:
            self._take_one(car, row, mounted.get(car.id, []))

    def judge(self, rows: list[Stated]) -> None:
        self.cars.of([row for row in rows if is_named(row)])
        for row in rows:
            self.report.faults += beside_unread(row, _faults(row, self.stamp.today))

    def _is_repeated(self, car: KnownCar, row: Stated) -> bool:
        said = row.about("component")
        known_by = (
            car.id, said["kind"], key(said["position"]), said.get("serial", ""),
            said.get("installed_on"),
        )  # fmt: skip
        words = "car, kind, position, serial and day put on"
        return is_repeated(known_by, row, words, self.repeats, self.report)

    def _take_one(self, car: KnownCar, row: Stated, mounted: list[Mounted]) -> None:
        said = with_month(dict(row.about("component")))
        position, removed_on = said.pop("position"), said.pop("removed_on", None)
        alike = [each for each in mounted if _is_the_same(each, position, said)]
        known = next((each for each in alike if not differing(each, said)), None)
        if known is not None and removed_on in (None, known["removed_on"]):
            self.report.repeated += 1
            self.report.corrected_since += known["superseded_at"] is not None
            return
        on_car = [each for each in alike if counts(each)]
        if not on_car and _may_be_put_on(alike, said):
            self._warn(car, row, {})
            if removed_on is None:
                self._warn_of_place(car, row, mounted)
            self._add(car, position, said, removed_on)
        elif len(on_car) == 1 and _contradiction(row, on_car[0], said) is None:
            self._complete(car, row, on_car[0], said, removed_on)
        else:
            self.report.faults.append(_clash(row, on_car or alike, said))

    def _add(self, car: KnownCar, position: str, said: Mounted, removed_on: date | None) -> None:
        installation_id = self.mounting.put_on(car.id, car.owner_id, position, said)
        if removed_on:
            self.mounting.take_off(installation_id, removed_on)
        self.report.added += 1
        self.report.touched.add(car.id)

    def _complete(
        self, car: KnownCar, row: Stated, stored: Mounted, said: Mounted, removed_on: date | None
    ) -> None:
        told = differing(stored, said)
        installation_id = stored["id"]
        if told:
            installation_id = self.mounting.revise(stored, said, car.owner_id)
        if removed_on:
            self.mounting.take_off(installation_id, removed_on)
            told.append(("removed_on", None, removed_on))
        self._warn(car, row, stored)
        self.report.change(row.row, car.name, told)
        self.report.touched.add(car.id)

    def _warn(self, car: KnownCar, row: Stated, stored: Mounted) -> None:
        """Tell what of a bench test lies outside, and of a bottom outlet where none may be."""
        now = stored | row.about("component")
        rulebook = self.programme.of(car.owner_id).rulebook
        judged = bench.judged(car.specification, car.built_on, now["kind"], now, rulebook)
        told = outside(judged)
        if now["kind"] in RELIEF_KINDS:
            told += early(row.about("component"), car.built_on)
        if now["kind"] == "bottom_outlet":
            told += wrong_outlet(car.specification, rulebook)
        self.report.warn(row.row, car.name, now["kind"], told)

    def _warn_of_place(self, car: KnownCar, row: Stated, mounted: list[Mounted]) -> None:
        """Tell of a relief device that comes where another is, in the register or by this file."""
        said = row.about("component")
        place = key(said["position"])
        if said["kind"] not in RELIEF_KINDS or not place:
            return
        others = [each for each in mounted if each["kind"] in RELIEF_KINDS and counts(each)]
        there = [_named(each) for each in others if key(each["position"]) == place]
        by_file = self.put_on.setdefault((car.id, place), _named(said))
        if by_file != _named(said):
            there.append(by_file)
        for other in there[:1]:
            text = (
                f"another relief device, {other}, is at {said['position']!r} already; if it came "
                f"off, say so with removed_on"
            )
            self.report.warn(row.row, car.name, said["kind"], [Reason(text)])


def _named(component: Mapping[str, Any]) -> str:
    words = (component["kind"].replace("_", " "), component.get("serial"))
    return " ".join(word for word in words if word)


def _day(row: Stated) -> Day | None:
    """The day a row tells of: put on, else taken off."""
    said = row.about("component")
    installed: Day | None = said.get("installed_on")
    removed: date | None = said.get("removed_on")
    return installed or (Day(removed, month_only=False) if removed else None)


def _faults(row: Stated, today: date) -> Iterator[RowFault]:
    """What no component can be, whatever is stored."""
    said = row.about("component")
    installed = said["installed_on"].on if "installed_on" in said else None
    removed = said.get("removed_on")
    for column, day in (
        ("tested_on", said.get("tested_on")), ("installed_on", installed), ("removed_on", removed),
    ):  # fmt: skip
        if day is not None and day > today:
            yield RowFault(row.row, column, str(day), f"a day not after today, {today}")
    if installed and removed and removed < installed:
        wanted = f"a day not before {installed}, when it was put on"
        yield RowFault(row.row, "removed_on", str(removed), wanted)


def _is_the_same(stored: Mounted, position: str, said: Mounted) -> bool:
    """The row may be about this component: kind, position and serial agree as far as they are known."""
    kinds_agree = stored["kind"] == said["kind"] or (
        stored["kind"] == "relief_device" and said["kind"] in RELIEF_KINDS
    )
    serial = said.get("serial", "")
    serials_agree = stored["serial"] == serial or (not stored["serial"] and counts(stored))
    return kinds_agree and serials_agree and key(stored["position"]) == key(position)


def _may_be_put_on(alike: list[Mounted], said: Mounted) -> bool:
    """Nothing like it was there, or what was there is said to have been off by then."""
    gone = [each["removed_on"] for each in alike if each["removed_on"]]
    installed = said.get("installed_on")
    return not gone or (installed is not None and installed >= max(gone))


def _contradiction(row: Stated, stored: Mounted, said: Mounted) -> RowFault | None:
    """The first thing said otherwise that was not unknown before."""
    for what, was, found in differing(stored, said):
        if not fills_in([(what, was, found)]):
            wanted = f"{seen(was)!r}, as is stored of this {stored['kind']}, or record the change on the car's page"
            return RowFault(row.row, what, seen(found), wanted)
    return None


def _clash(row: Stated, alike: list[Mounted], said: Mounted) -> RowFault:
    if len(alike) == 1 and (fault := _contradiction(row, alike[0], said)):
        return fault
    wanted = f"a serial or a day put on that tells which of {len(alike)} at that position is meant"
    return RowFault(row.row, "serial", said.get("serial", ""), wanted)

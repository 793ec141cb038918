"""A file of events: known by car, day, items and facility; what contradicts a stored one is refused."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from decimal import Decimal
from fractions import Fraction
from functools import lru_cache
from typing import Any

from sqlalchemy.orm import Session

from app.actions.imports.named import NamedCars, is_named
from app.actions.imports.report import Report
from app.actions.imports.stated import Repeats, Stated, beside_unread, is_repeated
from app.actions.imports.writing import Writer
from app.actions.stamp import Stamp
from app.core.facts import CHANGES, Reading
from app.core.months import month_end
from app.files.headers import RowFault
from app.store import intake, tables
from app.store.intake import KnownCar

# What a row may say of an event beside what it is known by.
SAID = ("outcome", "inspector", "reference", "notes")
CORRECT_IT = "or record a correction on the car's page"
Key = tuple[int, date, str, str]


class Events:
    """Takes rows of inspections and changes."""

    def __init__(self, db: Session, stamp: Stamp, writer: Writer, report: Report) -> None:
        self.db, self.stamp, self.writer, self.report = db, stamp, writer, report
        self.cars = NamedCars(db, stamp.today, report, lambda row: row.about("event").get("on"))
        self.repeats = Repeats()

    def take(self, rows: list[Stated]) -> None:
        cars = self.cars.of(rows)
        fresh = []
        for row in rows:
            car = cars.get(row.row)
            faults = list(_faults(row, car, self.stamp.today))
            self.report.faults += faults
            if car is None or faults:
                continue
            known_by = "car, day, items and facility"
            if not is_repeated(_key(car, row), row, known_by, self.repeats, self.report):
                fresh.append((car, row))
        stored = _Stored(self.db, {car.id for car, _ in fresh})
        for car, row in fresh:
            self._take_one(car, row, stored)

    def judge(self, rows: list[Stated]) -> None:
        cars = self.cars.of([row for row in rows if is_named(row)])
        for row in rows:
            faults = _faults(row, cars.get(row.row), self.stamp.today)
            self.report.faults += beside_unread(row, faults)

    def _take_one(self, car: KnownCar, row: Stated, stored: _Stored) -> None:
        every = stored.of(_key(car, row))
        if not every:
            self._add(car, row)
            return
        differing = [stored.difference(each, row) for each in every]
        if None not in differing:
            self.report.faults.append(differing[-1])  # type: ignore[arg-type]
            return
        self.report.repeated += 1
        same = every[differing.index(None)]
        self.report.corrected_since += same.superseded_at is not None

    def _add(self, car: KnownCar, row: Stated) -> None:
        said = row.about("event")
        on = said["on"]
        event_id = self.writer.add(
            tables.EventRow, car_id=car.id, happened_on=on.on, month_only=on.month_only,
            items=";".join(said["items"]), facility=said.get("facility", ""),
            **{field: said[field] for field in SAID if field in said},
        )  # fmt: skip
        for place, reading in enumerate(said.get("readings", ())):
            self.writer.add_plain(
                tables.ReadingRow, event_id=event_id, place=place, car_id=car.id,
                zone=reading.zone, inches=_decimal(reading.inches), extent=reading.extent,
                span_in=_decimal(reading.span_in), apart_in=_decimal(reading.apart_in),
            )  # fmt: skip
        self.report.added += 1
        self.report.touched.add(car.id)


def _key(car: KnownCar, row: Stated) -> Key:
    said = row.about("event")
    return car.id, said["on"].on, ";".join(said["items"]), said.get("facility", "")


def _faults(row: Stated, car: KnownCar | None, today: date) -> Iterator[RowFault]:
    """What no event can be, whatever is stored, as far as its cells could be read."""
    said = row.about("event")
    items = said.get("items", ())
    changes = [item for item in items if item in CHANGES]
    fails = said.get("outcome") == "fail"
    if fails and changes and len(changes) == len(items):
        wanted = f"no outcome, since {', '.join(changes)} is a change and not an inspection"
        yield RowFault(row.row, "outcome", "fail", wanted)
    if "on" in said:
        needs_day = "a failed inspection" if fails else "".join(changes[:1])
        yield from _day_faults(row, car, today, needs_day)


def _day_faults(
    row: Stated, car: KnownCar | None, today: date, needs_day: str
) -> Iterator[RowFault]:
    on, month_only = row.about("event")["on"]
    if on > today:
        yield RowFault(row.row, "on", on.isoformat(), f"a day not after today, {today}")
    if month_only and needs_day:
        yield RowFault(row.row, "on", f"{on:%Y-%m}", f"the day, YYYY-MM-DD, of {needs_day}")
    latest = month_end(on) if month_only else on
    if car is not None and car.built_on and latest < car.built_on:
        wanted = f"a day not before {car.built_on}, when the car was built"
        yield RowFault(row.row, "on", on.isoformat(), wanted)


class _Stored:
    """The stored events of some cars, by what an event is known by."""

    def __init__(self, db: Session, car_ids: set[int]) -> None:
        self._db = db
        self._events: dict[Key, list[Any]] = {}
        for event in intake.events_of(db, car_ids):
            key = (event.car_id, event.happened_on, event.items, event.facility)
            self._events.setdefault(key, []).append(event)
        self._readings: dict[int, list[Any]] | None = None

    def of(self, key: Key) -> list[Any]:
        """Those that count, and those corrected or withdrawn since; oldest first."""
        return self._events.get(key, [])

    def difference(self, event: Any, row: Stated) -> RowFault | None:
        """How the row contradicts the event; None when it repeats it."""
        said = row.about("event")
        if said["on"].month_only != event.month_only:
            was = f"{event.happened_on:%Y-%m}" if event.month_only else str(event.happened_on)
            return _contradicts(row, "on", _as_written(said["on"]), was)
        for field in SAID:
            # Nothing said of the outcome is a pass, which a stored failure contradicts.
            value = said.get(field, "pass" if field == "outcome" else None)
            if value is not None and value != getattr(event, field):
                return _contradicts(row, field, str(value), getattr(event, field))
        return self._other_readings(event, row)

    def _other_readings(self, event: Any, row: Stated) -> RowFault | None:
        said = row.about("event").get("readings")
        if said is None:
            return None
        stored = self._all_readings().get(event.id, [])
        told = sorted(_in_words(each) for each in said)
        held = sorted(_in_words(each) for each in stored)
        return (
            None if told == held else _contradicts(row, "readings", ";".join(told), ";".join(held))
        )

    def _all_readings(self) -> dict[int, list[Any]]:
        if self._readings is None:
            ids = [event.id for events in self._events.values() for event in events]
            self._readings = intake.readings_of(self._db, ids)
        return self._readings


def _contradicts(row: Stated, column: str, found: str, stored: str) -> RowFault:
    held = repr(stored) if stored else "nothing"
    return RowFault(row.row, column, found, f"{held}, as is stored of this event, {CORRECT_IT}")


def _as_written(on: Any) -> str:
    return f"{on.on:%Y-%m}" if on.month_only else str(on.on)


def _in_words(reading: Reading | Any) -> str:
    """A reading as the file writes it, however it is held."""
    local = ""
    if reading.extent == "local":
        span, apart = _decimal(reading.span_in), _decimal(reading.apart_in)
        local = " local" if span is None or apart is None else f" local {span:f}/{apart:f}"
    return f"{reading.zone}={_decimal(reading.inches):f}{local}"


@lru_cache(maxsize=65_536)
def _decimal(value: Fraction | Decimal | None) -> Decimal | None:
    """Exact: readings have at most six decimals."""
    if value is None:
        return None
    return (
        Decimal(value.numerator) / value.denominator if isinstance(value, Fraction) else value
    ).normalize()

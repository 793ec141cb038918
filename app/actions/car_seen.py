"""A car from where it is looked at: what is known of it, what the calculator answers, and all that was recorded.

Its page and its evidence packet are both made of this, so neither can say what the other does not.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date

from sqlalchemy.orm import Session

from app.actions import looking_back, rulebooks
from app.core.devices import urgency
from app.core.due import days_left, state_on
from app.core.facts import Answer, Due, Settings, Status
from app.core.rule import Rulebook
from app.core.stencil import Specification, Unreadable, decode
from app.core.thickness import inches
from app.core.words import label
from app.store import car_as_known, cars, components, events
from app.store.asked import Standpoint
from app.store.cars import Histories
from app.store.components import Mounted
from app.store.events import EventShown
from app.store.facts import CarRecord, Relief


@dataclass(frozen=True, slots=True)
class DueLine:
    """A due item on the day the page is for."""

    due: Due
    status: Status
    days_left: int | None


@dataclass(frozen=True, slots=True)
class DeviceLine:
    """One relief device with its own due date; `first` marks the one that speaks for the car."""

    relief: Relief
    line: DueLine
    first: bool


@dataclass(frozen=True, slots=True)
class Heading:
    """Which car a page is about, by the facts that the page is for."""

    id: int
    mark: str
    number: int
    standing: str
    specification: str
    commodity: str | None
    region: str


@dataclass(frozen=True, slots=True)
class CarSeen:
    """A car on a day, as known at a moment; histories and events hold what was corrected, too."""

    day: date
    record: CarRecord
    rulebook: Rulebook
    answer: Answer
    due: Sequence[DueLine]
    devices: Sequence[DeviceLine]
    histories: Histories
    events: Sequence[EventShown]
    mounted: Sequence[Mounted]
    once_mounted: Sequence[Mounted]


@dataclass(frozen=True, slots=True)
class _Recorded:
    histories: Histories
    events: Sequence[EventShown]
    mounted: Sequence[Mounted]
    ever_mounted: Sequence[Mounted]


def car_seen(db: Session, car_id: int, at: Standpoint, soon_days: int, looks_back: bool) -> CarSeen:
    """A bounded number of queries. `looks_back` leaves out what was recorded of later days."""
    day, programme = at.as_of, rulebooks.in_force(db, at.known_at)
    record = looking_back.record_of(db, car_id, at, Settings(soon_days=soon_days))
    record, rulebook = programme.read(record), programme.of(record.owner_id).rulebook
    answer, devices = answered(record, day, rulebook)
    found = _as_known(db, car_id, at) if looks_back else _as_it_is(db, car_id, day)
    return CarSeen(
        day=day,
        record=record,
        rulebook=rulebook,
        answer=answer,
        due=[line(due, day, soon_days) for due in answer.items],
        devices=devices,
        histories=found.histories,
        events=found.events,
        mounted=found.mounted,
        once_mounted=_gone(found.ever_mounted, found.mounted),
    )


def _as_it_is(db: Session, car_id: int, day: date) -> _Recorded:
    return _Recorded(
        cars.histories(db, car_id),
        events.history(db, car_id),
        components.on_car(db, car_id, day),
        components.history(db, car_id),
    )


def _as_known(db: Session, car_id: int, at: Standpoint) -> _Recorded:
    put_on = car_as_known.mounted_history(db, car_id, at)
    return _Recorded(
        car_as_known.histories(db, car_id, at),
        car_as_known.event_history(db, car_id, at),
        car_as_known.on_car(put_on),
        put_on,
    )


def _gone(history: Sequence[Mounted], mounted: Sequence[Mounted]) -> list[Mounted]:
    there = {each.installation.id for each in mounted}
    return [each for each in history if each.installation.id not in there]


def heading(record: CarRecord) -> Heading:
    car = record.car
    return Heading(
        record.car_id, car.mark, car.number, record.standing, car.specification,
        car.service.commodity, record.region,
    )  # fmt: skip


def line(due: Due, day: date, soon_days: int) -> DueLine:
    status = state_on(due.state, due.due_on, day, soon_days)
    return DueLine(due, status, days_left(due.due_on, day))


def answered(
    record: CarRecord, day: date, rulebook: Rulebook
) -> tuple[Answer, Sequence[DeviceLine]]:
    """The answer for the car, and each of several relief devices with its own, the first due first."""
    whole = record.whole_answer(day, rulebook)
    if len(whole.devices) < 2:
        return whole.answer, ()
    soon = record.settings.soon_days
    devices = [
        DeviceLine(record.relief_devices[place], line(due, day, soon), place == whole.first)
        for place, due in enumerate(whole.devices)
        if due is not None
    ]
    return whole.answer, sorted(devices, key=lambda one: urgency(one.line.due))


def specification(text: str, rulebook: Rulebook) -> list[tuple[str, str]]:
    """A specification in words, part by part."""
    try:
        spec = decode(text, rulebook.stencils)
    except Unreadable as wrong:
        return [("Cannot be read", str(wrong))]
    return [(label, value) for label, value in _parts(spec) if value]


def _parts(spec: Specification) -> Iterable[tuple[str, str | None]]:
    kinds = dict.fromkeys((label(spec.class_kind), label(spec.regime)))
    yield "Class", f"{spec.class_}: {', '.join(kinds)}"
    yield f"Delimiter {spec.delimiter or ''}", spec.delimiter_meaning
    yield "Test pressure", _psig(spec.test_psig)
    yield "Material", spec.material_meaning or "steel"
    yield "Suffix", spec.suffix_meaning and f"{spec.suffix}: {spec.suffix_meaning}"
    yield "Burst pressure", _psig(spec.burst_psig)
    yield "Plate, before notes", None if spec.plate_in is None else f"{inches(spec.plate_in)} in"
    yield "Bottom outlet", spec.bottom_outlet
    for warning in (*spec.warnings, *spec.unverified):
        yield "Note", warning


def _psig(value: object) -> str | None:
    return None if value is None else f"{value} psig"

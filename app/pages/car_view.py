"""What the page of a car shows, put together from its record and the calculator's answer."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date

from sqlalchemy.orm import Session

from app.actions import looking_back, rulebooks
from app.actions.standpoint import Lookback
from app.core.devices import urgency
from app.core.due import days_left, state_on
from app.core.facts import Answer, Due, Settings, Status
from app.core.rule import Rulebook
from app.core.stencil import Specification, Unreadable, decode
from app.core.words import label
from app.pages.car_drawing import Spot, place_of, spots
from app.pages.changing import Link, Seen
from app.pages.drawings import ZoneScale, zone_scales
from app.pages.fact_forms import FACTS
from app.pages.fact_history import Section, sections
from app.store import car_as_known, cars, components, events
from app.store.asked import Standpoint
from app.store.cars import Histories
from app.store.components import Mounted
from app.store.events import EventShown
from app.store.facts import CarRecord, Relief
from app.web.rendering import inches


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
class CarView:
    """Everything on the page of a car; `forms` are none where it looks back."""

    car: Heading
    day: date
    owner: str
    record: CarRecord
    answer: Answer
    specification: Sequence[tuple[str, str]]
    due: Sequence[DueLine]
    devices: Sequence[DeviceLine]
    scales: Sequence[ZoneScale]
    mounted: Sequence[Mounted]
    spots: Sequence[Spot]
    once_mounted: Sequence[Mounted]
    events: Sequence[EventShown]
    sections: Sequence[Section]
    forms: Sequence[Link]

    @property
    def former_names(self) -> list[str]:
        names = next(each for each in self.sections if each.kind == "name")
        return [f"{past.lines[0][1]}, until {past.until}" for past in names.past if past.until]


@dataclass(frozen=True, slots=True)
class Recorded:
    """What was recorded of a car, corrected rows too, and what of it is on the car."""

    histories: Histories
    events: Sequence[EventShown]
    mounted: Sequence[Mounted]
    ever_mounted: Sequence[Mounted]


def seen_from(seen: Seen, back: Lookback | None) -> Standpoint:
    return back.at if back else Standpoint(seen.stamp.today)


def view(db: Session, car_id: int, seen: Seen, back: Lookback | None = None) -> CarView:
    """The page of a car on the day it is looked at, or as it was; a bounded number of queries."""
    at = seen_from(seen, back)
    day, programme = at.as_of, rulebooks.in_force(db, at.known_at)
    record = looking_back.record_of(db, car_id, at, Settings(soon_days=seen.soon_days))
    record, rulebook = programme.read(record), programme.of(record.owner_id).rulebook
    answer, devices = answered(record, day, rulebook)
    found = _as_known(db, car_id, at) if back else _as_it_is(db, car_id, day)
    histories, mounted = found.histories, sorted(found.mounted, key=_place)
    return CarView(
        car=heading(record),
        day=day,
        owner=histories.parties[record.owner_id],
        record=record,
        answer=answer,
        specification=specification(record.car.specification, rulebook),
        due=[line(due, day, seen.soon_days) for due in answer.items],
        devices=devices,
        scales=zone_scales(answer.thickness),
        mounted=mounted,
        spots=spots(mounted),
        once_mounted=_gone(found.ever_mounted, mounted),
        events=found.events,
        sections=sections(histories),
        forms=[] if back else _forms(car_id),
    )


def heading(record: CarRecord) -> Heading:
    car = record.car
    return Heading(
        record.car_id, car.mark, car.number, record.standing, car.specification,
        car.service.commodity, record.region,
    )  # fmt: skip


def _as_it_is(db: Session, car_id: int, day: date) -> Recorded:
    return Recorded(
        cars.histories(db, car_id),
        events.history(db, car_id),
        components.on_car(db, car_id, day),
        components.history(db, car_id),
    )


def _as_known(db: Session, car_id: int, at: Standpoint) -> Recorded:
    put_on = car_as_known.mounted_history(db, car_id, at)
    return Recorded(
        car_as_known.histories(db, car_id, at),
        car_as_known.event_history(db, car_id, at),
        car_as_known.on_car(put_on),
        put_on,
    )


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


def _place(mounted: Mounted) -> tuple[tuple[int, int, int], str, str]:
    position = mounted.installation.position
    return place_of(position).order, position, mounted.component.kind


def _gone(history: Sequence[Mounted], mounted: Sequence[Mounted]) -> list[Mounted]:
    there = {each.installation.id for each in mounted}
    return [each for each in history if each.installation.id not in there]


def _forms(car_id: int) -> list[Link]:
    recorded = [(f"/cars/{car_id}/facts/{kind}", fact.title) for kind, fact in FACTS.items()]
    return [
        *recorded,
        (f"/cars/{car_id}/components/new", "Install a component"),
        (f"/cars/{car_id}/visits/new", "Send to a shop"),
        (f"/cars/{car_id}/hand-over", "Hand over"),
    ]

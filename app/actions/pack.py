"""What a tablet takes along of some cars: their due items with reasons, and the numbers that decide what is measured.

The tablet judges by comparing alone, so every bound goes along as decimal text (`core.decimal_text`).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import date
from functools import cache

from sqlalchemy.orm import Session

from app.actions import rulebooks
from app.actions.pack_numbers import Asks, Part, Zone, asks, parts, zones
from app.core.due import state_on
from app.core.facts import EVENT_ITEMS, Due, Settings
from app.core.known import case_of
from app.core.lining import lined
from app.core.measure import as_text
from app.core.rule import Rulebook
from app.core.stencil import decode
from app.core.steps import Step, composed
from app.core.words import label, words
from app.rules.field_work import field_work
from app.store import facts, instructions, packing
from app.store.facts import CarRecord
from app.store.instructions import Instructed
from app.store.packing import Chosen, Measured, Mounted

BUILT_IN = "built-in"


@dataclass(frozen=True, slots=True)
class PackedReason:
    text: str
    citation: str | None


@dataclass(frozen=True, slots=True)
class PackedDue:
    """`next` is the day on which it falls due, or why there is none."""

    item: str
    words: str
    state: str
    status: str
    due_on: date | None
    next: str
    reasons: list[PackedReason]


@dataclass(frozen=True, slots=True)
class PackedReading:
    """Which ring and spot is known of what a tablet recorded only."""

    ring: int | None
    spot: str
    inches: str
    on: date


@dataclass(frozen=True, slots=True)
class PackedVisit:
    id: int
    shop: str
    sent: date
    instructions: str


@dataclass(frozen=True, slots=True)
class PackedStep:
    id: str
    look_at: str
    where: str
    measure: str
    unit: str | None
    acceptance: str
    caution: str | None
    citation: str | None


@dataclass(frozen=True, slots=True)
class PackedInstruction:
    """The steps of an item: built in (`owner` is null), or with an owner's own beside them or in their place."""

    id: str
    item: str
    owner: str | None
    edition: str
    from_on: date | None
    steps: list[PackedStep]


@dataclass(frozen=True, slots=True)
class PackedCar:
    """Numbers are decimal text; of a car that is reached in part only what belongs to its items."""

    id: int
    mark: str
    number: str
    owner: str
    specification: str
    regime: str
    built_on: date | None
    lading: str
    lined: bool | None
    standing: str
    due: list[PackedDue]
    parts: list[Part]
    zones: list[Zone]
    asks: Asks
    last: dict[str, list[PackedReading]]
    instructions: dict[str, str]
    visit: PackedVisit | None
    keeps_photo_place: bool
    version: int


@dataclass(frozen=True, slots=True)
class Packed:
    cars: list[PackedCar]
    instructions: dict[str, PackedInstruction]


@dataclass(frozen=True, slots=True)
class _Held:
    """What the store knows of all the cars of a page."""

    records: Mapping[int, CarRecord]
    mounted: Mapping[int, Sequence[Mounted]]
    measured: Mapping[int, Sequence[Measured]]
    visits: Mapping[int, packing.OnVisit]
    versions: Mapping[int, int]
    own: Mapping[tuple[int, str], Instructed]


def packed(db: Session, chosen: Sequence[Chosen], today: date, soon_days: int) -> Packed:
    """These cars as a tablet takes them along, and the steps that they go by."""
    held, programme = _held(db, chosen, today, soon_days), rulebooks.in_force(db)
    cars, used = [], dict[str, PackedInstruction]()
    for each in chosen:
        record = held.records.get(each.id)
        if record is None:
            continue
        record = programme.read(record)
        car = _car(each, record, programme.of(record.owner_id).rulebook, held, today)
        for item in car.instructions:
            found = instruction(item, held.own.get((each.owner_id, item)))
            used[found.id] = found
        cars.append(car)
    return Packed(cars, used)


def instruction(item: str, own: Instructed | None) -> PackedInstruction:
    """The steps of an item, for the cars of an owner with these of its own."""
    if own is None:
        return _built_in(item)
    row, steps = own.row, field_work().steps[item]
    steps = composed(steps, own.own_steps(), instead=row.in_place_of_built_in)
    edition = row.edition or str(row.from_on)
    return PackedInstruction(
        _named(item, own), item, own.owner, edition, row.from_on, _packed(steps)
    )


@cache
def _built_in(item: str) -> PackedInstruction:
    steps = _packed(field_work().steps[item])
    return PackedInstruction(_named(item, None), item, None, BUILT_IN, None, steps)


def _named(item: str, own: Instructed | None) -> str:
    return f"{item}.{own.row.id if own else BUILT_IN}"


def _packed(steps: Sequence[Step]) -> list[PackedStep]:
    return [PackedStep(**asdict(step)) for step in steps]


def _held(db: Session, chosen: Sequence[Chosen], today: date, soon_days: int) -> _Held:
    ids = [each.id for each in chosen]
    return _Held(
        facts.load(db, ids, today, settings=Settings(soon_days=soon_days)),
        packing.mounted(db, ids, today),
        packing.last_measured(db, ids),
        packing.visits(db, ids),
        packing.versions(db, ids),
        instructions.in_force(db, {each.owner_id for each in chosen}, today),
    )


def _car(
    chosen: Chosen, record: CarRecord, rulebook: Rulebook, held: _Held, today: date
) -> PackedCar:
    car, items = record.car, chosen.items
    answer = record.whole_answer(today, rulebook).answer
    due = [each for each in answer.items if items is None or each.item in items]
    names = {each.item for each in due}
    spec = decode(car.specification, rulebook.stencils)
    equipment = items is None or "service_equipment" in names
    mounted = held.mounted.get(chosen.id, ()) if equipment else ()
    known = _of_whole(chosen, record, rulebook, held) if items is None else _OF_PART
    tells_lining = items is None or "lining" in names
    return PackedCar(
        id=chosen.id,
        mark=chosen.mark,
        number=str(chosen.number),
        owner=chosen.owner,
        specification=car.specification,
        regime=spec.regime,
        lading=chosen.commodity,
        lined=lined(case_of(record.facts(today), rulebook)).yes if tells_lining else None,
        standing=chosen.standing,
        due=[_due(each, today, record.settings.soon_days) for each in due],
        parts=parts(mounted, spec, car.built_on, rulebook, equipment_only=items is not None),
        asks=asks(spec, car.tank if items is None else None),
        instructions=_instructions([each.item for each in due], chosen.owner_id, held),
        keeps_photo_place=chosen.keeps_photo_place,
        version=held.versions.get(chosen.id, 0),
        built_on=known.built_on,
        zones=known.zones,
        last=known.last,
        visit=known.visit,
    )


@dataclass(frozen=True, slots=True)
class _Whole:
    """What of a car is told only to whoever reaches all of it."""

    built_on: date | None
    zones: list[Zone]
    last: dict[str, list[PackedReading]]
    visit: PackedVisit | None


_OF_PART = _Whole(None, [], {}, None)


def _of_whole(chosen: Chosen, record: CarRecord, rulebook: Rulebook, held: _Held) -> _Whole:
    spec = decode(record.car.specification, rulebook.stencils)
    visit = held.visits.get(chosen.id)
    return _Whole(
        record.car.built_on,
        zones(spec, record.car.tank, rulebook),
        _last(held.measured.get(chosen.id, ())),
        PackedVisit(**asdict(visit)) if visit else None,
    )


def _due(due: Due, today: date, soon_days: int) -> PackedDue:
    return PackedDue(
        due.item,
        words(due.item),
        due.state,
        state_on(due.state, due.due_on, today, soon_days),
        due.due_on,
        due.due_on.isoformat() if due.due_on else label(due.state),
        [PackedReason(each.text, each.citation) for each in due.reasons],
    )


def _last(measured: Sequence[Measured]) -> dict[str, list[PackedReading]]:
    found: dict[str, list[PackedReading]] = {}
    for each in measured:
        taken = PackedReading(None, "", as_text(each.inches), each.on)
        found.setdefault(each.zone, []).append(taken)
    return found


def _instructions(items: Sequence[str], owner_id: int, held: _Held) -> dict[str, str]:
    """By item the id of its instruction; last days are counted, never inspected, so they have none."""
    return {
        item: _named(item, held.own.get((owner_id, item))) for item in items if item in EVENT_ITEMS
    }

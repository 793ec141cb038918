"""Recording inspections and changes to a car, correcting them, and withdrawing what never was."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from uuid import NAMESPACE_OID, uuid5

from sqlalchemy.orm import Session

from app.actions import due, rows
from app.actions.changes import NewEvent, NewReading
from app.actions.checks import Faults, tidy
from app.actions.readings import check_readings
from app.actions.stamp import Stamp
from app.core import measure
from app.core.facts import CHANGES, EVENT_ITEMS, ITEMS
from app.core.words import label
from app.errors import Conflict, Fault, Refused
from app.store import cars, dated, events, reach
from app.store.events import split
from app.store.gathering import note
from app.store.tables import OUT_OF_RECORD, Car, EventRow, ReadingRow, Standing

# What an event may name, in the order in which it is kept.
KNOWN = EVENT_ITEMS + CHANGES
# Changes for which a person says what they open.
CHOOSING = ("damage", "fire_damage", "ordered_inspection")
# What an event says beside its items, and what a reading says.
SAYS = ("happened_on", "month_only", "outcome", "facility", "inspector", "reference", "notes")
MEASURES = ("inches", "span_in", "apart_in")


def record_event(db: Session, car_id: int, event: NewEvent, stamp: Stamp) -> EventRow:
    """Record one event of a car; the same form sent again gives the first one and adds nothing.

    Raises NotFound, Refused with faults by field, or Conflict when it is recorded already or its
    key recorded something else.
    """
    return record_event_for_many(db, [car_id], event, stamp)[0]


def record_event_for_many(
    db: Session, car_ids: Sequence[int], event: NewEvent, stamp: Stamp
) -> list[EventRow]:
    """Record one event for each of these cars, or for none of them."""
    event = tidied(event)
    chosen = cars.locked(db, list(dict.fromkeys(car_ids)), _names(event))
    if not chosen:
        raise Refused("Choose at least one car.")
    before = {car.id: _recorded_by_form(db, car, event) for car in chosen}
    _check_each(db, [car for car in chosen if not before[car.id]], event, stamp)
    note(db, "event.recorded")
    recorded = [before[car.id] or _add(db, car, event, stamp) for car in chosen]
    due.settle(db, [car.id for car in chosen], stamp)
    return recorded


def correct_event(db: Session, event_id: int, event: NewEvent, stamp: Stamp) -> EventRow:
    """Put a new row in the place of an event; both stay, and the old one counts no longer.

    Raises Conflict naming the newer row when it was corrected already.
    """
    old = changeable_or_raise(db, event_id)
    event = tidied(event)
    car = cars.locked(db, [old.car_id], _names(event))[0]
    sent_before = _recorded_by_form(db, car, event)
    if sent_before:
        return sent_before
    _must_count(db, old)
    note(db, "event.corrected")
    rows.supersede(db, old, stamp)
    check_event(db, car, event, stamp)
    new = _add(db, car, event, stamp, replaces=old)
    due.settle(db, [car.id], stamp)
    return new


def withdraw_event(db: Session, event_id: int, reason: str, stamp: Stamp) -> EventRow:
    """Let an event count no longer, with none in its place; it stays, with who did so and why."""
    old = changeable_or_raise(db, event_id)
    cars.locked(db, [old.car_id], split(old.items))
    _must_count(db, old)
    note(db, "event.withdrawn")
    rows.withdraw(db, old, reason, stamp)
    due.settle(db, [old.car_id], stamp)
    return old


def bring_back_event(db: Session, event_id: int, stamp: Stamp) -> EventRow:
    """Let an event that was withdrawn count again, as a new row that says the same."""
    old = changeable_or_raise(db, event_id)
    car = cars.locked(db, [old.car_id], split(old.items))[0]
    rows.must_be_withdrawn(db, old, events.corrected_by(db, old.id))
    event = _as_new(db, old)
    check_event(db, car, event, stamp)
    note(db, "event.brought_back")
    new = _add(db, car, event, stamp, replaces=old)
    due.settle(db, [car.id], stamp)
    return new


def _as_new(db: Session, row: EventRow) -> NewEvent:
    """What a row says, as it would be recorded anew; what a person confirmed of it stays so."""
    readings = tuple(
        _as_new_reading(each) for each in events.readings(db, [row.id]).get(row.id, ())
    )
    said = {name: getattr(row, name) for name in SAYS}
    return NewEvent(items=split(row.items), opens=split(row.opens), readings=readings, **said)


def _as_new_reading(row: ReadingRow) -> NewReading:
    measured = {name: row.as_stated(name) for name in MEASURES}
    return NewReading(zone=row.zone, extent=row.extent, confirmed=True, **measured)  # type: ignore[arg-type]


def changeable_or_raise(db: Session, event_id: int) -> EventRow:
    """An event that the session may correct or withdraw: it reaches all that it is about.

    A shop that a car was sent to changes what was done since, and nothing of before: that is its owner's. Refused.
    """
    row = events.event_or_raise(db, event_id)
    reached = reach.items_of(db, row.car_id)
    if reached is not None and not _named_by(db, row) <= reached:
        raise events.unknown(event_id)
    since = reach.since_sent(db, row.car_id)
    if since is not None and row.happened_on < since:
        told = f"is of {row.happened_on}, before the car was sent to you on {since}; its owner changes it"
        raise Refused.because([Fault("event", told)])
    return row


def _names(event: NewEvent) -> frozenset[str]:
    """What of a car an event is about; readings are of its tank, whatever was inspected."""
    return frozenset(event.items) | frozenset(("thickness",) if event.readings else ())


def _named_by(db: Session, row: EventRow) -> frozenset[str]:
    measured = events.readings(db, [row.id])
    return frozenset(split(row.items)) | frozenset(("thickness",) if measured else ())


def under_own_key(db: Session, car_ids: Sequence[int], event: NewEvent) -> NewEvent:
    """The event under a key that stands for nothing else on these cars.

    A form come back to carries the key of what it recorded before. Filled differently it is another
    record: its key then follows from what it says, so that this one sent twice is still one record.
    """
    if event.form_key is None:
        return event
    known = [events.by_form_key(db, car_id, event.form_key) for car_id in car_ids]
    if all(row is None or says_the_same(db, row, event) for row in known):
        return event
    return replace(event, form_key=uuid5(NAMESPACE_OID, repr(tidied(event))).hex)


def says_the_same(db: Session, row: EventRow, event: NewEvent) -> bool:
    """Whether what is recorded is what `event` would record."""
    meant = tidied(event)
    readings = events.readings(db, [row.id]).get(row.id, ())
    return (
        split(row.items) == meant.items
        and split(row.opens) == meant.opens
        and all(getattr(row, name) == getattr(meant, name) for name in SAYS)
        and [_as_new_reading(each) for each in readings]
        == [replace(each, confirmed=True) for each in meant.readings]
    )


def tidied(event: NewEvent) -> NewEvent:
    """Items each once and in the calculator's order, words without stray spaces, a month on its first."""
    return replace(
        event,
        happened_on=event.happened_on.replace(day=1) if event.month_only else event.happened_on,
        items=in_order(event.items),
        opens=in_order(event.opens),
        facility=tidy(event.facility),
        inspector=tidy(event.inspector),
        reference=tidy(event.reference),
        notes=event.notes.strip(),
    )


def in_order(items: Sequence[str]) -> tuple[str, ...]:
    """Items as the table keeps them; those unknown come last, to be refused by name."""
    order = {item: place for place, item in enumerate(KNOWN)}
    return tuple(sorted(dict.fromkeys(items), key=lambda item: order.get(item, len(order))))


def check_event(db: Session, car: Car, event: NewEvent, stamp: Stamp) -> None:
    """Raise Refused for whatever makes the event impossible or unclear."""
    faults = Faults()
    faults.plain("", event)
    faults.day("happened_on", event.happened_on, stamp, car.built_on)
    _check_standing(db, faults, car, event)
    faults.one_of("outcome", event.outcome, ("pass", "fail"))
    _check_items(faults, event)
    _check_month(faults, event)
    check_readings(db, faults, car, event)
    faults.refuse()


def _check_standing(db: Session, faults: Faults, car: Car, event: NewEvent) -> None:
    """What happens to a car after it left the register is another's to record."""
    held = dated.on_day(db, Standing, car.id, event.happened_on)
    if held is not None and held.standing in OUT_OF_RECORD:
        faults.add(
            "happened_on",
            f"{event.happened_on} does not lie before the car was {held.standing} on "
            f"{held.from_on}; want a day before that, or put the car back into the register first",
        )


def _check_items(faults: Faults, event: NewEvent) -> None:
    for item in event.items:
        if item in ITEMS and item not in EVENT_ITEMS:
            faults.add("items", f"{label(item)} is a last day that is counted, never inspected")
        else:
            faults.one_of("items", item, KNOWN)
    if not event.items:
        faults.add("items", "say what was inspected, tested or changed")
    elif event.outcome == "fail" and not set(event.items) & set(EVENT_ITEMS):
        faults.add("outcome", "a change to the car has no outcome; leave it at pass")
    for item in event.opens:
        faults.one_of("opens", item, EVENT_ITEMS)
    if event.opens and not set(event.items) & set(CHOOSING):
        faults.add(
            "opens", f"only {', '.join(map(label, CHOOSING))} can say what must now be inspected"
        )


def _check_month(faults: Faults, event: NewEvent) -> None:
    # The first day is the safe reading for a pass only; for what opens an item it is the late one.
    if event.month_only and event.outcome == "fail":
        faults.add("happened_on", "a failed inspection needs its day; a month is not enough")
    elif event.month_only and set(event.items) & set(CHANGES):
        faults.add("happened_on", "a change to the car needs its day; a month is not enough")


def _recorded_by_form(db: Session, car: Car, event: NewEvent) -> EventRow | None:
    row = events.by_form_key(db, car.id, event.form_key) if event.form_key else None
    if row is None:
        return None
    if not says_the_same(db, row, event):
        raise Conflict(
            f"The key of this form recorded event {row.id} of {car.mark} {car.number}, which says "
            f"something else. Nothing was recorded now."
        )
    if row.superseded_at is not None:
        raise Conflict(
            f"This form recorded event {row.id} of {car.mark} {car.number} before, which no longer "
            f"counts: it was corrected, withdrawn or taken back. Nothing was recorded now."
        )
    return row


def _check_each(db: Session, chosen: Sequence[Car], event: NewEvent, stamp: Stamp) -> None:
    """Raise Refused with the faults of all cars; those that not every car has name their cars."""
    told: dict[Fault, list[str]] = {}
    for car in chosen:
        try:
            check_event(db, car, event, stamp)
        except Refused as refused:
            for fault in refused.faults:
                told.setdefault(fault, []).append(f"{car.mark} {car.number}")
    if told:
        raise Refused.because(
            fault
            if len(names) == len(chosen)
            else Fault(fault.path, f"{', '.join(names)}: {fault.problem}")
            for fault, names in told.items()
        )


def _add(
    db: Session, car: Car, event: NewEvent, stamp: Stamp, replaces: EventRow | None = None
) -> EventRow:
    """Add an event that was checked."""
    items = ";".join(event.items)
    same = events.known_by(db, car.id, event.happened_on, items, event.facility)
    if same:
        raise Conflict(_already(car, event, same))
    row = EventRow(
        car_id=car.id,
        happened_on=event.happened_on,
        month_only=event.month_only,
        items=items,
        outcome=event.outcome,
        opens=";".join(event.opens),
        facility=event.facility,
        inspector=event.inspector,
        reference=event.reference,
        notes=event.notes,
        form_key=event.form_key,
        corrects=replaces.id if replaces else None,
        original_id=_original(replaces, event),
        **stamp.columns(),
    )
    rows.add(db, row, _already(car, event, None))
    db.add_all(_readings(row, event))
    db.flush()
    return row


def _original(replaces: EventRow | None, event: NewEvent) -> int | None:
    # A correction keeps its place within the day; moved to another day it is that day's last.
    if replaces is None or replaces.happened_on != event.happened_on:
        return None
    return replaces.original_id or replaces.id


def _readings(row: EventRow, event: NewEvent) -> list[ReadingRow]:
    return [
        ReadingRow(
            event_id=row.id,
            place=place,
            car_id=row.car_id,
            zone=reading.zone,
            inches=measure.kept(reading.inches),
            extent=reading.extent,
            span_in=measure.kept_or_none(reading.span_in),
            apart_in=measure.kept_or_none(reading.apart_in),
            stated=measure.written(rows.values_of(reading, *MEASURES)),
        )
        for place, reading in enumerate(event.readings)
    ]


def _already(car: Car, event: NewEvent, same: EventRow | None) -> str:
    place = f" at {event.facility}" if event.facility else ""
    number = f" as event {same.id}" if same else ""
    return (
        f"{car.mark} {car.number}: {', '.join(map(label, event.items))} on {event.happened_on}{place} is "
        f"already recorded{number}. If something in it is wrong, record a correction."
    )


def _must_count(db: Session, old: EventRow) -> None:
    if old.superseded_at is None:
        return
    newer = events.corrected_by(db, old.id)
    if newer:
        raise Conflict(
            f"Event {old.id} was already corrected: event {newer.id}, recorded by "
            f"{newer.recorded_by}, took its place. Correct that one."
        )
    gone = cars.withdrawals(db, "event", [old.id]).get(old.id)
    by = f" by {gone.recorded_by}" if gone else " with the file that brought it"
    raise Conflict(f"Event {old.id} was already withdrawn{by}. Record it anew if it is right.")

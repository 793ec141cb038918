"""The change that putting a component on or taking it off is, as an event of its day: recorded, moved, withdrawn.

A change that several components share (once a day is enough) stays while one of them still leans on it.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date, datetime

from sqlalchemy.orm import Session

from app.actions import rows
from app.actions.changes import NewEvent, NewInstallation
from app.actions.checks import Faults
from app.actions.events import check_event
from app.actions.stamp import Stamp
from app.store import cars, components, events
from app.store.tables import (
    EQUIPMENT_KINDS,
    RELIEF_KINDS,
    Car,
    EventRow,
    Installation,
    Removal,
)


@dataclass(frozen=True, slots=True)
class Change:
    """The event of a change, and whether another component moved on that day leans on it, too."""

    event: EventRow
    shared: bool


def change_of(kind: str) -> str | None:
    """The change that putting on or taking off such a component is, if it is one (180.509(j))."""
    if kind in RELIEF_KINDS:
        return "relief_device_changed"
    return "service_equipment_changed" if kind in EQUIPMENT_KINDS else None


def record(
    db: Session, car: Car, kind: str, on: date, stamp: Stamp, corrects: EventRow | None = None
) -> None:
    """The change as an event of its day, where it opens a leakage test; once a day is enough."""
    item = change_of(kind)
    if item is None or events.known_by(db, car.id, on, item, ""):
        return
    event = NewEvent(on, (item,), notes=f"{kind.replace('_', ' ')} changed")
    check_event(db, car, event, stamp)
    row = EventRow(
        car_id=car.id, happened_on=on, items=item, notes=event.notes,
        corrects=corrects.id if corrects else None, **stamp.columns(),
    )  # fmt: skip
    rows.add(db, row, "Somebody else recorded this change just now. Try again.")


def of_installation(db: Session, row: Installation) -> Change | None:
    """The change recorded with an installation."""
    if row.installed_on is None:
        return None
    moments = {each.recorded_at for each in components.as_corrected(db, row)}
    return _own(db, row, row.installed_on, moments, except_removal=None)


def of_removal(db: Session, row: Installation, removal: Removal) -> Change | None:
    """The change recorded with taking it off."""
    moments = {each.recorded_at for each in components.removals_of(db, row)}
    return _own(db, row, removal.removed_on, moments, except_removal=removal)


def _own(
    db: Session, row: Installation, on: date, moments: Collection[datetime],
    except_removal: Removal | None,
) -> Change | None:  # fmt: skip
    item = change_of(components.component_of(db, row).kind)
    event = events.known_by(db, row.car_id, on, item, "") if item else None
    if event is None or event.recorded_at not in moments:
        return None  # a person recorded it, or corrected it since: it is theirs
    others = components.others_moved(db, row, on, except_removal)
    return Change(event, any(change_of(kind) == item for kind in others))


def move(db: Session, car: Car, change: Change, new: NewInstallation, stamp: Stamp) -> None:
    """Let the change be of the day, and of the kind, that the corrected installation says."""
    on = new.installed_on
    if on is None or new.installed_month_only:
        faults = Faults()
        faults.add("installed_on", "its change is on record with its day, and needs one")
        faults.refuse()
        return
    event = change.event
    if on == event.happened_on and change_of(new.component.kind) == event.items:
        return
    if not change.shared:
        rows.supersede(db, event, stamp)
    replaced = None if change.shared else event
    record(db, car, new.component.kind, on, stamp, corrects=replaced)


def withdraw(db: Session, change: Change, reason: str, stamp: Stamp) -> None:
    """Let it count no longer, unless another component leans on it."""
    if not change.shared:
        rows.withdraw(db, change.event, reason, stamp)


def bring_back(db: Session, car: Car, row: Installation, kind: str, stamp: Stamp) -> None:
    """Record again the change that was withdrawn together with an installation."""
    item, on = change_of(kind), row.installed_on
    if item is None or on is None or row.superseded_at is None:
        return
    gone = events.superseded_with(db, car.id, on, item, row.superseded_at)
    if gone is not None and cars.withdrawals(db, "event", [gone.id]):
        record(db, car, kind, on, stamp, corrects=gone)

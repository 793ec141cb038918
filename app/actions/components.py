"""Putting components on a car, taking them off, and mending what was recorded of that."""

from __future__ import annotations

from dataclasses import asdict, replace
from datetime import date
from typing import Any

from sqlalchemy.orm import Session

from app.actions import bench, due, rows, rulebooks
from app.actions.changes import NewComponent, NewEvent, NewInstallation
from app.actions.checks import Faults, tidy
from app.actions.events import check_event
from app.actions.stamp import Stamp
from app.errors import Conflict
from app.files.cells import key
from app.store import cars, components, events
from app.store.columns import BEGINNING
from app.store.gathering import note
from app.store.tables import (
    EQUIPMENT_KINDS,
    RELIEF_KINDS,
    Car,
    Component,
    EventRow,
    Installation,
    Removal,
)


def install(db: Session, car_id: int, new: NewInstallation, stamp: Stamp) -> Installation:
    """Put a component on a car. One with a serial that was on another car before is the same one.

    Raises Refused with faults by field, or Conflict when it is on a car already.
    """
    car = cars.locked_one(db, car_id)
    new = tidied(new)
    check(db, car, new, stamp)
    note(db, "component.installed")
    row = _mount(db, car, new, stamp)
    if new.is_change:
        _record_change(db, car, new.component.kind, new.installed_on or stamp.today, stamp)
    due.refresh(db, [car.id], stamp.today)
    return row


def remove(
    db: Session, installation_id: int, removed_on: date, stamp: Stamp, *, is_change: bool = True
) -> Removal:
    """Take a component off; from that day on it is no longer on the car.

    `is_change` records it as a change of the day too, so that the leakage test is owed.
    """
    old = components.installation_or_raise(db, installation_id)
    car = cars.locked_one(db, old.car_id)
    note(db, "component.removed", ("car", car.id))
    row = _take_off(db, car, old, removed_on, stamp)
    if is_change:
        _record_change(db, car, components.component_of(db, old).kind, removed_on, stamp)
    due.refresh(db, [car.id], stamp.today)
    return row


def swap(db: Session, installation_id: int, new: NewInstallation, stamp: Stamp) -> Installation:
    """Take a component off and put another in its place on one day (`installed_on`, else today).

    The new one takes the old one's position and kind where it states none.
    """
    old = components.installation_or_raise(db, installation_id)
    car = cars.locked_one(db, old.car_id)
    kind = new.component.kind or components.component_of(db, old).kind
    on = new.installed_on or stamp.today
    new = tidied(
        replace(
            new,
            component=replace(new.component, kind=kind),
            position=new.position or old.position,
            installed_on=on,
        )
    )
    check(db, car, new, stamp, old)
    note(db, "component.swapped")
    _take_off(db, car, old, on, stamp)
    row = _mount(db, car, new, stamp)
    _record_change(db, car, kind, on, stamp)
    due.refresh(db, [car.id], stamp.today)
    return row


def correct(db: Session, installation_id: int, new: NewInstallation, stamp: Stamp) -> Installation:
    """Put a new row in the place of an installation recorded wrongly; its removal goes with it."""
    old = components.installation_or_raise(db, installation_id)
    car = cars.locked_one(db, old.car_id)
    new = tidied(new)
    check(db, car, new, stamp, old)
    _must_count(db, old)
    note(db, "component.corrected")
    removal = components.removal_of(db, old.id)
    rows.supersede(db, old, stamp)
    row = _mount(db, car, new, stamp, replaces=old, removed=removal is not None)
    if removal is not None:
        _move_removal(db, removal, row, stamp)
    due.refresh(db, [car.id], stamp.today)
    return row


def withdraw(db: Session, installation_id: int, reason: str, stamp: Stamp) -> Installation:
    """Let an installation that never was count no longer."""
    old = components.installation_or_raise(db, installation_id)
    car = cars.locked_one(db, old.car_id)
    _must_count(db, old)
    note(db, "component.withdrawn")
    rows.withdraw(db, old, reason, stamp)
    due.refresh(db, [car.id], stamp.today)
    return old


def withdraw_removal(db: Session, installation_id: int, reason: str, stamp: Stamp) -> Installation:
    """Undo taking a component off: it was on the car all along."""
    old = components.installation_or_raise(db, installation_id)
    car = cars.locked_one(db, old.car_id)
    removal = components.removal_of(db, old.id)
    if removal is None:
        raise Conflict("That component is not recorded as taken off.")
    component = components.component_of(db, old)
    _must_be_another(db, car, component, old.position, removal.removed_on)
    _must_be_free(db, component, removal.removed_on)
    note(db, "removal.withdrawn", ("car", car.id))
    rows.withdraw(db, removal, reason, stamp)
    due.refresh(db, [car.id], stamp.today)
    return old


def tidied(new: NewInstallation) -> NewInstallation:
    """Words without stray spaces; the kind as tables keep it; a month on its first day."""
    words = {name: tidy(value) for name, value in asdict(new.component).items()}
    words["kind"] = words["kind"].lower().replace(" ", "_").replace("-", "_")
    day = new.installed_on
    return replace(
        new,
        component=NewComponent(**words),
        position=tidy(new.position),
        installed_on=day.replace(day=1) if day and new.installed_month_only else day,
    )


def check(
    db: Session,
    car: Car,
    new: NewInstallation,
    stamp: Stamp,
    instead_of: Installation | None = None,
) -> None:
    """Raise Refused for whatever is impossible in it, or is to be asked about."""
    faults = Faults()
    faults.plain("", new)
    faults.plain("component.", new.component)
    if not new.component.kind:
        faults.add("component.kind", "say what kind of component it is")
    elif len(new.component.kind) > 40:
        faults.add("component.kind", "is longer than 40 characters")
    if len(new.position) > 60:
        faults.add("position", "is longer than 60 characters")
    faults.day("installed_on", new.installed_on, stamp, car.built_on)
    faults.day("tested_on", new.tested_on, stamp)
    faults.months("owner_interval_months", new.owner_interval_months)
    for name in bench.VALUES:
        if getattr(new, name) == 0:
            faults.add(name, "must be above 0, got 0")
    bench.ask_about_left(faults, car, new, rulebooks.in_force(db).of(car.owner_id).rulebook)
    _ask_about_place(db, faults, car, new, stamp, instead_of)
    if new.is_change and new.installed_month_only:
        faults.add("installed_on", "a change to the car needs its day; a month is not enough")
    faults.refuse()


def _ask_about_place(
    db: Session,
    faults: Faults,
    car: Car,
    new: NewInstallation,
    stamp: Stamp,
    instead_of: Installation | None,
) -> None:
    """A relief device where another is: mostly one that was swapped, and the old one never taken off."""
    place = key(new.position)
    kept = instead_of is not None and key(instead_of.position) == place
    if new.beside_another or kept or not place or new.component.kind not in RELIEF_KINDS:
        return
    there = [
        each
        for each in components.on_car(db, car.id, stamp.today)
        if each.is_relief_device and key(each.installation.position) == place
    ]
    # That the very same one is there already is told by what refuses to put it on twice.
    if there and _named(new.component) not in {_named(each.component) for each in there}:
        faults.add(
            "position",
            f"{_named(there[0].component)} is in this place since "
            f"{_since(there[0].installation.from_on)}. Take it off or swap it; if both are there, "
            f"confirm it",
        )


def _named(what: NewComponent | Component) -> str:
    return " ".join(filter(None, (what.kind.replace("_", " "), what.serial)))


def _mount(
    db: Session,
    car: Car,
    new: NewInstallation,
    stamp: Stamp,
    replaces: Installation | None = None,
    *,
    removed: bool = False,
) -> Installation:
    if replaces is None:
        _must_be_another(db, car, new.component, new.position, new.installed_on)
    component = _component(db, car, new.component, stamp)
    if not removed:
        _must_be_free(db, component, new.installed_on)
    row = Installation(
        car_id=car.id,
        component_id=component.id,
        from_on=new.installed_on or BEGINNING,
        corrects=replaces.id if replaces else None,
        **_stated(new),
        **stamp.columns(),
    )
    return rows.add(db, row, "Somebody else corrected this just now. Open the car anew.")


def _stated(new: NewInstallation) -> dict[str, Any]:
    return rows.values_of(
        new,
        "position", "installed_on", "installed_month_only", "tested_on", "set_psig",
        "protected_in_storage", "owner_interval_months", "found_psig", "left_psig", "vapor_tight_psig",
    )  # fmt: skip


def _component(db: Session, car: Car, new: NewComponent, stamp: Stamp) -> Component:
    """The component that this describes; without a serial it is always a new one."""
    if new.serial:
        found = components.same_as(db, new.kind, new.maker, new.model, new.serial)
        if found is not None:
            return found
    row = Component(owner_id=car.owner_id, **asdict(new), **stamp.columns())
    return rows.add(db, row, "Somebody else added this component just now. Try again.")


def _must_be_free(db: Session, component: Component, installed_on: date | None) -> None:
    elsewhere = components.where_mounted(db, component.id, installed_on)
    if elsewhere is None:
        return
    raise Conflict(
        f"{component.kind.replace('_', ' ')} {component.serial} is on {elsewhere.mark} "
        f"{elsewhere.number} since {_since(elsewhere.from_on)}. Take it off there first."
    )


def _must_be_another(
    db: Session, car: Car, what: NewComponent | Component, position: str, day: date | None
) -> None:
    """A form that is sent twice must not put a second one beside the first."""
    for each in components.like(db, car.id, what.kind, what.serial, day):
        if key(each.position) == key(position):
            named = _named(what)
            raise Conflict(
                f"{named[:1].upper() + named[1:]} ({each.position or 'position not stated'}) is "
                f"already on the car since {_since(each.from_on)}. If this is another one, give "
                f"the serial or the position that tells the two apart."
            )


def _since(day: date) -> str:
    return "an unknown day" if day == BEGINNING else str(day)


def _take_off(db: Session, car: Car, old: Installation, removed_on: date, stamp: Stamp) -> Removal:
    _must_count(db, old)
    faults = Faults()
    faults.day("removed_on", removed_on, stamp, car.built_on)
    if removed_on < old.from_on:
        faults.add("removed_on", f"{removed_on} lies before it was installed on {old.from_on}")
    faults.refuse()
    gone = components.removal_of(db, old.id)
    already = "This component was already taken off the car"
    if gone is not None:
        raise Conflict(f"{already} on {gone.removed_on}.")
    row = Removal(installation_id=old.id, removed_on=removed_on, **stamp.columns())
    return rows.add(db, row, f"{already}.")


def _move_removal(db: Session, removal: Removal, to: Installation, stamp: Stamp) -> None:
    if removal.removed_on < to.from_on:
        faults = Faults()
        faults.add("installed_on", f"it was taken off on {removal.removed_on}, before that day")
        faults.refuse()
    rows.supersede(db, removal, stamp)
    moved = Removal(
        installation_id=to.id,
        removed_on=removal.removed_on,
        corrects=removal.id,
        **stamp.columns(),
    )
    rows.add(db, moved, "Somebody else corrected this just now. Open the car anew.")


def _must_count(db: Session, old: Installation) -> None:
    if old.superseded_at is None:
        return
    newer = components.corrected_by(db, old.id)
    what = f"corrected: installation {newer.id} took its place" if newer else "withdrawn"
    raise Conflict(f"Installation {old.id} was already {what}. Open the car anew.")


def _record_change(db: Session, car: Car, kind: str, on: date, stamp: Stamp) -> None:
    """The change as an event of its day, where it opens a leakage test; once a day is enough."""
    item = change_of(kind)
    if item is None or events.known_by(db, car.id, on, item, ""):
        return
    event = NewEvent(on, (item,), notes=f"{kind.replace('_', ' ')} changed")
    check_event(db, car, event, stamp)
    row = EventRow(car_id=car.id, happened_on=on, items=item, notes=event.notes, **stamp.columns())
    rows.add(db, row, "Somebody else recorded this change just now. Try again.")


def change_of(kind: str) -> str | None:
    """The change that putting on or taking off such a component is, if it is one (180.509(j))."""
    if kind in RELIEF_KINDS:
        return "relief_device_changed"
    return "service_equipment_changed" if kind in EQUIPMENT_KINDS else None

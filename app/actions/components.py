"""Putting components on a car, taking them off, and mending what was recorded of that."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, replace
from datetime import date
from typing import Any

from sqlalchemy.orm import Session

from app.actions import bench, change_events, due, rows, rulebooks
from app.actions.changes import NewComponent, NewInstallation
from app.actions.checks import Faults, tidy
from app.actions.stamp import Stamp
from app.core import measure
from app.core.component_kinds import COMPONENT_KINDS, kind_of
from app.errors import Conflict, Refused
from app.files.cells import key
from app.store import cars, components
from app.store.columns import BEGINNING
from app.store.gathering import note
from app.store.tables import (
    RELIEF_KINDS,
    Car,
    Component,
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
        change_events.record(db, car, new.component.kind, new.installed_on or stamp.today, stamp)
    due.settle(db, [car.id], stamp)
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
        change_events.record(db, car, components.component_of(db, old).kind, removed_on, stamp)
    due.settle(db, [car.id], stamp)
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
    change_events.record(db, car, kind, on, stamp)
    due.settle(db, [car.id], stamp)
    return row


def correct(db: Session, installation_id: int, new: NewInstallation, stamp: Stamp) -> Installation:
    """Put a new row in the place of an installation recorded wrongly; its removal goes with it.

    So does the change that was recorded with it as an event, when the day was wrong.
    """
    old = components.installation_or_raise(db, installation_id)
    car = cars.locked_one(db, old.car_id)
    new = tidied(new)
    check(db, car, new, stamp, old)
    _must_count(db, old)
    note(db, "component.corrected")
    removal = components.removal_of(db, old.id)
    change = change_events.of_installation(db, old)
    rows.supersede(db, old, stamp)
    row = _mount(db, car, new, stamp, replaces=old, removed=removal is not None)
    if removal is not None:
        _move_removal(db, removal, row, stamp)
    if change is not None:
        change_events.move(db, car, change, new, stamp)
    due.settle(db, [car.id], stamp)
    return row


def correct_car(
    db: Session, installation_id: int, car_id: int, reason: str, stamp: Stamp
) -> Installation:
    """Put right that an installation was recorded on the wrong car: here it never was, there it is.

    Its removal and the changes recorded with both go along. Gives the row of the other car.
    """
    old = components.installation_or_raise(db, installation_id)
    if old.car_id == car_id:
        raise Refused("That is the car on which it is recorded. Choose another.")
    wrong, right = (cars.locked_one(db, key) for key in sorted((old.car_id, car_id)))
    if wrong.id != old.car_id:
        wrong, right = right, wrong
    _must_count(db, old)
    said = replace(_as_new(db, old), is_change=change_events.of_installation(db, old) is not None)
    removal = components.removal_of(db, old.id)
    gone = change_events.of_removal(db, old, removal) if removal else None
    note(db, "component.moved_to_its_car")
    _withdraw(db, old, reason, stamp)
    check(db, right, said, stamp)
    row = _mount(db, right, said, stamp, removed=removal is not None)
    if said.is_change and said.installed_on:
        change_events.record(db, right, said.component.kind, said.installed_on, stamp)
    if removal is not None:
        rows.withdraw(db, removal, reason, stamp)
        _take_off(db, right, row, removal.removed_on, stamp)
        if gone is not None:
            change_events.withdraw(db, gone, reason, stamp)
            change_events.record(db, right, said.component.kind, removal.removed_on, stamp)
    due.settle(db, sorted((wrong.id, right.id)), stamp)
    return row


def bring_back(db: Session, installation_id: int, stamp: Stamp) -> Installation:
    """Let an installation that was withdrawn count again, as a new row; with the change withdrawn with it."""
    old = components.installation_or_raise(db, installation_id)
    car = cars.locked_one(db, old.car_id)
    rows.must_be_withdrawn(db, old, components.corrected_by(db, old.id))
    removal = components.removal_of(db, old.id)
    said = _as_new(db, old)
    check(db, car, said, stamp, old)
    note(db, "component.brought_back")
    _must_be_another(db, car, said.component, said.position, said.installed_on)
    row = _mount(db, car, said, stamp, replaces=old, removed=removal is not None)
    if removal is not None:
        _move_removal(db, removal, row, stamp)
    change_events.bring_back(db, car, old, said.component.kind, stamp)
    due.settle(db, [car.id], stamp)
    return row


def withdraw(db: Session, installation_id: int, reason: str, stamp: Stamp) -> Installation:
    """Let an installation that never was count no longer, nor the change recorded with it."""
    old = components.installation_or_raise(db, installation_id)
    car = cars.locked_one(db, old.car_id)
    _must_count(db, old)
    note(db, "component.withdrawn")
    _withdraw(db, old, reason, stamp)
    due.settle(db, [car.id], stamp)
    return old


def _withdraw(db: Session, old: Installation, reason: str, stamp: Stamp) -> None:
    change = change_events.of_installation(db, old)
    rows.withdraw(db, old, reason, stamp)
    if change is not None:
        change_events.withdraw(db, change, reason, stamp)


def withdraw_removal(db: Session, installation_id: int, reason: str, stamp: Stamp) -> Installation:
    """Undo taking a component off: it was on the car all along, and no change was made."""
    old = components.installation_or_raise(db, installation_id)
    car = cars.locked_one(db, old.car_id)
    removal = components.removal_of(db, old.id)
    if removal is None:
        raise Conflict("That component is not recorded as taken off.")
    component = components.component_of(db, old)
    _must_be_another(db, car, component, old.position, removal.removed_on)
    _must_be_free(db, component, removal.removed_on)
    note(db, "removal.withdrawn", ("car", car.id))
    change = change_events.of_removal(db, old, removal)
    rows.withdraw(db, removal, reason, stamp)
    if change is not None:
        change_events.withdraw(db, change, reason, stamp)
    due.settle(db, [car.id], stamp)
    return old


def tidied(new: NewInstallation) -> NewInstallation:
    """Words without stray spaces; the kind as tables keep it; a month on its first day."""
    words = {name: tidy(value) for name, value in asdict(new.component).items()}
    words["kind"] = kind_of(words["kind"])
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
    elif new.component.kind not in COMPONENT_KINDS:
        told = f"must be one of {', '.join(COMPONENT_KINDS)}, got {new.component.kind!r}"
        faults.add("component.kind", told)
    if len(new.position) > 60:
        faults.add("position", "is longer than 60 characters")
    faults.day("installed_on", new.installed_on, stamp, car.built_on)
    faults.day("tested_on", new.tested_on, stamp)
    faults.months("owner_interval_months", new.owner_interval_months)
    for name in bench.VALUES:
        amount = getattr(new, name)
        if amount is not None and measure.kept(amount) == 0:
            faults.add(name, f"must be above 0, got {amount}")
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
        for each in _known(db, new.component) or [component]:
            _must_be_free(db, each, new.installed_on)
    row = Installation(
        car_id=car.id,
        component_id=component.id,
        from_on=new.installed_on or BEGINNING,
        corrects=replaces.id if replaces else None,
        **_stated(new),
        **stamp.columns(),
    )
    return rows.add(db, row, "Somebody else corrected this just now. Open the car anew.")


PUT_ON = (
    "position", "installed_on", "installed_month_only", "tested_on", "protected_in_storage",
    "owner_interval_months",
)  # fmt: skip


def _stated(new: NewInstallation) -> dict[str, Any]:
    """The columns of a row that says this."""
    amounts = rows.values_of(new, *bench.VALUES)
    kept = {name: measure.kept_or_none(amount) for name, amount in amounts.items()}
    return rows.values_of(new, *PUT_ON) | kept | {"stated": measure.written(amounts)}


def _as_new(db: Session, row: Installation) -> NewInstallation:
    """What a row says, as it would be recorded anew; what a person confirmed of it stays so."""
    component = components.component_of(db, row)
    words = rows.values_of(component, "kind", "maker", "model", "lot", "serial")
    said = rows.values_of(row, *PUT_ON) | {name: row.as_stated(name) for name in bench.VALUES}
    return NewInstallation(
        component=NewComponent(**words), confirmed=True, beside_another=True, **said
    )


def _component(db: Session, car: Car, new: NewComponent, stamp: Stamp) -> Component:
    """The component that this describes; without a serial, or of a lot not stated before, it is a new row."""
    for each in _known(db, new):
        if new.lot in ("", each.lot):
            return each
    row = Component(owner_id=car.owner_id, **asdict(new), **stamp.columns())
    return rows.add(db, row, "Somebody else added this component just now. Try again.")


def _known(db: Session, what: NewComponent) -> Sequence[Component]:
    if not what.serial:
        return ()
    return components.same_as(db, what.kind, what.maker, what.model, what.serial)


def _must_be_free(db: Session, component: Component, installed_on: date | None) -> None:
    elsewhere = components.where_mounted(db, component.id, installed_on)
    if elsewhere is None:
        return
    what = f"{component.kind.replace('_', ' ')} {component.serial}"
    if not cars.reached(db, elsewhere.car_id):
        raise Conflict(f"{what} went with a car to another owner, who has to take it off first.")
    raise Conflict(
        f"{what} is on {elsewhere.mark} {elsewhere.number} since {_since(elsewhere.from_on)}. "
        f"Take it off there first."
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
    what = "corrected" if newer else "withdrawn"
    raise Conflict(f"What is recorded of this component was {what} already. Open the car anew.")

"""The relief device of a row of the cars file: one component at the top of the car."""

from __future__ import annotations

from typing import Any

from sqlalchemy import update
from sqlalchemy.orm import Session

from app.actions.bench import VALUES
from app.actions.imports.car_facts import Told
from app.actions.imports.report import Report
from app.actions.imports.stated import Stated
from app.actions.imports.writing import Writer
from app.actions.stamp import Stamp
from app.core.measure import as_stated, written
from app.files.headers import RowFault
from app.store.columns import BEGINNING
from app.store.intake import KnownCar, table_of
from app.store.tables import RELIEF_KINDS, Component, Installation, Removal

POSITION = "top"
KIND_OF = {device: kind for kind, device in RELIEF_KINDS.items()}
WORDS = ("maker", "model", "lot", "serial")
# What one row of `installation` says of a component on a car, beside where and since when.
SAID = (
    "installed_on", "installed_month_only", "tested_on", "set_psig", "protected_in_storage",
    "owner_interval_months", "found_psig", "left_psig", "vapor_tight_psig",
)  # fmt: skip


class Mounting:
    """Writes components onto cars, and corrections of how they were put on."""

    def __init__(self, db: Session, stamp: Stamp, writer: Writer) -> None:
        self.db, self.stamp, self.writer = db, stamp, writer

    def put_on(self, car_id: int, owner_id: int, position: str, said: dict[str, Any]) -> int:
        """A component with the words of `said` on a car, with what else it says of it."""
        component = {word: said.get(word, "") for word in WORDS}
        component_id = self.writer.add(Component, kind=said["kind"], owner_id=owner_id, **component)
        return self._install(car_id, component_id, position, said)

    def revise(self, stored: dict[str, Any], said: dict[str, Any], owner_id: int) -> int:
        """A stored installation with what `said` adds, as a row that replaces it."""
        now = stored | said | {"stated": _still_stated(stored, said)}
        component_id = stored["component_id"]
        if any(stored[word] != now[word] for word in (*WORDS, "kind")):
            words = {word: now[word] for word in (*WORDS, "kind")}
            component_id = self.writer.add(Component, owner_id=owner_id, **words)
        if self.writer.keep:
            held = table_of(Installation)
            self.db.execute(
                update(held).where(held.c.id == stored["id"]).values(superseded_at=self.stamp.at)
            )
        return self._install(stored["car_id"], component_id, stored["position"], now, stored["id"])

    def take_off(self, installation_id: int, removed_on: Any) -> None:
        self.writer.add(Removal, installation_id=installation_id, removed_on=removed_on)

    def _install(
        self, car_id: int, component_id: int, position: str, said: dict[str, Any],
        corrects: int | None = None,
    ) -> int:  # fmt: skip
        stated = {field: said[field] for field in (*SAID, "stated") if said.get(field) is not None}
        return self.writer.add(
            Installation, car_id=car_id, component_id=component_id, position=position,
            from_on=said.get("installed_on") or BEGINNING, corrects=corrects, **stated,
        )  # fmt: skip


def _still_stated(stored: dict[str, Any], said: dict[str, Any]) -> str | None:
    """What was stated in another unit and is not stated anew."""
    kept = {
        name: as_stated(name, stored[name], stored["stated"])
        for name in VALUES
        if name not in said or said[name] == stored[name]
    }
    return written(kept)


def differing(stored: dict[str, Any], said: dict[str, Any]) -> list[Told]:
    """What is said otherwise than stored, as (what, was, will be)."""
    return [
        (field, stored[field], value) for field, value in said.items() if stored[field] != value
    ]


def fills_in(told: list[Told]) -> bool:
    """Everything said otherwise was unknown before."""
    return all(
        was is None or was == "" or (what, was) == ("kind", "relief_device")
        for what, was, _ in told
        if what != "installed_month_only"
    )


def counts(stored: dict[str, Any]) -> bool:
    """The component is on the car, for all that is known."""
    return stored["superseded_at"] is None and stored["removed_on"] is None


class Devices:
    """Compares the relief device a row states with those on the car."""

    def __init__(self, db: Session, stamp: Stamp, writer: Writer, report: Report) -> None:
        self.mounting = Mounting(db, stamp, writer)
        self.report = report

    def add(self, row: Stated, car_id: int, owner_id: int) -> None:
        """Put the stated device onto a new car."""
        said = _said(row)
        if said:
            self.mounting.put_on(car_id, owner_id, POSITION, {"kind": "relief_device"} | said)

    def compare(self, row: Stated, car: KnownCar, mounted: list[dict[str, Any]]) -> list[Told]:
        """Put on, replace or complete the device of a known car; gives what that changes."""
        said = _said(row)
        every = [each for each in mounted if each["kind"] in RELIEF_KINDS]
        on_car = [each for each in every if counts(each)]
        fault = self._fault(row, said, every, on_car)
        if fault is not None:
            self.report.faults.append(fault)
            return []
        if not said or any(not differing(each, said) for each in every):
            return []
        told = (
            differing(on_car[0], said) if on_car else [(what, None, v) for what, v in said.items()]
        )
        self._put_on(car, said, on_car)
        return [(f"relief_device_{what}", was, will_be) for what, was, will_be in told]

    def _put_on(self, car: KnownCar, said: dict[str, Any], on_car: list[dict[str, Any]]) -> None:
        fresh = {"kind": "relief_device"} | said
        if not on_car:
            self.mounting.put_on(car.id, car.owner_id, POSITION, fresh)
        elif _later(said, on_car[0]):
            self.mounting.take_off(on_car[0]["id"], said["installed_on"])
            self.mounting.put_on(car.id, car.owner_id, on_car[0]["position"], fresh)
        else:
            self.mounting.revise(on_car[0], said, car.owner_id)

    def _fault(
        self, row: Stated, said: dict[str, Any], every: list[dict[str, Any]],
        on_car: list[dict[str, Any]],
    ) -> RowFault | None:  # fmt: skip
        stated = row.about("relief_device")
        if stated and not said and on_car:
            wanted = "the kind of the relief device on the car, or that one to be taken off first"
            return RowFault(row.row, "relief_device_kind", "none", wanted)
        if not said or any(not differing(each, said) for each in every):
            return None
        if len(on_car) > 1:
            wanted = f"a file of components for this car, which has {len(on_car)} relief devices"
            return RowFault(row.row, "relief_device_kind", "one device", wanted)
        if on_car and _later(on_car[0], said):
            on = on_car[0]["installed_on"]
            wanted = f"a day not before {on}, when the device now on the car was put on"
            return RowFault(
                row.row, "relief_device_installed_on", said["installed_on"].isoformat(), wanted
            )
        return None


def _later(one: dict[str, Any], other: dict[str, Any]) -> bool:
    """One was put on after the other, as far as both days are known."""
    on, before = one.get("installed_on"), other.get("installed_on")
    return bool(on and before and on > before)


def _said(row: Stated) -> dict[str, Any]:
    """What a row says of the device, as fields of component and installation; nothing for none."""
    said = dict(row.about("relief_device"))
    kind = said.pop("kind", None)
    if kind == "none":
        return {}
    if kind is not None:
        said["kind"] = KIND_OF[kind]
    return with_month(said)


def with_month(said: dict[str, Any]) -> dict[str, Any]:
    """A day or month split into what the table holds of it."""
    installed = said.pop("installed_on", None)
    if installed is not None:
        said |= {"installed_on": installed.on, "installed_month_only": installed.month_only}
    return said

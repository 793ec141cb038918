"""What an entry is held to beside its own fields: the car, the report before it, and what is a likely slip."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, time, timedelta
from decimal import Decimal
from functools import cached_property
from typing import Any

from sqlalchemy.orm import Session

from app.actions import bench, components, rulebooks
from app.actions.changes import NewComponent, NewInstallation, NewReading
from app.actions.checks import Faults
from app.actions.readings import design_thickness, slip
from app.actions.stamp import Stamp
from app.core.field.entries import FINAL, Entry, standing
from app.core.measure import Amount, read
from app.errors import Fault, Refused
from app.store import cars, events, visiting
from app.store import components as mounted
from app.store.tables import Car, Installation

Says = Mapping[str, Any]


def day(text: str) -> date:
    return date.fromisoformat(text)


def amount(text: str | None) -> Amount | None:
    return None if text is None else read(text)


def on_bench(says: Says) -> dict[str, Any]:
    """Pressures of a bench test, by the names of an installation's."""
    return {name: amount(says[name]) for name in BENCH}


@dataclass(frozen=True)
class About:
    """The car of a report, and when entries of it come in."""

    db: Session
    car: Car
    stamp: Stamp

    @cached_property
    def design(self) -> Mapping[str, Decimal]:
        """The thickness that each zone of it was made with, as far as that is known."""
        return design_thickness(self.db, self.car)


def begins(db: Session, entry: Entry, stamp: Stamp) -> None:
    """Raise Refused or NotFound unless a report can begin with this entry."""
    if entry.kind != "begun":
        raise Refused.because([Fault("kind", "a report begins with what it is begun by")])
    _begun(About(db, cars.car_or_raise(db, entry.says["car_id"]), stamp), entry.says)


def check(about: About, entry: Entry, before: Sequence[Entry]) -> None:
    """Raise Refused, or NotFound, for what an entry cannot say after those before it."""
    if any(each.kind == "signed" for each in before):
        told = (
            "is signed, so it is whole; correct the event that came of it, on the page of the car"
        )
        raise Refused.because([Fault("report", told)])
    stands = {each.key: each for each in standing(before)}
    _replaced(entry, stands)
    held = _CHECKS.get(entry.kind)
    if held:
        held(about, entry.says)
    if entry.kind == "withdrawn":
        _taken_back(entry, stands)
    if entry.kind == "photograph" and entry.says["about"] not in {None, *map(_key, before)}:
        raise Refused.because([Fault("says.about", "is no entry of this report")])


def _key(entry: Entry) -> str:
    return entry.key


def _replaced(entry: Entry, stands: Mapping[str, Entry]) -> None:
    if entry.replaces is None:
        return
    old = stands.get(entry.replaces)
    if old is None:
        told = "names no entry of this report that still stands"
        raise Refused.because([Fault("replaces", told)])
    if old.kind != entry.kind:
        told = f"names an entry of the kind {old.kind}, not {entry.kind}"
        raise Refused.because([Fault("replaces", told)])


def _taken_back(entry: Entry, stands: Mapping[str, Entry]) -> None:
    old = stands.get(entry.says["entry"])
    if old is None or old.kind in ("begun", *FINAL):
        told = "names no entry of this report that can be taken back"
        raise Refused.because([Fault("says.entry", told)])


def _begun(about: About, says: Says) -> None:
    car, stamp = about.car, about.stamp
    faults = Faults()
    if says["car_id"] != car.id:
        faults.add("says.car_id", "is another car; begin another report for it")
    faults.day("says.happened_on", day(says["happened_on"]), stamp, car.built_on)
    if not faults.found:
        _after_taking(faults, says, stamp)
    if says["visit_id"] is not None:
        visit = visiting.visit_or_raise(about.db, says["visit_id"])
        if visit.car_id != car.id:
            faults.add("says.visit_id", "is a visit of another car")
    faults.refuse()


# A day is over everywhere on Earth so long after it began at Greenwich.
_OVER = timedelta(hours=36)


def _after_taking(faults: Faults, says: Says, stamp: Stamp) -> None:
    """Work on a day that was over when the car was taken along is asked about: the tablet's clock may be wrong."""
    if not says["taken_at"] or says["confirmed"]:
        return
    begins = datetime.combine(day(says["happened_on"]), time.min, UTC)
    if begins + _OVER < min(datetime.fromisoformat(says["taken_at"]), stamp.at):
        faults.add(
            "says.happened_on",
            f"{says['happened_on']} was over when the car was taken along, {says['taken_at'][:10]}; "
            "confirm it if the work was done then, else set the tablet's clock right",
        )


def _reading(about: About, says: Says) -> None:
    faults = Faults()
    reading = NewReading(
        says["zone"], read(says["inches"]), confirmed=says["confirmed"]
    )  # fmt: skip
    problem = slip(reading, about.design.get(says["zone"]))
    if problem:
        faults.add("says.inches", problem)
    faults.refuse()


def _bench_test(about: About, says: Says) -> None:
    db, car = about.db, about.car
    row = _on(db, says["installation_id"], car, "says.installation_id")
    component = mounted.component_of(db, row)
    found = NewInstallation(
        NewComponent(component.kind),
        set_psig=row.as_stated("set_psig"),
        confirmed=says["confirmed"],
        **on_bench(says),
    )
    faults = Faults()
    bench.ask_about_left(faults, car, found, rulebooks.in_force(db).of(car.owner_id).rulebook)
    _refuse(faults, "says")


def _swap(about: About, says: Says) -> None:
    db, car = about.db, about.car
    off = says["off_installation_id"]
    old = None if off is None else _on(db, off, car, "says.off_installation_id")
    if says["on"] is None:
        return
    new = components.tidied(put_on(says, None))
    if old and not new.position:
        new = replace(new, position=old.position)
    try:
        components.check(db, car, new, about.stamp, old)
    except Refused as refused:
        raise Refused.because(at(refused, "says.on", _SWAP_PATHS)) from None


def _resolved(about: About, says: Says) -> None:
    row = events.event_or_raise(about.db, says["other"])
    if row.car_id != about.car.id or says["item"] not in events.split(row.items):
        raise Refused.because([Fault("says.other", "is no event of this item and car")])


def _on(db: Session, installation_id: int, car: Car, path: str) -> Installation:
    row = mounted.installation_or_raise(db, installation_id)
    if row.car_id != car.id or row.superseded_at is not None:
        told = "is not on this car, or was corrected since the work was taken along; take it anew"
        raise Refused.because([Fault(path, told)])
    return row


def _refuse(faults: Faults, under: str) -> None:
    if faults.found:
        raise Refused.because(Fault(f"{under}.{each.path}", each.problem) for each in faults.found)


def at(refused: Refused, under: str, renamed: Mapping[str, str]) -> list[Fault]:
    """The faults of an action at the fields of an entry."""
    found = refused.faults or [Fault("", str(refused))]
    return [
        Fault(renamed.get(each.path, f"{under}.{each.path.removeprefix('component.')}"), each.problem)
        for each in found
    ]  # fmt: skip


def put_on(says: Says, on: date | None) -> NewInstallation:
    """What a swap puts on, as the action for components has it."""
    new = says["on"]
    words = {name: new[name] for name in ("kind", "maker", "model", "lot", "serial")}
    return NewInstallation(
        NewComponent(**words),
        position=says["position"],
        installed_on=on,
        tested_on=None if new["tested_on"] is None else day(new["tested_on"]),
        set_psig=amount(new["set_psig"]),
        protected_in_storage=new["protected_in_storage"],
        is_change=True,
        confirmed=says["confirmed"],
        beside_another=says["confirmed"],
        **on_bench(new),
    )


BENCH = ("found_psig", "left_psig", "vapor_tight_psig")
_SWAP_PATHS = {"position": "says.position", "": "says"}
_CHECKS: Mapping[str, Callable[[About, Says], None]] = {
    "begun": _begun,
    "reading": _reading,
    "bench_test": _bench_test,
    "swap": _swap,
    "resolved": _resolved,
}

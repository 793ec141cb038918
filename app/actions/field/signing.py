"""Signing a report: it has to be whole, then what it recorded becomes events, installations and removals."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from sqlalchemy.orm import Session

from app.actions import change_events, codes, components, events
from app.actions.changes import NewEvent, NewReading
from app.actions.codes import Seal
from app.actions.field import checking, conflicts, judging, photographs
from app.actions.field.notes import notes_of
from app.actions.stamp import Stamp
from app.core.component_kinds import kind_of
from app.core.facts import Outcome
from app.core.field.entries import Entry
from app.core.field.missing import missing
from app.core.field.report import FieldReport, event_of_readings, fold, items_of
from app.core.measure import read
from app.errors import Conflict, Fault, Refused
from app.store import components as mounted
from app.store.events import known_by
from app.store.field import Report, ReportEvent
from app.store.people import Person
from app.store.tables import EventRow

# What can be done where an event of others says otherwise of the very same inspection.
INSTEAD = "Or say here that the item was not done, and that they recorded it."


def must_be_ready(db: Session, row: Report, entries: Sequence[Entry], stamp: Stamp) -> None:
    """Raise Refused for what the report lacks, Unresolved for what others recorded meanwhile."""
    report = fold(entries)
    found = [
        Fault(each.path, each.problem)
        for each in missing(report, relief_devices(db, row.car_id, report, stamp))
    ]
    away = photographs.lacking(db, row.id, {each["digest"] for each in report.says("photograph")})
    if away:
        count = "one photograph has" if len(away) == 1 else f"{len(away)} photographs have"
        found.append(Fault("photographs", f"{count} not come yet; sign once all are sent"))
    found.extend(judging.condemned(db, row.car_id, report))
    if found:
        raise Refused.because(found)
    conflicts.must_be_resolved(db, row, report)


def relief_devices(
    db: Session, car_id: int, report: FieldReport, stamp: Stamp
) -> dict[int, str]:  # fmt: skip
    """The relief devices on the car on the day of the report, by the number of their installation."""
    return {
        each.installation.id: " ".join(
            filter(None, (each.component.kind.replace("_", " "), each.component.serial))
        )
        for each in mounted.on_car(db, car_id, report.happened_on or stamp.today)
        if each.is_relief_device
    }


def count_code(db: Session, entry: Entry, person: Person, now: datetime) -> None:
    """Count an attempt at a typed signature's code; kept whatever becomes of the signature."""
    if entry.says["method"] != "typed":
        return
    if not person.code_secret:
        told = "no codes are set up in this account; set them up under Account, or sign by hand"
        raise Refused.because([Fault("says.code", told)])
    wait = codes.try_code(db, person.id, now)
    if wait:
        told = f"too many codes were wrong; wait {wait} seconds, then type the next one"
        raise Refused.because([Fault("says.code", told)])


def accept_code(db: Session, entry: Entry, person: Person, seal: Seal, now: datetime) -> None:
    """Raise Refused unless a typed signature comes with the person's own code of this moment."""
    if entry.says["method"] == "typed" and not codes.accept(
        db, person, entry.says["code"] or "", seal, now
    ):
        raise Refused.because([Fault("says.code", codes.WRONG)])


def record(db: Session, row: Report, entries: Sequence[Entry], stamp: Stamp) -> None:
    """What the report says as components put on and taken off, then as events, which come after them in the day."""
    report = fold(entries)
    made = [event for each in report.of("swap") if (event := _swap(db, row, report, each, stamp))]
    theirs = conflicts.left_to_others(db, row, report)
    passed, failed = items_of(report, "pass", theirs), items_of(report, "fail", theirs)
    measured = event_of_readings(passed, failed, report)
    both: tuple[tuple[Outcome, tuple[str, ...]], ...] = (("pass", passed), ("fail", failed))
    for outcome, items in both:
        if items:
            new = _event(row, report, items, outcome, outcome == measured)
            made.append(_recorded(db, row, new, stamp))
    db.add_all(
        ReportEvent(report_id=row.id, event_id=event_id, car_id=row.car_id)
        for event_id in dict.fromkeys(event.id for event in made)
    )
    db.flush()


def _recorded(db: Session, row: Report, event: NewEvent, stamp: Stamp) -> EventRow:
    try:
        return events.record_event(db, row.car_id, event, stamp)
    except Refused as refused:
        raise Refused.because(checking.at(refused, "begun", {})) from None
    except Conflict as conflict:
        there = known_by(db, row.car_id, event.happened_on, ";".join(event.items), event.facility)
        if there and there.outcome == event.outcome and not event.readings:
            return there  # both tell of it, and the report keeps what it says beyond that
        raise Refused.because([Fault("resolved", f"{conflict} {INSTEAD}")]) from None


def _event(
    row: Report, report: FieldReport, items: tuple[str, ...], outcome: Outcome, measured: bool
) -> NewEvent:
    begun, signed = report.begun_says, report.signed
    assert signed is not None
    assert report.happened_on is not None
    return NewEvent(
        happened_on=report.happened_on,
        items=items,
        outcome=outcome,
        facility=begun["facility"],
        inspector=signed.says["name"],
        reference=f"Field report {row.id}",
        notes=notes_of(report, items),
        readings=tuple(_readings(report)) if measured else (),
        form_key=f"{row.key}-{outcome}",
    )


def _readings(report: FieldReport) -> list[NewReading]:
    """As they were confirmed beside the car; each was held to its likelihood when it came."""
    amount = checking.amount
    return [
        NewReading(
            each["zone"], read(each["inches"]), each["extent"], amount(each["span_in"]),
            amount(each["apart_in"]), confirmed=True,
        )
        for each in report.says("reading")
    ]  # fmt: skip


def _swap(
    db: Session, row: Report, report: FieldReport, entry: Entry, stamp: Stamp
) -> EventRow | None:
    """Take off and put on; gives the change recorded with it, where it is one."""
    says, on = entry.says, report.happened_on
    assert on is not None
    off = says["off_installation_id"]
    try:
        if says["on"] is None:
            components.remove(db, off, on, stamp)
            kind = mounted.component_of(db, mounted.installation_or_raise(db, off)).kind
        else:
            new = checking.put_on(says, on)
            kind = new.component.kind
            if off is None:
                components.install(db, row.car_id, new, stamp)
            else:
                components.swap(db, off, new, stamp)
    except (Refused, Conflict) as problem:
        found = problem.faults or [Fault("", str(problem))]
        raise Refused.because(
            Fault(
                f"swap.{entry.key}", f"{each.path}: {each.problem}" if each.path else each.problem
            )
            for each in found
        ) from None
    change = change_events.change_of(kind_of(kind))
    event = known_by(db, row.car_id, on, change, "") if change else None
    return event if event and event.recorded_at == stamp.at else None

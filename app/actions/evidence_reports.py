"""Each inspection of a car with the eight fields that a report holds (49 CFR 180.517(b)), for an evidence packet.

A signed report of field work tells them itself. What was recorded at a desk or from a file has them where they were
written down; what was not is said to be missing, and nothing is made up in its place.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from datetime import UTC, date, datetime
from typing import Any

from sqlalchemy.orm import Session

from app.actions import report_view
from app.actions.car_seen import CarSeen
from app.actions.evidence_words import day, moment, said
from app.actions.report_view import ReportView
from app.actions.stamp import Stamp
from app.core.field.entries import Entry
from app.core.field.missing import EIGHT
from app.core.field.report import FieldReport
from app.core.words import capitalized, label, sentence
from app.store import reports
from app.store.asked import Standpoint
from app.store.cars import Recorded as Shown
from app.store.events import EventShown
from app.store.reports import ReportListed

Told = dict[str, Any]
NOT_RECORDED = "not recorded"
# What a report of field work says beside its eight fields, in the order in which its page tells it.
FOUND = (
    "gauge_check",
    "reading",
    "bench_test",
    "lining",
    "leak_test",
    "swap",
    "defect",
    "step",
    "caution",
)


def inspections(db: Session, car_id: int, seen: CarSeen, at: Standpoint) -> list[Told]:
    """Field reports and, of what no report brought, each inspection that counts; the latest first."""
    known = [each for each in reports.of_car(db, car_id) if _then(each, at)]
    told, of_reports = [], set[int]()
    for each in known:
        view = report_view.view(db, reports.one_or_raise(db, each.id), _stamp(at))
        if _signed_by(view, at):
            told.append(_field_report(view))
            of_reports |= {event.id for event in view.events}
        else:
            told.append(_begun(view))
    told += [
        _desk(each, seen)
        for each in seen.events
        if each.in_force and each.inspected and each.row.id not in of_reports
    ]
    return sorted(told, key=lambda each: (each["happened_on"], each["name"]), reverse=True)


def _then(each: ReportListed, at: Standpoint) -> bool:
    known = at.known_at is None or each.recorded_at <= at.known_at
    return known and each.happened_on <= at.as_of


def _stamp(at: Standpoint) -> Stamp:
    """Nothing is recorded; only the day matters to who reads a report."""
    return Stamp("", at.known_at or datetime.combine(at.as_of, datetime.min.time(), UTC), at.as_of)


def _signed_by(view: ReportView, at: Standpoint) -> bool:
    if view.signed is None:
        return False
    came = next(each.came_at for each in view.recorded if each.entry.key == view.signed.key)
    return at.known_at is None or came <= at.known_at


# Of field work --------------------------------------------------------------------------------------------------


def _field_report(view: ReportView) -> Told:
    assert view.signed
    return {
        "name": f"Field report {view.row.id}",
        "report": view.row.id,
        "happened_on": _happened(view).isoformat(),
        "signed": True,
        "signature": f"Signed by {view.signed.says['name']}, {moment(view.signed.made_at)}",
        "strokes": view.strokes,
        "eight": [
            {"field": name, "title": each.title, "told": list(each.told) or [NOT_RECORDED]}
            for name, each in zip(EIGHT, view.eight, strict=True)
        ],
        "found": list(_found(view)),
        "replaced": list(_replaced(view)),
        "events": [each.id for each in view.events],
        "captions": {
            each["digest"]: each["words"] for each in view.report.says("photograph") if each.get("words")
        },
    }  # fmt: skip


def _happened(view: ReportView) -> date:
    return view.report.happened_on or view.row.happened_on


def _found(view: ReportView) -> Iterator[Told]:
    report: FieldReport = view.report
    for kind in FOUND:
        for entry in report.says(kind):
            yield {"kind": kind, "title": sentence(kind), "told": _in_words(view, kind, entry)}


def _in_words(view: ReportView, kind: str, says: Mapping[str, Any]) -> str:
    told = dict(says)
    if kind == "step":
        told["step"] = view.steps.get(says["step"], says["step"])
    return said(told, view.parts)


def _replaced(view: ReportView) -> Iterator[Told]:
    """What was noted and then noted otherwise, or taken back, before the report was signed."""
    entries = [each.entry for each in view.recorded]
    by = {each.replaces: each for each in entries if each.replaces}
    by |= {each.says["entry"]: each for each in entries if each.kind == "withdrawn"}
    for each in entries:
        if each.key in by:
            yield _no_longer(view, each, by[each.key])


def _no_longer(view: ReportView, entry: Entry, since: Entry) -> Told:
    """In the shape of what no longer counts of the record; moments are those of the tablet."""
    taken_back = since.kind == "withdrawn"
    return {
        "title": sentence(entry.kind),
        "told": _in_words(view, entry.kind, entry.says),
        "row": view.row.id,
        "recorded_at": moment(entry.made_at),
        "recorded_by": view.row.recorded_by,
        "superseded_at": moment(since.made_at),
        "withdrawn_by": view.row.recorded_by if taken_back else "",
        "reason": since.says.get("why", "") if taken_back else "",
    }


def _begun(view: ReportView) -> Told:
    """One that was not signed then: it counts for nothing, so nothing of it is told but that it is there."""
    return {
        "name": f"Field report {view.row.id}",
        "report": view.row.id,
        "happened_on": view.row.happened_on.isoformat(),
        "signed": False,
        "signature": f"Begun by {view.row.recorded_by}, {moment(view.row.recorded_at)}; not signed, "
        "so it counts for nothing yet",
        "strokes": [],
        "eight": [],
        "found": [],
        "replaced": [],
        "events": [],
        "captions": {},
    }


# Of a desk or a file --------------------------------------------------------------------------------------------


def _desk(each: EventShown, seen: CarSeen) -> Told:
    row, told = each.row, _eight(each, seen)
    reference = f", report {row.reference}" if row.reference else ""
    return {
        "name": f"Inspection {row.id}{reference}",
        "report": None,
        "happened_on": day(row.happened_on),
        "signed": False,
        "signature": f"Recorded {moment(row.recorded_at)} by {row.recorded_by}",
        "strokes": [],
        "eight": [
            {"field": name, "title": title, "told": told[name] or [NOT_RECORDED]}
            for name, title in EIGHT.items()
        ],
        "found": [],
        "replaced": [],
        "events": [row.id],
        "captions": {},
    }


def _eight(each: EventShown, seen: CarSeen) -> dict[str, list[str]]:
    row = each.row
    called = _held_on(seen.histories.names, row.happened_on)
    built = _held_on(seen.histories.constructions, row.happened_on)
    return {
        "type_of_test": [capitalized(", ".join(map(label, each.items)))],
        "results": [label(each.outcome), *_also(each)] if each.outcome else [],
        "mark_and_number": [f"{called.mark} {called.number}"] if called else [],
        "specification": [built.specification] if built else [],
        "date": [f"{row.happened_on:%B %Y}" + ("" if row.month_only else f", on {row.happened_on}")],
        "defects": [row.notes] if row.notes else [],
        # Neither an address nor a signature is kept of what was recorded at a desk.
        "facility": [
            row.facility or f"Facility: {NOT_RECORDED}",
            f"Address: {NOT_RECORDED}",
            f"Inspector: {row.inspector or NOT_RECORDED}; signature: {NOT_RECORDED}",
        ],
        "station_code": [],
    }  # fmt: skip


def _also(each: EventShown) -> list[str]:
    return [f"Asks for {', '.join(map(label, each.opens))}"] if each.opens else []


def _held_on(rows: Sequence[Shown[Any]], on: date) -> Any:
    """What held on a day, of rows latest first; None before anything did."""
    return next(
        (each.row for each in rows if each.row.superseded_at is None and each.row.from_on <= on),
        None,
    )

"""What an evidence packet says was recorded of a car: facts, events, readings, components, photographs, as plain data.

Each row with who recorded it and when, and what became of it; what was corrected stays, and says so.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import date
from typing import Any

from sqlalchemy import inspect
from sqlalchemy.orm import Session

from app.actions import bench
from app.actions.car_seen import CarSeen
from app.actions.evidence_words import day, exact, lines, moment
from app.core.measure import Stated
from app.core.words import capitalized, counted, label, sentence
from app.store import evidence, pictures
from app.store.asked import Standpoint
from app.store.cars import Histories
from app.store.cars import Recorded as Shown
from app.store.columns import BEGINNING
from app.store.components import Mounted
from app.store.events import EventShown
from app.store.pictures import Photograph
from app.store.tables import Installation, ReadingRow, Withdrawal

Told = dict[str, Any]
TITLES = {
    "names": "Mark and number", "ownerships": "Owner and region", "standings": "Standing", "holds": "Hold",
    "constructions": "Specification and tank", "services": "Lading", "linings": "Lining",
    "fittings": "Equipment and sheeting", "stencils": "Stencil on the car", "approvals": "Approved other intervals",
}  # fmt: skip


# Facts ----------------------------------------------------------------------------------------------------------


def facts(found: Histories) -> list[Told]:
    """Every kind of fact, the rows of each latest first, those that were corrected among them."""
    kinds = [each for each in Histories.__dataclass_fields__ if each != "parties"]
    return [
        {
            "kind": kind,
            "title": TITLES.get(kind, sentence(kind)),
            "rows": [_fact(each, found.parties) for each in getattr(found, kind)],
        }
        for kind in kinds
    ]


def _fact(each: Shown[Any], parties: Mapping[int, str]) -> Told:
    row = each.row
    stated = {
        column.key: getattr(row, column.key)
        for column in inspect(type(row)).column_attrs
        if column.key not in _RECORDING
    }
    return {
        "lines": lines(stated, parties),
        "from_on": since(row.from_on),
        "in_force": each.in_force,
        **recorded(row, each.withdrawal),
    }


_RECORDING = frozenset(
    ("id", "car_id", "from_on", "recorded_at", "recorded_by", "import_id", "superseded_at", "corrects")
)  # fmt: skip


def recorded(row: Any, withdrawal: Withdrawal | None) -> Told:
    """Which row of the record it is, who recorded it, and what became of it."""
    return {
        "row": row.id,
        "recorded_at": moment(row.recorded_at),
        "recorded_by": row.recorded_by,
        "corrects": row.corrects,
        "superseded_at": moment(row.superseded_at) if row.superseded_at else None,
        "withdrawn_by": withdrawal.recorded_by if withdrawal else "",
        "reason": withdrawal.reason if withdrawal else "",
    }


# Events, components, photographs --------------------------------------------------------------------------------


def event(each: EventShown) -> Told:
    row = each.row
    return {
        "happened_on": day(row.happened_on, row.month_only),
        "items": list(each.items),
        "title": capitalized(", ".join(map(label, each.items))),
        "outcome": each.outcome or "",
        "outcome_word": label(each.outcome) if each.outcome else "",
        "inspected": list(each.inspected),
        "opens": list(each.opens),
        "asks_for": ", ".join(map(label, each.opens)),
        "facility": row.facility,
        "inspector": row.inspector,
        "reference": row.reference,
        "notes": row.notes,
        "in_force": each.in_force,
        "corrected_by": each.corrected_by,
        "readings": "; ".join(_reading_in_words(reading) for reading in each.readings),
        **recorded(row, each.withdrawal),
    }


def _reading_in_words(row: ReadingRow) -> str:
    local = " local" if row.extent == "local" else ""
    measured = row.as_stated("inches")
    told = str(measured) if isinstance(measured, Stated) else f"{exact(row.inches)} in"
    return f"{label(row.zone)} {told}{local}"


def _figure(row: ReadingRow | Installation, name: str) -> str | None:
    """In the unit of the column; of what was stated in another one as it is kept, rounded down."""
    if isinstance(row.as_stated(name), Stated):
        return f"{getattr(row, name).normalize():f}"
    return exact(getattr(row, name))


def reading(each: EventShown, row: ReadingRow) -> Told:
    return {
        "event": each.row.id,
        "happened_on": each.row.happened_on.isoformat(),
        "counts": each.in_force,
        "place": row.place,
        "zone": row.zone,
        "inches": _figure(row, "inches"),
        "extent": row.extent,
        "span_in": _figure(row, "span_in"),
        "apart_in": _figure(row, "apart_in"),
        "stated": row.stated,
    }


def components(seen: CarSeen) -> list[Told]:
    """What is on the car, then what was, latest first."""
    there = sorted(seen.mounted, key=lambda each: (each.installation.position, each.component.kind))
    return [
        *(_component(each, on_car=True) for each in there),
        *(_component(each, on_car=False) for each in seen.once_mounted),
    ]


def _component(each: Mounted, on_car: bool) -> Told:
    put_on, component = each.installation, each.component
    return {
        "on_car": on_car,
        "kind": component.kind,
        "title": sentence(component.kind),
        "maker": component.maker,
        "model": component.model,
        "lot": component.lot,
        "serial": component.serial,
        "position": put_on.position,
        "installed_on": day(put_on.installed_on, put_on.installed_month_only),
        "removed_on": day(each.removed_on),
        "tested_on": day(put_on.tested_on),
        **{name: _figure(put_on, name) for name in bench.VALUES},
        "stated": put_on.stated,
        "in_force": each.in_force,
        **recorded(put_on, each.withdrawal),
    }


def photographs(db: Session, car_id: int, at: Standpoint) -> list[Told]:
    """Those that had come by then, of work done by the day; the oldest first."""
    days = evidence.days_of_photographs(db, car_id)
    known = [
        each
        for each in pictures.of_car(db, car_id)
        if at.known_at is None or each.recorded_at <= at.known_at
    ]
    return [
        _photograph(each, days[each.id])
        for each in reversed(known)
        if (days[each.id] or at.as_of) <= at.as_of
    ]


def _photograph(each: Photograph, happened_on: date | None) -> Told:
    return {
        "sha256": each.sha256,
        "sent_sha256": each.sent_sha256,
        "type": each.type,
        "bytes": each.bytes,
        "width": each.width,
        "height": each.height,
        "taken_at": each.taken_at or "",
        "happened_on": day(happened_on),
        "report": each.report_id,
        "event": each.event_id,
        "recorded_at": moment(each.recorded_at),
        "recorded_by": each.recorded_by,
    }


def since(from_on: date) -> str | None:
    """The first day of a fact; None where it held from the beginning."""
    return None if from_on == BEGINNING else from_on.isoformat()


# Corrections ----------------------------------------------------------------------------------------------------


def corrections(record: Told) -> list[Told]:
    """What no longer counts, the latest first: what it said, who took it back or replaced it, and why."""
    found = [
        *_facts_replaced(record),
        *_events_replaced(record),
        *_entries_replaced(record),
        *_components_replaced(record),
        *_directives_replaced(record),
    ]
    return sorted(found, key=lambda each: each["superseded_at"], reverse=True)


def _facts_replaced(record: Told) -> Iterator[Told]:
    for kind in record["facts"]:
        for row in kind["rows"]:
            if row["superseded_at"]:
                said = "; ".join(f"{name.lower()} {value}" for name, value in row["lines"])
                yield _replaced(kind["title"], said or "nothing stated", row)


def _events_replaced(record: Told) -> Iterator[Told]:
    for row in record["events"]:
        if row["superseded_at"]:
            told = (
                row["happened_on"],
                row["title"],
                row["outcome_word"],
                row["facility"],
                row["readings"],
            )
            yield _replaced("Inspection or change", ", ".join(filter(None, told)), row)


def _entries_replaced(record: Told) -> Iterator[Told]:
    """What was noted otherwise, or taken back, within a report that is signed."""
    for report in record["inspections"]:
        for entry in report["replaced"]:
            yield _replaced(f"{report['name']}: {entry['title'].lower()}", entry["told"], entry)


def _components_replaced(record: Told) -> Iterator[Told]:
    for row in record["components"]:
        if row["superseded_at"]:
            told = (row["title"], row["serial"], row["position"], row["installed_on"])
            yield _replaced("Component", ", ".join(filter(None, told)), row)


def _directives_replaced(record: Told) -> Iterator[Told]:
    """Orders that were withdrawn, terms that another took the place of, closings that were taken back."""
    for order in record["directives"]:
        name = order["name"]
        if order["superseded_at"]:
            yield _replaced("Directive", f"{name}: {order['title']}", order)
        for term in order["terms"]:
            if term["superseded_at"]:
                yield _replaced("Term of a directive", f"{name}: {term_in_words(term)}", term)
        for match in order["matches"]:
            for closing in match["closings"]:
                if closing["superseded_at"]:
                    told = (closing["done_on"], closing["outcome_word"], closing["reference"])
                    said = ", ".join(filter(None, (name, match["about"], *told)))
                    yield _replaced("Closing of a directive", said, closing)


def term_in_words(term: Told) -> str:
    """By when, and whether that forbids loading."""
    due = f"due {term['due_on']}"
    if term["due_on"] is None:
        due = f"due {counted(term['due_days'], 'day')} after the car was found"
    return f"{due}; once overdue it forbids loading" if term["forbids_loading"] else due


def _replaced(what: str, said: str, row: Told) -> Told:
    names = ("row", "recorded_at", "recorded_by", "superseded_at", "withdrawn_by", "reason")
    return {"what": what, "said": said, **{name: row[name] for name in names}}

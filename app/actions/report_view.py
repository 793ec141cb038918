"""What the page of a report of field work shows: its eight fields, what was found, and how it was recorded."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime

from sqlalchemy.orm import Session

from app.actions import looking_back, rulebooks
from app.actions.car_seen import Heading, heading
from app.actions.field.judging import lines_of
from app.actions.field.signing import relief_devices
from app.actions.stamp import Stamp
from app.core.facts import Event, ZoneThickness
from app.core.field.entries import Entry
from app.core.field.missing import EIGHT, missing, unsigned
from app.core.field.report import FieldReport, fold, states
from app.core.field.verdicts import reading_of
from app.core.thickness import zones_shown
from app.core.words import label, sentence
from app.errors import NotFound
from app.rules.field_work import field_work
from app.store import components, instructions, pictures, reports
from app.store.asked import Standpoint
from app.store.facts import CarRecord
from app.store.field import Report
from app.store.tables import EventRow


@dataclass(frozen=True, slots=True)
class EightLine:
    """One of the eight fields that a report holds (49 CFR 180.517(b)), and what it still lacks."""

    title: str
    told: tuple[str, ...]
    lacks: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Recorded:
    """An entry in the order in which it was made; `stands` unless it was corrected or taken back."""

    entry: Entry
    stands: bool
    came_at: datetime


@dataclass(frozen=True, slots=True)
class ReportView:
    """A report as its page shows it; `car` as it was known on the day and when it was signed."""

    row: Report
    car: Heading
    report: FieldReport
    eight: Sequence[EightLine]
    zones: Sequence[ZoneThickness]
    steps: Mapping[str, str]
    parts: Mapping[int, str]
    kept: frozenset[str]
    events: Sequence[EventRow]
    recorded: Sequence[Recorded]

    @property
    def signed(self) -> Entry | None:
        return self.report.signed

    @property
    def whole(self) -> bool:
        return not any(each.lacks for each in self.eight)

    @property
    def strokes(self) -> list[str]:
        """A drawn signature as lines of a drawing 300 wide and 100 high."""
        drawn = self.signed.says["strokes"] if self.signed else None
        return [" ".join(f"{300 * x:g},{100 * y:g}" for x, y in stroke) for stroke in drawn or ()]


def view(db: Session, row: Report, stamp: Stamp) -> ReportView:
    """Read a report for its page; a bounded number of queries."""
    entries = reports.entries(db, [row])[row.key]
    report = fold(entries)
    day = report.happened_on or row.happened_on
    standing = {each.key for each in report.standing}
    came_at = reports.arrivals(db, row.id)
    record = _car(db, row, day, came_at[report.signed.key] if report.signed else None)
    return ReportView(
        row=row,
        car=heading(record),
        report=report,
        eight=_eight(report, heading(record), day, relief_devices(db, row.car_id, report, stamp)),
        zones=_zones(db, record, report, day),
        steps=_steps(db, report),
        parts=_parts(db, row.car_id, report),
        kept=frozenset(pictures.sent_of(db, row.id, _digests(report))),
        events=reports.events_of(db, row.id),
        recorded=[Recorded(each, each.key in standing, came_at[each.key]) for each in entries],
    )


def _car(db: Session, row: Report, day: date, signed_at: datetime | None) -> CarRecord:
    """As it was known when the report was signed; by all that is known now where nothing was known then."""
    for known_at in (signed_at, None):
        try:
            return looking_back.record_of(db, row.car_id, Standpoint(day, known_at))
        except NotFound:
            continue
    raise NotFound(f"By what is on record now, the car of report {row.id} was not built on {day}.")


def _eight(
    report: FieldReport, car: Heading, day: date, devices: Mapping[int, str]
) -> list[EightLine]:
    lacks = [] if report.signed else [*missing(report, devices), *unsigned(report)]
    told = _told(report, car, day)
    return [
        EightLine(title, told[name], tuple(each.problem for each in lacks if each.field == name))
        for name, title in EIGHT.items()
    ]


def _told(report: FieldReport, car: Heading, day: date) -> dict[str, tuple[str, ...]]:
    begun, found = report.begun_says, states(report)
    done = [item for item, state in found.items() if state in ("pass", "fail")]
    changed = ["change of parts"] if report.of("swap") else []
    where = (begun.get("facility"), begun.get("facility_address"))
    signed = report.signed.says["name"] if report.signed else ""
    return {
        "type_of_test": tuple(map(sentence, [*done, *changed])),
        "results": tuple(_results(report)),
        "mark_and_number": (f"{car.mark} {car.number}",),
        "specification": (car.specification,),
        "date": (f"{day:%B %Y}, on {day}",),
        "defects": (_defects(report),),
        "facility": tuple(filter(None, (*where, f"Inspector: {signed}" if signed else ""))),
        "station_code": tuple(filter(None, (begun.get("station_code"),))),
    }


def _results(report: FieldReport) -> Iterator[str]:
    words = {each["item"]: each["words"] for each in report.says("outcome")}
    for item, state in states(report).items():
        told = f"{sentence(item)}: {label(state)}"
        yield f"{told}. {words[item]}" if words.get(item) else told


def _defects(report: FieldReport) -> str:
    many = len(report.of("defect"))
    if not many:
        return "None recorded"
    return "1, told below" if many == 1 else f"{many}, told below"


def _zones(
    db: Session, record: CarRecord, report: FieldReport, day: date
) -> Sequence[ZoneThickness]:
    """The zones that were measured, judged as the calculator does; none where the tank has no lines."""
    readings = tuple(reading_of(each) for each in report.says("reading"))
    if not readings:
        return ()
    rulebook = rulebooks.in_force(db).of(record.owner_id).rulebook
    lines = lines_of(record, rulebook)
    shown = zones_shown(lines, (Event(day, ("thickness",), readings=readings),), rulebook)
    measured = {each.zone for each in readings}
    return [zone for zone in shown if zone.zone in measured]


def _steps(db: Session, report: FieldReport) -> dict[str, str]:
    """What each step that was answered asked for, by its id; an owner's own as they were then."""
    asked = {each["step"] for each in report.says("step")}
    built_in = {step.id: step.look_at for steps in field_work().steps.values() for step in steps}
    return {**built_in, **instructions.looked_at(db, asked)}


def _parts(db: Session, car_id: int, report: FieldReport) -> dict[int, str]:
    """What is named by the number of its installation, in words."""
    named = {each["installation_id"] for each in report.says("bench_test")}
    named |= {each["off_installation_id"] for each in report.says("swap")}
    mounted = components.history(db, car_id) if named else ()
    return {each.installation.id: _part(each) for each in mounted if each.installation.id in named}


def _part(mounted: components.Mounted) -> str:
    kind = label(mounted.component.kind)
    told = [f"{kind} {mounted.component.serial}".strip(), mounted.installation.position]
    return ", ".join(filter(None, told))


def _digests(report: FieldReport) -> set[str]:
    return {each["digest"] for each in report.says("photograph")}

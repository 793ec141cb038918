"""Entries of field work as they come: each stored exactly once, in the order of its report, or refused with why."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Literal, NamedTuple

from sqlalchemy.orm import Session

from app.actions import rows
from app.actions.codes import Seal
from app.actions.field import checking, signing
from app.actions.field.checking import About
from app.actions.field.conflicts import Other, Unresolved
from app.actions.stamp import Stamp
from app.core.field.entries import Entry
from app.errors import Conflict, Fault, NotFound, Problem, Refused
from app.store import accounts, cars, reports
from app.store.field import FieldEntry, Report
from app.store.gathering import note

State = Literal["stored", "known", "refused", "waiting", "conflict"]


class Sent(NamedTuple):
    """An entry as it was read from what was sent; `entry` is None where it could not be."""

    key: str
    report: str | None
    place: int | None
    entry: Entry | None
    faults: tuple[Fault, ...] = ()


@dataclass(frozen=True, slots=True)
class Result:
    """What became of an entry: refused with `faults`, or for `others` that a person has to decide about."""

    key: str
    state: State
    faults: tuple[Fault, ...] = ()
    others: tuple[Other, ...] = ()


@dataclass(frozen=True, slots=True)
class Receiver:
    """Who sends, when, and with what codes are opened."""

    person_id: int
    stamp: Stamp
    seal: Seal


@dataclass(slots=True)
class Desk:
    """One report while entries of it come in; `about` once its car was looked up."""

    row: Report | None = None
    entries: list[Entry] = field(default_factory=list)
    about: About | None = None

    @property
    def next_place(self) -> int:
        return len(self.entries) + 1


def receive(db: Session, sent: Sequence[Sent], by: Receiver) -> list[Result]:
    """Take in entries in any order and however often; a result for each, in the order sent.

    Entries of one report go by their place without gaps, and never hold up another report's. The
    session has the reach of recording work.
    """
    keys = {each.report for each in sent if each.report}
    rows_ = reports.by_key(db, keys)
    reports.hold_cars(db, _cars(sent, rows_.values()))
    known = reports.stored(db, {each.key for each in sent})
    # Begun by another of the tablet's requests while this one waited.
    rows_ |= reports.by_key(db, keys - rows_.keys())
    held = reports.entries(db, rows_.values())
    desks = {key: Desk(rows_.get(key), held.get(key, [])) for key in keys}
    order = sorted(
        range(len(sent)), key=lambda at: (sent[at].report or "", sent[at].place or 0, at)
    )
    found: dict[int, Result] = {}
    for at in order:
        each = sent[at]
        desk = desks[each.report] if each.report else Desk()
        found[at] = _one(db, each, desk, known, by)
    return [found[at] for at in range(len(sent))]


def _cars(sent: Sequence[Sent], rows_: Iterable[Report]) -> set[int]:
    begun = {
        each.entry.says["car_id"] for each in sent if each.entry and each.entry.kind == "begun"
    }
    return begun | {row.car_id for row in rows_}


def _one(
    db: Session, sent: Sent, desk: Desk, known: dict[str, Entry], by: Receiver
) -> Result:  # fmt: skip
    faults = _out_of_place(sent, desk, known, by)
    if faults is not None:
        return faults
    assert sent.entry is not None
    try:
        _take(db, sent.entry, desk, by)
    except Unresolved as others:
        return Result(sent.key, "conflict", others=others.others)
    except (Refused, Conflict, NotFound) as problem:
        return Result(sent.key, "refused", _faults(problem))
    desk.entries.append(sent.entry)
    known[sent.key] = sent.entry
    return Result(sent.key, "stored")


def _out_of_place(
    sent: Sent, desk: Desk, known: Mapping[str, Entry], by: Receiver
) -> Result | None:
    """What is said of an entry without looking at what it is about; None when its turn has come."""
    if sent.report is None or sent.place is None:
        return Result(sent.key, "refused", sent.faults)
    if desk.row and desk.row.person_id != by.person_id:
        return _refused(sent, "report", "was begun by somebody else; only they add to it")
    before = known.get(sent.key)
    if before and sent.entry and _same(before, sent.entry):
        return Result(sent.key, "known")
    if before:
        return _refused(sent, "key", "was stored before and says something else")
    if sent.place > desk.next_place:
        return Result(sent.key, "waiting")
    if sent.place < desk.next_place:
        return _refused(sent, "place", f"is taken in this report; the next is {desk.next_place}")
    if sent.entry is None or sent.faults:
        return Result(sent.key, "refused", sent.faults)
    return None


def _same(before: Entry, entry: Entry) -> bool:
    return (
        reports.written(_stated(before.says)) == reports.written(_stated(entry.says))
        and (before.report, before.place, before.kind, before.replaces, before.made_at)
        == (entry.report, entry.place, entry.kind, entry.replaces, entry.made_at)
    )  # fmt: skip


def _stated(says: Mapping[str, Any]) -> dict[str, Any]:
    """Without what stands for nothing said: a field that came later is not in what was stored before it."""
    return {
        name: value
        for name, value in says.items()
        if not (value is None or value is False or value in ("", []))
    }


def _refused(sent: Sent, path: str, problem: str) -> Result:
    return Result(sent.key, "refused", (Fault(path, problem),))


def _faults(problem: Problem) -> tuple[Fault, ...]:
    return tuple(problem.faults) or (Fault("says", str(problem)),)


def _take(db: Session, entry: Entry, desk: Desk, by: Receiver) -> None:
    """Store an entry whose turn it is. Raises Refused, Conflict, NotFound or Unresolved, and stores nothing then."""
    if desk.row is None:
        with db.begin_nested():
            desk.row = _begin(db, entry, by)
        return
    report = desk.row
    desk.about = desk.about or About(db, cars.car_or_raise(db, report.car_id), by.stamp)
    checking.check(desk.about, entry, desk.entries)
    if entry.kind == "signed":
        signing.must_be_ready(db, report, [*desk.entries, entry], by.stamp)
        person = accounts.person_or_raise(db, by.person_id)
        signing.count_code(db, entry, person, by.stamp.at)
        with db.begin_nested():
            note(db, "report.signed", leading=True)
            signing.accept_code(db, entry, person, by.seal, by.stamp.at)
            db.add(_row(report, entry, by.stamp))
            signing.record(db, report, [*desk.entries, entry], by.stamp)
        return
    note(db, "report.recorded")
    db.add(_row(report, entry, by.stamp))


def _begin(db: Session, entry: Entry, by: Receiver) -> Report:
    checking.begins(db, entry, by.stamp)
    says = entry.says
    report = Report(
        key=entry.report,
        car_id=says["car_id"],
        person_id=by.person_id,
        visit_id=says["visit_id"],
        happened_on=checking.day(says["happened_on"]),
        recorded_at=by.stamp.at,
        recorded_by=by.stamp.by,
    )
    db.add(report)
    rows.flush(db, "A report of this key was begun by somebody else just now.")
    note(db, "report.recorded")
    db.add(_row(report, entry, by.stamp))
    rows.flush(db, "An entry of this key was stored just now. Send it again.")
    return report


def _row(report: Report, entry: Entry, stamp: Stamp) -> FieldEntry:
    return FieldEntry(
        key=entry.key,
        report_id=report.id,
        car_id=report.car_id,
        place=entry.place,
        kind=entry.kind,
        made_at=entry.made_at,
        replaces=entry.replaces,
        digest=entry.says["digest"] if entry.kind == "photograph" else None,
        says=reports.written(entry.says),
        recorded_at=stamp.at,
        recorded_by=stamp.by,
    )

"""What need be kept no longer, and letting it go.

What goes is what a report says beside its date: inspector, report number, notes and readings. The event
itself stays, because due dates count from it and the history must not have holes. Files and reports that
came in by hand stay as words in the record of change, whose chain cannot be shortened; for those that came
with a file it holds a digest only. A trigger refuses all this without the row of `removal_permit` that
`remove` writes, and the entry of it holds a digest of what went.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from hashlib import sha256

from sqlalchemy.orm import Session

from app.actions import due
from app.actions.stamp import Stamp
from app.core.retention import CITATION, let_go, papers_until
from app.errors import Fault, NotFound, Refused
from app.store import cars, digests, events, gathering, retention
from app.store.change_log import canonical
from app.store.columns import table_of
from app.store.gathering import note
from app.store.kept import key_of, plain
from app.store.retention import DETAILS
from app.store.tables import EventRow, ReadingRow

# About as many as fill a page, whose reports and readings are all read.
CARS_AT_ONCE = 50
REPORT = "the next inspection of each of its types has passed"
PAPERS = "the papers of its construction: a year after the ownership ended"


@dataclass(frozen=True, slots=True)
class Free:
    """Something that need be kept no longer from a day on; `event_id` is None for papers outside the register."""

    car_id: int
    car: str
    event_id: int | None
    since: date
    reason: str
    citation: str = CITATION


def free_reports(db: Session, today: date, after: int = 0) -> Iterator[Free]:
    """Reports of own cars, in the order of the cars, from the car behind `after` on."""
    while found := retention.cars_after(db, after, CARS_AT_ONCE):
        names = {key: f"{mark} {number}" for key, mark, number in found}
        after = found[-1][0]
        held = retention.reports(db, list(names))
        kept = retention.with_changes(db, list(names))
        kept |= retention.let_go_before(
            db, [each.key for of_car in held.values() for each in of_car]
        )
        for car_id in sorted(held):
            for event_id, day in sorted(let_go(held[car_id]).items()):
                if day <= today and event_id not in kept:
                    yield Free(car_id, names[car_id], event_id, day, REPORT)


def free_papers(db: Session, today: date, after: int = 0) -> Iterator[Free]:
    """Cars whose papers of construction need be kept no longer; the register holds none itself."""
    while found := retention.left(db, after, CARS_AT_ONCE):
        after = found[-1].car_id
        for each in found:
            day = papers_until(each.left_on)
            if day < today:
                yield Free(each.car_id, f"{each.mark} {each.number}", None, day, PAPERS)


def remove(db: Session, event_ids: Sequence[int], reason: str, stamp: Stamp) -> list[EventRow]:
    """Let the details of these reports go, for good; all of them or none.

    Raises NotFound for events out of reach, Refused with a fault for each that the law says to keep.
    """
    wanted = sorted(set(event_ids))
    found = retention.events(db, wanted)
    missing = sorted(set(wanted) - {row.id for row in found})
    if missing:
        raise NotFound(f"There is no event with the number {missing[0]}.")
    if not found:
        raise NotFound("No report was named; want the numbers of those to let go.")
    car_ids = sorted({row.car_id for row in found})
    cars.locked(db, car_ids)
    _must_be_free(db, found, car_ids, stamp.today)
    for row in found:
        retention.permit(db, row, stamp.at, stamp.by, reason.strip(), CITATION)
    db.flush()
    went = _digest(db, found)
    _tell(db, found)
    retention.blank(db, wanted)
    note(db, "report.removed", reason=reason.strip(), citation=CITATION, went=went,
         bulk=_brought_again(db, found))  # fmt: skip
    due.settle(db, car_ids, stamp)
    db.expire_all()
    return found


def _must_be_free(
    db: Session, found: Sequence[EventRow], car_ids: Sequence[int], today: date
) -> None:
    held, fixed = retention.reports(db, car_ids), retention.with_changes(db, car_ids)
    gone = retention.let_go_before(db, [row.id for row in found])
    faults = []
    for row in found:
        day = let_go(held.get(row.car_id, [])).get(row.id)
        if row.id in gone:
            faults.append(Fault(str(row.id), "its details have gone already"))
        elif row.superseded_at is not None or row.id in fixed:
            faults.append(
                Fault(str(row.id), "no rule lets it go: it was corrected, or is a change")
            )
        elif day is None or day > today:
            until = (
                f"until {day}" if day else "until the next inspection of each of its types passes"
            )
            faults.append(Fault(str(row.id), f"it has to be kept {until} ({CITATION})"))
    if faults:
        raise Refused.because(faults)


def _digest(db: Session, found: Sequence[EventRow]) -> str:
    """What goes, so that a copy that somebody kept can be proved to be it."""
    readings = events.readings(db, [row.id for row in found])
    columns = [column.name for column in table_of(ReadingRow).columns]
    told = [
        [row.id, *(getattr(row, name) for name in DETAILS),
         [[plain(getattr(each, name)) for name in columns] for each in readings.get(row.id, ())]]
        for row in found
    ]  # fmt: skip
    return sha256(canonical(told).encode()).hexdigest()


def _tell(db: Session, found: Sequence[EventRow]) -> None:
    """What the rows say from now on, without telling once more what they said."""
    items = gathering.gathered(db).items
    about = {row.id: [("car", str(row.car_id))] for row in found}
    blank = dict.fromkeys(DETAILS, "")
    for row in found:
        items.append(gathering.RowChange("event", row.id, {}, dict(blank), about[row.id]))
    table = table_of(ReadingRow)
    for event_id, readings in events.readings(db, list(about)).items():
        for each in readings:
            key = key_of(table, {"event_id": event_id, "place": each.place})
            items.append(gathering.RowChange("reading", key, {}, None, about[event_id]))


def _brought_again(db: Session, found: Sequence[EventRow]) -> list[dict[str, object]]:
    """The digests of the files whose rows these were, as they are from now on."""
    runs = sorted({row.import_id for row in found if row.import_id is not None})
    return [{"import": run, "again": digests.of_events(db, run)} for run in runs]

"""The same item of the same car recorded by others since the tablet last knew of it: shown, and a person decides."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime

from sqlalchemy.orm import Session

from app.core.facts import Outcome
from app.core.field.report import FieldReport, states
from app.errors import Conflict
from app.store import reports
from app.store.events import split
from app.store.field import Report
from app.store.tables import EventRow


@dataclass(frozen=True, slots=True)
class Other:
    """An event of an item that this report has recorded, too."""

    item: str
    event_id: int
    happened_on: date
    outcome: Outcome
    facility: str
    inspector: str
    recorded_by: str
    recorded_at: datetime


class Unresolved(Conflict):
    """Others recorded the same meanwhile, and nobody has said yet whose work counts."""

    def __init__(self, others: Sequence[Other]) -> None:
        super().__init__("Somebody recorded the same item of this car meanwhile.")
        self.others = tuple(others)


def must_be_resolved(db: Session, row: Report, report: FieldReport) -> None:
    """Raise Unresolved with every event that no entry has decided about."""
    decided = {(each["item"], each["other"]) for each in report.says("resolved")}
    others = [
        each for each in _meanwhile(db, row, report) if (each.item, each.event_id) not in decided
    ]
    if others:
        raise Unresolved(others)


def left_to_others(db: Session, row: Report, report: FieldReport) -> frozenset[str]:
    """Items for which a person let an event of others count, and it still does."""
    theirs = [each for each in report.says("resolved") if each["keep"] == "theirs"]
    standing = reports.in_force(db, row.car_id, {each["other"] for each in theirs})
    return frozenset(each["item"] for each in theirs if each["other"] in standing)


def _meanwhile(db: Session, row: Report, report: FieldReport) -> list[Other]:
    # A tablet's clock can be ahead; what it has sent already it cannot know later than that.
    since = min(report.known_until or row.recorded_at, row.recorded_at)
    mine = {item for item, state in states(report).items() if state in ("pass", "fail")}
    return [
        _other(item, event)
        for event in reports.recorded_since(db, row.car_id, since)
        for item in split(event.items)
        if item in mine
    ]


def _other(item: str, event: EventRow) -> Other:
    return Other(
        item, event.id, event.happened_on, event.outcome, event.facility, event.inspector,
        event.recorded_by, event.recorded_at,
    )  # fmt: skip

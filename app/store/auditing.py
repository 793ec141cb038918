"""Questions about audits: whose they are, how far they are, what counts of each point, findings and their steps."""

from __future__ import annotations

import zlib
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from sqlalchemy import Select, distinct, func, or_, select
from sqlalchemy.orm import Session, undefer

from app.core.audit.points import LastDone
from app.core.facts import EVENT_ITEMS
from app.errors import NotFound
from app.store import reach
from app.store.asked import Standpoint, counted
from app.store.audits import Audit, AuditAnswer, AuditCar, AuditFinding, AuditFindingStep
from app.store.events import split
from app.store.field import ReportEvent
from app.store.tables import EventRow, Party, Withdrawal

# Of each car the answer that counts of a point, by the point's id.
Answers = Mapping[int, Mapping[str, AuditAnswer]]


@dataclass(frozen=True, slots=True)
class AuditShown:
    """An audit in the list: whose it is, of how many cars something was answered, findings and open ones."""

    row: Audit
    party: str
    begun: int
    findings: int
    open: int


def audits(db: Session) -> list[AuditShown]:
    """Every audit of the session's own parties, the latest first."""
    begun = (
        select(func.count(distinct(AuditAnswer.audit_car_id)))
        .join(AuditCar, AuditCar.id == AuditAnswer.audit_car_id)
        .where(AuditCar.audit_id == Audit.id)
        .correlate(Audit)
        .scalar_subquery()
    )
    query = (
        select(Audit, Party.name, begun)
        .join(Party, Party.id == Audit.party_id)
        .where(reach.owned(db, Audit.party_id))
        .order_by(Audit.id.desc())
    )
    found = findings(db)
    by_audit: dict[int, list[bool]] = defaultdict(list)
    for each in found:
        by_audit[each.row.audit_id].append(each.open)
    return [
        AuditShown(row, party, some, len(by_audit[row.id]), sum(by_audit[row.id]))
        for row, party, some in db.execute(query)
    ]


def audit_or_raise(db: Session, audit_id: int) -> Audit:
    query = select(Audit).where(Audit.id == audit_id, reach.owned(db, Audit.party_id))
    found = db.scalars(query).first()
    if found is None:
        raise NotFound(f"There is no audit with the number {audit_id}.")
    return found


def drawn_car_or_raise(db: Session, audit_car_id: int) -> tuple[Audit, AuditCar]:
    """A car of a sample, with its audit."""
    query = (
        select(Audit, AuditCar)
        .join(AuditCar, AuditCar.audit_id == Audit.id)
        .where(AuditCar.id == audit_car_id, reach.owned(db, Audit.party_id))
    )
    found = db.execute(query).first()
    if found is None:
        raise NotFound(f"There is no car with the number {audit_car_id} in a sample.")
    return found[0], found[1]


def drawn(db: Session, audit_id: int) -> Sequence[AuditCar]:
    """The cars of a sample in the order of the draw."""
    query = select(AuditCar).where(AuditCar.audit_id == audit_id)
    return db.scalars(query.order_by(AuditCar.place)).all()


def names_drawn_from(db: Session, audit_id: int) -> list[str]:
    """Mark and number of each car that a sample was drawn from, as they were kept with it."""
    query = select(Audit).where(Audit.id == audit_id).options(undefer(Audit.names))
    return unpacked(db.scalars(query).one().names)


def packed(names: Sequence[str]) -> bytes:
    return zlib.compress("\n".join(names).encode())


def unpacked(content: bytes) -> list[str]:
    return zlib.decompress(content).decode().split("\n")


def answers(db: Session, audit_id: int, audit_car_id: int | None = None) -> Answers:
    """What counts of each point of the sample's cars, or of one of them."""
    query = select(AuditAnswer).join(AuditCar, AuditCar.id == AuditAnswer.audit_car_id)
    query = query.where(AuditCar.audit_id == audit_id)
    if audit_car_id is not None:
        query = query.where(AuditCar.id == audit_car_id)
    found: dict[int, dict[str, AuditAnswer]] = defaultdict(dict)
    for row in db.scalars(query.order_by(AuditAnswer.id)):
        found[row.audit_car_id][row.point] = row
    return found


# Findings ---------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class FindingShown:
    """A finding with its audit, its car where it has one, and its steps in order."""

    row: AuditFinding
    audit: Audit
    car: AuditCar | None
    steps: tuple[AuditFindingStep, ...]

    @property
    def open(self) -> bool:
        return not self.steps or self.steps[-1].step == "reopened"

    def late(self, today: date) -> bool:
        """Whether it is open after the day until which it was to be seen to."""
        return self.open and self.row.due_on is not None and self.row.due_on < today


def findings(
    db: Session, audit_id: int | None = None, audit_car_id: int | None = None
) -> list[FindingShown]:
    """Findings of the session's own audits, those due first before those without a day."""
    query = _findings(db)
    if audit_id is not None:
        query = query.where(AuditFinding.audit_id == audit_id)
    if audit_car_id is not None:
        query = query.where(AuditFinding.audit_car_id == audit_car_id)
    query = query.order_by(AuditFinding.due_on.is_(None), AuditFinding.due_on, AuditFinding.id)
    return _with_steps(db, query)


def finding_or_raise(db: Session, finding_id: int) -> FindingShown:
    found = _with_steps(db, _findings(db).where(AuditFinding.id == finding_id))
    if not found:
        raise NotFound(f"There is no finding with the number {finding_id}.")
    return found[0]


def hold_finding(db: Session, finding_id: int) -> None:
    """Let whoever else closes or opens the finding wait."""
    found = select(AuditFinding.id).where(AuditFinding.id == finding_id)
    db.execute(found.with_for_update()).all()


def _findings(db: Session) -> Select[*tuple[Any, ...]]:
    return (
        select(AuditFinding, Audit, AuditCar)
        .join(Audit, Audit.id == AuditFinding.audit_id)
        .outerjoin(AuditCar, AuditCar.id == AuditFinding.audit_car_id)
        .where(reach.owned(db, Audit.party_id))
    )


def _with_steps(db: Session, query: Select[*tuple[Any, ...]]) -> list[FindingShown]:
    rows = db.execute(query).all()
    steps: dict[int, list[AuditFindingStep]] = defaultdict(list)
    asked = select(AuditFindingStep).where(
        AuditFindingStep.finding_id.in_([row[0].id for row in rows])
    )
    for each in db.scalars(asked.order_by(AuditFindingStep.id)):
        steps[each.finding_id].append(each)
    return [FindingShown(row, audit, car, tuple(steps[row.id])) for row, audit, car in rows]


# What the register says of a car ----------------------------------------------------------------------------------


def last_done(db: Session, car_id: int, at: Standpoint) -> list[LastDone]:
    """By item the last event that passed it, of those that counted at the moment and had happened by the day."""
    query = (
        select(EventRow, ReportEvent.report_id)
        .outerjoin(
            ReportEvent,
            or_(ReportEvent.event_id == EventRow.id, ReportEvent.event_id == EventRow.original_id),
        )
        .where(
            EventRow.car_id == car_id,
            EventRow.outcome == "pass",
            EventRow.happened_on <= at.as_of,
            counted(EventRow, at.known_at),
        )
        .order_by(EventRow.happened_on, EventRow.id)
    )
    found: dict[str, LastDone] = {}
    for row, report_id in db.execute(query):
        for item in split(row.items):
            found[item] = LastDone(
                item, row.happened_on, row.facility, row.inspector, report_id is not None
            )
    return [found[item] for item in EVENT_ITEMS if item in found]


def unexplained(db: Session, car_id: int, at: Standpoint) -> int:
    """How many events of a car were taken back by then without a reason."""
    query = (
        select(func.count())
        .select_from(Withdrawal)
        .join(EventRow, EventRow.id == Withdrawal.row_id)
        .where(Withdrawal.table_name == "event", Withdrawal.reason == "", EventRow.car_id == car_id)
    )
    if at.known_at is not None:
        query = query.where(Withdrawal.recorded_at <= at.known_at)
    return db.scalar(query) or 0

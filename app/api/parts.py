"""What the API answers of a car to whoever answers for its lining or its service equipment alone."""

from __future__ import annotations

from datetime import date

from pydantic import Field
from sqlalchemy.orm import Session

from app.actions.reasons import told
from app.api.schemas import ItemOut, Out, ReasonOut
from app.core.facts import ITEMS
from app.store import due
from app.store.due import DueListRow
from app.store.tables import Car


class PartDueOut(Out):
    """Of a car only the due items that one's company answers for: no thickness, no loading answer."""

    car: str
    as_of: date
    answers_for: list[str] = Field(
        description="the due items that are one's own company's, whether or not the car has them"
    )
    items: list[ItemOut]


def part_due(
    db: Session, car: Car, items: frozenset[str], today: date, soon_days: int
) -> PartDueOut:
    """The due items among `items`, today, with their reasons."""
    rows = told(db, due.for_car(db, car.id, today, soon_days), today)
    return PartDueOut(
        car=f"{car.mark} {car.number}",
        as_of=today,
        answers_for=sorted(items, key=ITEMS.index),
        items=[ItemOut(**item_out(row)) for row in rows],
    )


def item_out(row: DueListRow) -> dict[str, object]:
    """The fields of a due item as a list has it."""
    same = (
        "item",
        "status",
        "due_on",
        "days_left",
        "basis_on",
        "interval_months",
        "calculated_due_on",
    )
    return {name: getattr(row, name) for name in same} | {
        "confidence": "memory" if row.confidence == "memory" else "verified",
        "reasons": [ReasonOut(text=each.text, citation=each.citation) for each in row.reasons],
    }

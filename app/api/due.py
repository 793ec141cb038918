"""What falls due in the register, as a list to be filtered."""

from __future__ import annotations

from datetime import date
from typing import Annotated, Literal

from fastapi import Query
from pydantic import Field
from sqlalchemy.orm import Session

from app import web
from app.actions.reasons import told
from app.api.exact import subject
from app.api.register import Listing
from app.api.schemas import ItemOut, PageOut, ReasonOut
from app.core.facts import ITEMS, Status
from app.store import due
from app.store.due import DueFilter, DueListRow

router = subject("due")

Item = Literal[*ITEMS]  # type: ignore[valid-type]


class DueAsked(Listing):
    """Filters of the due list."""

    item: Item | None = None
    status: Status | None = Field(
        None, description="without it every dated item, due now among them"
    )
    overdue: bool = Field(False, description="only what is overdue or due now")
    due_from: date | None = None
    due_to: date | None = None
    every_standing: bool = Field(False, description="also of cars that are not in service")

    def as_filter(self, db: Session, today: date, soon_days: int) -> DueFilter:
        return DueFilter(
            as_of=today,
            soon_days=soon_days,
            owner_id=self.owner_id(db),
            owner=self.owner,
            item=self.item,
            status=self.status,
            overdue=self.overdue,
            region=self.region,
            search=self.prefix(),
            due_from=self.due_from,
            due_to=self.due_to,
            listed_only=not self.every_standing,
        )


class DueRowOut(ItemOut):
    """A due item in a list, with the car it belongs to."""

    car_id: int
    mark: str
    number: int
    owner: str
    region: str
    citation: str


class DuePageOut(PageOut[DueRowOut]):
    as_of: date
    shows: str = Field(description="what the filter keeps, in words")


@router.get("/due", summary="What falls due, soonest first")
def listed(
    asked: Annotated[DueAsked, Query()], db: web.Db, today: web.Today, settings: web.Configured
) -> DuePageOut:
    """Due items of the cars in service as of today, soonest first, then by mark, number and item.

    Pages follow by cursor: pass `next_after` as `after`, with the same filter.
    """
    wanted = asked.as_filter(db, today, settings.soon_days)
    page = due.page(db, wanted, asked.after, asked.limit)
    return DuePageOut(
        rows=[_row_out(row) for row in told(db, page.rows, today)],
        next_after=page.next_after,
        as_of=today,
        shows=wanted.in_words(),
    )


def _row_out(row: DueListRow) -> DueRowOut:
    return DueRowOut(
        car_id=row.car_id,
        mark=row.mark,
        number=row.number,
        owner=row.owner,
        region=row.region,
        item=row.item,
        status=row.status,
        due_on=row.due_on,
        days_left=row.days_left,
        basis_on=row.basis_on,
        interval_months=row.interval_months,
        calculated_due_on=row.calculated_due_on,
        confidence="memory" if row.confidence == "memory" else "verified",
        reasons=[ReasonOut(text=each.text, citation=each.citation) for each in row.reasons],
        citation=row.citation,
    )

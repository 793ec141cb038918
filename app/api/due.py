"""What falls due in the register, as a list to be filtered."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime
from typing import Annotated, Literal

from fastapi import Query, Request
from pydantic import Field
from sqlalchemy.orm import Session

from app import web
from app.actions import looking_back
from app.actions.reasons import told
from app.actions.standpoint import Lookback
from app.api.exact import subject
from app.api.parts import item_out
from app.api.register import Listing, seen_from
from app.api.schemas import ItemOut, PageOut
from app.core.facts import ITEMS, Status
from app.store import due
from app.store.due import DueFilter, DueListRow
from app.store.paging import Page

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

    def as_filter(self, db: Session, day: date, soon_days: int) -> DueFilter:
        return DueFilter(
            as_of=day,
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
    known_at: datetime | None = Field(description="the moment as known at; null is now")
    shows: str = Field(description="what the filter keeps, in words")


@router.get("/due", summary="What falls due, soonest first")
@web.may("read", looks_back=True, may_lag=True)
def listed(
    request: Request,
    asked: Annotated[DueAsked, Query()],
    db: web.Db,
    today: web.Today,
    settings: web.Configured,
) -> DuePageOut:
    """Due items of the cars in service, soonest first, then by mark, number and item.

    As of today by what is known now, or with `as_of` and `known` as of another day, as known at
    another moment. Pages follow by cursor: pass `next_after` as `after`, with the same filter.
    """
    back = seen_from(request, asked)
    wanted = asked.as_filter(db, back.at.as_of if back else today, settings.soon_days)
    rows, next_after = _page(db, wanted, asked, today, back)
    return DuePageOut(
        rows=[_row_out(row) for row in rows],
        next_after=next_after,
        as_of=wanted.as_of,
        known_at=back.at.known_at if back else None,
        shows=wanted.in_words(),
    )


def _page(
    db: Session, wanted: DueFilter, asked: DueAsked, today: date, back: Lookback | None
) -> tuple[Sequence[DueListRow], str | None]:
    """The rows of a page with their reasons, and the cursor of the next one."""
    found: Page[DueListRow]
    if back is None or back.stored:
        found = due.page(db, wanted, asked.after, asked.limit)
        return told(db, found.rows, today), found.next_after
    found = looking_back.due_items(db, back.at, wanted).page(asked.after, asked.limit)
    return told(db, found.rows, back.at.as_of, back.at.known_at), found.next_after


def _row_out(row: DueListRow) -> DueRowOut:
    return DueRowOut(
        car_id=row.car_id,
        mark=row.mark,
        number=row.number,
        owner=row.owner,
        region=row.region,
        citation=row.citation,
        **item_out(row),
    )

"""What an evidence packet asks that no page does: which of many cars are reached, and of which day a photograph is."""

from __future__ import annotations

from collections.abc import Collection
from datetime import date

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from app.store import reach
from app.store.field import Report
from app.store.pictures import Photograph
from app.store.tables import Car, EventRow

AT_ONCE = 1_000


def wholly_reached(db: Session, car_ids: Collection[int]) -> set[int]:
    """Those of these cars of which the session reaches everything."""
    ordered, found = sorted(set(car_ids)), set[int]()
    for start in range(0, len(ordered), AT_ONCE):
        some = ordered[start : start + AT_ONCE]
        asked = select(Car.id).where(Car.id.in_(some), reach.whole(db, Car.owner_id, Car.id))
        found.update(db.scalars(asked))
    return found


def days_of_photographs(db: Session, car_id: int) -> dict[int, date | None]:
    """By key of each photograph of a car the day of the report or event that it belongs to, where it does."""
    rows = db.execute(
        select(Photograph.id, func.coalesce(Report.happened_on, EventRow.happened_on))
        .outerjoin(Report, Report.id == Photograph.report_id)
        .outerjoin(EventRow, EventRow.id == Photograph.event_id)
        .where(Photograph.car_id == car_id)
    )
    return dict(rows.all())


def hold_still(db: Session) -> None:
    """Read one and the same state from here on, where the session has read nothing yet.

    Else a packet of many cars could tell of a change that its head of the record does not know.
    A reading session on SQLite does so by itself.
    """
    if db.get_bind().dialect.name == "postgresql" and not db.in_transaction():
        db.connection(execution_options={"isolation_level": "REPEATABLE READ"})

"""Questions of a file of cars: what is recorded elsewhere that its stencils may contradict."""

from __future__ import annotations

from collections.abc import Collection

from sqlalchemy import and_, or_, select
from sqlalchemy.orm import Session

from app.store.intake import in_parts
from app.store.tables import Component, EventRow, Installation, Removal


def lining_told_by_events(db: Session, car_ids: Collection[int]) -> set[int]:
    """The cars of which an event that counts names a lining applied or removed."""
    found: set[int] = set()
    for part in in_parts(car_ids):
        rows = db.scalars(
            select(EventRow.car_id).where(
                EventRow.car_id.in_(part),
                EventRow.superseded_at.is_(None),
                or_(
                    EventRow.items.contains("lining_applied"),
                    EventRow.items.contains("lining_removed"),
                ),
            )
        )
        found.update(rows)
    return found


def with_component(db: Session, kind: str, car_ids: Collection[int]) -> set[int]:
    """The cars that have a component of this kind on them now."""
    found: set[int] = set()
    gone = and_(Removal.installation_id == Installation.id, Removal.superseded_at.is_(None))
    for part in in_parts(car_ids):
        rows = db.scalars(
            select(Installation.car_id)
            .join(Component, Component.id == Installation.component_id)
            .outerjoin(Removal, gone)
            .where(
                Installation.car_id.in_(part),
                Installation.superseded_at.is_(None),
                Removal.id.is_(None),
                Component.kind == kind,
            )
        )
        found.update(rows)
    return found

"""How the record grows: a new row, a stamp on one that counts no longer, a withdrawal."""

from __future__ import annotations

from typing import Any, TypeVar

from sqlalchemy import update
from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Session

from app.actions.stamp import Stamp
from app.errors import Conflict
from app.store import cars, reach
from app.store.columns import Recorded, table_of
from app.store.tables import Party, Withdrawal

R = TypeVar("R", bound=Recorded)


def add(db: Session, row: R, clash: str) -> R:
    """Add a row and flush, so that it has its key; `clash` tells what a unique index would mean."""
    db.add(row)
    flush(db, clash)
    return row


def flush(db: Session, clash: str) -> None:
    try:
        db.flush()
    except IntegrityError as fault:
        # Somebody else recorded the same between our look and our writing.
        raise Conflict(clash) from fault


def supersede(db: Session, row: Recorded, stamp: Stamp) -> None:
    """Stamp a row as no longer counting; Conflict when that was done already."""
    table = table_of(type(row))
    done = db.execute(
        update(table)
        .where(table.c.id == row.id, table.c.superseded_at.is_(None))
        .values(superseded_at=stamp.at)
    )
    if done.rowcount != 1:  # type: ignore[attr-defined]
        raise Conflict(
            "This was corrected or withdrawn already, by somebody else just now. Open it anew."
        )
    db.refresh(row)


def withdraw(db: Session, row: Recorded, reason: str, stamp: Stamp) -> None:
    """Supersede a row with none in its place, and keep who did it and why."""
    supersede(db, row, stamp)
    db.add(
        Withdrawal(
            table_name=table_of(type(row)).name,
            row_id=row.id,
            recorded_at=stamp.at,
            recorded_by=stamp.by,
            reason=reason.strip(),
        )
    )
    db.flush()


def must_be_withdrawn(db: Session, row: Recorded, newer: Recorded | None) -> None:
    """Raise Conflict unless the row was withdrawn by a person, with none in its place since."""
    table = table_of(type(row)).name
    if row.superseded_at is None:
        raise Conflict("That record counts, so there is nothing to bring back.")
    if newer is not None or not cars.withdrawals(db, table, [row.id]):
        raise Conflict(
            "That record was corrected, brought back already, or taken back with its file. "
            "Only what was withdrawn can be brought back, once."
        )


def said_by(row: Recorded) -> dict[str, Any]:
    """What a row states, without its key and what it says of its recording."""
    beside = {"id", "superseded_at", "corrects", "recorded_at", "recorded_by", "import_id"}
    names = (column.name for column in table_of(type(row)).columns)
    return values_of(row, *(name for name in names if name not in beside))


def party(db: Session, name: str) -> Party:
    """The session's party of this name, or one that it keeps; added when it is new."""
    return cars.party_by_name(db, name) or _kept(db, name)


def party_anywhere(db: Session, name: str, held_id: int | None = None) -> Party:
    """The party of this name that stands for itself; else the session's; else a new one.

    What is held already stays who it is when its name is stated again (`held_id`).
    """
    held = db.get(Party, held_id) if held_id is not None else None
    if held is not None and held.name == name:
        return held
    return cars.party_anywhere(db, name) or _kept(db, name)


def _kept(db: Session, name: str) -> Party:
    found = Party(name=name, kept_by=cars.keeper(db))
    db.add(found)
    flush(db, f"{name} was added by somebody else just now. Try again.")
    reach.take_in(db, found)
    return found


def values_of(row: Any, *names: str) -> dict[str, Any]:
    """These fields of a change, as columns of the same names."""
    return {name: getattr(row, name) for name in names}

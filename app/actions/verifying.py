"""Is the register sound? Checks that change nothing, each naming the first thing that is wrong."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import date
from typing import Any

from sqlalchemy.exc import DBAPIError
from sqlalchemy.orm import Session

from app.actions import pictures, rulebooks
from app.actions.due import as_stored
from app.files.archive import Manifest
from app.pictures import Attachments
from app.store import facts as crossing
from app.store import proof, proof_derived, proof_rows, rolled
from app.store import rulebooks as editions
from app.store.copies import rows, soundness
from app.store.proof import Head

BATCH = 500
Tell = Callable[[str, int, int], None]


@dataclass(frozen=True, slots=True)
class Asked:
    """`today` is the day that dates are worked out on; `against` a copy's manifest to count by.

    `head` is a head of the record of change that was kept elsewhere; `photographs` is where they lie.
    """

    today: date
    against: Manifest | None = None
    dates: bool = False
    head: Head | None = None
    photographs: Attachments | None = None


@dataclass(frozen=True, slots=True)
class Check:
    """`find` gives the first thing that is wrong, in a sentence without its end, or None."""

    name: str
    find: Callable[[Session, Asked, Tell], str | None]
    wanted: Callable[[Asked], bool] = lambda asked: True


def verify(db: Session, asked: Asked, tell: Tell) -> Iterator[tuple[str, str | None]]:
    """Each check that was asked for, with the first thing it finds wrong; all of one moment."""
    for check in CHECKS:
        if check.wanted(asked):
            tell(f"Checking {check.name}", 0, 0)
            yield check.name, _found(check, db, asked, tell)


def _found(check: Check, db: Session, asked: Asked, tell: Tell) -> str | None:
    try:
        return check.find(db, asked, tell)
    except DBAPIError as wrong:  # as a damaged file has it
        return f"it cannot be looked at: {' '.join(str(wrong.orig).split())}"


def _file(db: Session, asked: Asked, tell: Tell) -> str | None:
    return soundness.damaged_file(db.connection())


def _references(db: Session, asked: Asked, tell: Tell) -> str | None:
    connection = db.connection()
    return soundness.first_orphan(connection, rows.tables(connection))


def _guards(db: Session, asked: Asked, tell: Tell) -> str | None:
    return soundness.first_unguarded(db.connection())


def _readings(db: Session, asked: Asked, tell: Tell) -> str | None:
    return soundness.first_reading_astray(db.connection())


def _counts(db: Session, asked: Asked, tell: Tell) -> str | None:
    """Rows that are never deleted cannot have become fewer since the copy."""
    assert asked.against
    there = soundness.counts(db.connection())
    kept = soundness.kept_tables()
    for each in asked.against.tables:
        now = there.get(each.table)
        if each.table in kept and (now is None or now < each.rows):
            return f"{each.table} has {now or 0:,} rows and had {each.rows:,} in the copy"
    return None


def _chain(db: Session, asked: Asked, tell: Tell) -> str | None:
    return proof.first_break(db, asked.head, tell)


def _told_rows(db: Session, asked: Asked, tell: Tell) -> str | None:
    return proof_rows.first_change_behind(db, proof.replay(db, tell), tell)


def _derived(db: Session, asked: Asked, tell: Tell) -> str | None:
    return proof_derived.first_not_derived(db, asked.today, tell)


def _rolled(db: Session, asked: Asked, tell: Tell) -> str | None:
    return rolled.first_wrong(db)


def _photographs(db: Session, asked: Asked, tell: Tell) -> str | None:
    assert asked.photographs
    return pictures.first_astray(db, asked.photographs, tell)


def _dates(db: Session, asked: Asked, tell: Tell) -> str | None:
    """Car by car through the calculator with reasons, not by the columns that a fleet goes by."""
    programme = rulebooks.in_force(db)
    every = list(editions.cars_of(db, None))
    for first in range(0, len(every), BATCH):
        some = every[first : first + BATCH]
        tell("Working out due dates", first, len(every))
        records = crossing.load(db, some, asked.today)
        cars, items = soundness.stored_due(db.connection(), some)
        for car_id in some:
            fresh = (
                as_stored(records[car_id], programme, asked.today) if car_id in records else None
            )
            wrong = _first_difference(cars[car_id], items[car_id], fresh)
            if wrong:
                name = f"{cars[car_id]['mark']} {cars[car_id]['number']}"
                return f"car {name} (its key is {car_id}): {wrong}"
    return None


Fresh = tuple[list[dict[str, Any]], dict[str, Any]] | None


def _first_difference(
    car: dict[str, Any], stored: dict[int, dict[str, Any]], fresh: Fresh
) -> str | None:
    if fresh is None:
        return "it has due items and no facts" if stored else None
    items, projection = fresh
    worked_out = {row["item_no"]: row for row in items}
    for place in sorted(worked_out.keys() | stored.keys()):
        was, now = stored.get(place), worked_out.get(place)
        if was is None or now is None:
            item = (was or now or {})["item"]
            return f"{item} is {'stored, and not worked out' if was else 'not stored'}"
        if wrong := _first_column(was, now):
            return f"{was['item']}: {wrong}"
    return _first_column(car, projection)


def _first_column(stored: dict[str, Any], fresh: dict[str, Any]) -> str | None:
    for name, value in fresh.items():
        if stored[name] != value:
            return f"{name} is stored as {stored[name]} and worked out as {value}"
    return None


# In the order in which they are made; a new one goes here and nowhere else.
CHECKS = (
    Check("the file of the database", _file),
    Check("references between rows", _references),
    Check("what keeps the record from being changed", _guards),
    Check("readings and their events", _readings),
    Check("the record of change", _chain),
    Check("rows against the record of change", _told_rows),
    Check("owners, names and who sees which car", _derived),
    Check("numbers of cars and due items", _rolled),
    Check("rows against the copy", _counts, lambda asked: asked.against is not None),
    Check("photographs", _photographs, lambda asked: asked.photographs is not None),
    Check("stored due dates", _dates, lambda asked: asked.dates),
)

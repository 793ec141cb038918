"""The list of ladings to choose from."""

from __future__ import annotations

from dataclasses import asdict, replace

from sqlalchemy.orm import Session

from app.actions import rows
from app.actions.changes import NewLading
from app.actions.checks import Faults, tidy
from app.actions.factchecks import check_lading
from app.errors import Conflict
from app.store import ladings
from app.store.gathering import note
from app.store.tables import Lading


def save(db: Session, new: NewLading, lading_id: int | None = None) -> Lading:
    """Add a lading to the list, or change the entry with this number.

    The list is a help for choosing: cars keep what was chosen for them. Raises Refused, NotFound,
    or Conflict when another entry has the name.
    """
    new = replace(new, name=tidy(new.name))
    faults = Faults()
    faults.plain("", new)
    check_lading(faults, "", new)
    if not new.name:
        faults.add("name", "say what the lading is called")
    faults.refuse()
    clash = f"{new.name} is in the list already. Change that entry."
    named = ladings.by_name(db, new.name)
    if named is not None and named.id != lading_id:
        raise Conflict(clash)
    entry = Lading() if lading_id is None else ladings.lading_or_raise(db, lading_id)
    for field, value in asdict(new).items():
        setattr(entry, field, value)
    note(db, "lading.added" if lading_id is None else "lading.changed")
    db.add(entry)
    rows.flush(db, clash)
    return entry

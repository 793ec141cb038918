"""The facilities of a party: recorded, corrected, withdrawn, brought back."""

from __future__ import annotations

from dataclasses import asdict, dataclass

from sqlalchemy.orm import Session

from app.actions import rows
from app.actions.checks import LONGEST_WORDS, Faults, tidy
from app.actions.stamp import Stamp
from app.errors import Conflict, Fault, NotFound, Refused
from app.store import cars, facilities
from app.store.field_data import Facility
from app.store.gathering import note
from app.store.tables import Party

LONGEST_CODE = 20


@dataclass(frozen=True, slots=True)
class NewFacility:
    """A place at which a party works on cars, with what a report names of it (180.517(b))."""

    party: str
    name: str
    address: str = ""
    station_code: str = ""


def record(db: Session, new: NewFacility, stamp: Stamp) -> Facility:
    """Record a facility of one of the session's own parties.

    Raises Refused with faults by field, Conflict where the party has one of this name.
    """
    new, party_id = _read(db, new)
    note(db, "facility.recorded", ("party", party_id))
    return _add(db, new, party_id, stamp)


def correct(db: Session, facility_id: int, new: NewFacility, stamp: Stamp) -> Facility:
    """Put a new row in the place of a wrong one; what was reported keeps the words it has."""
    old = _counting(db, facility_id)
    new, party_id = _read(db, new)
    note(db, "facility.corrected", ("party", party_id), ("party", old.party_id))
    rows.supersede(db, old, stamp)
    return _add(db, new, party_id, stamp, old.id)


def withdraw(db: Session, facility_id: int, reason: str, stamp: Stamp) -> Facility:
    """Let a facility be offered no longer; it stays, with who withdrew it and why."""
    old = _counting(db, facility_id)
    note(db, "facility.withdrawn", ("party", old.party_id))
    rows.withdraw(db, old, reason, stamp)
    return old


def bring_back(db: Session, facility_id: int, stamp: Stamp) -> Facility:
    """Let a facility that was withdrawn be offered again, as a new row that says the same."""
    shown = facilities.one_or_raise(db, facility_id)
    old = shown.row
    rows.must_be_withdrawn(db, old, facilities.corrected_by(db, old))
    note(db, "facility.brought_back", ("party", old.party_id))
    new = NewFacility(shown.party, old.name, old.address, old.station_code)
    return _add(db, new, old.party_id, stamp, old.id)


def keep_photo_place(db: Session, party_id: int, keep: bool) -> Party:
    """Whether photographs of a party's cars keep where they were taken; those that are kept stay as they are.

    Raises NotFound for a party that is not the session's own.
    """
    found = {party.id: party for party in facilities.own_parties(db)}.get(party_id)
    if found is None:
        raise NotFound(f"There is no company with the number {party_id} among yours.")
    note(db, "party.photo_place", ("party", party_id))
    found.keeps_photo_place = keep
    return found


def _counting(db: Session, facility_id: int) -> Facility:
    row = facilities.one_or_raise(db, facility_id).row
    if row.superseded_at is not None:
        raise Conflict("This facility was corrected or withdrawn already. Open the list anew.")
    return row


def _read(db: Session, new: NewFacility) -> tuple[NewFacility, int]:
    new = NewFacility(**{name: tidy(value) for name, value in asdict(new).items()})
    faults = Faults()
    if not 1 <= len(new.name) <= LONGEST_WORDS:
        faults.add("name", f"want a name of 1 to {LONGEST_WORDS} characters")
    if len(new.address) > LONGEST_WORDS:
        faults.add("address", f"is longer than {LONGEST_WORDS} characters")
    if len(new.station_code) > LONGEST_CODE:
        faults.add("station_code", f"is longer than {LONGEST_CODE} characters")
    faults.refuse()
    party = cars.party_by_name(db, new.party)
    if party is None:
        unknown = f"there is no company named {new.party!r} among those whose records you keep"
        raise Refused.because([Fault("party", unknown)])
    return new, party.id


def _add(
    db: Session, new: NewFacility, party_id: int, stamp: Stamp, corrects: int | None = None
) -> Facility:
    already = f"{new.party} has a facility named {new.name} already. Correct that one."
    if facilities.named(db, party_id, new.name):
        raise Conflict(already)
    said = rows.values_of(new, "name", "address", "station_code")
    row = Facility(party_id=party_id, corrects=corrects, **said, **stamp.columns())
    return rows.add(db, row, already)

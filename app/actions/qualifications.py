"""What people are qualified for: recorded by an administrator, and looked at where work is signed."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import asdict, dataclass
from datetime import date

from sqlalchemy.orm import Session

from app.actions import rows
from app.actions.checks import EARLIEST, Faults
from app.actions.people import Office, seen_person
from app.actions.stamp import Stamp
from app.core.steps import LEVELS, lacking
from app.core.words import sentence
from app.errors import Conflict
from app.rules.field_work import field_work
from app.store import qualifications
from app.store.field_data import Qualification
from app.store.gathering import note

MEANWHILE = "Somebody else changed this just now. Open it anew."


@dataclass(frozen=True, slots=True)
class NewQualification:
    """A method at a level, valid until a day and on it."""

    method: str
    level: str
    valid_until: date


def record(
    db: Session, office: Office, person_id: int, new: NewQualification, stamp: Stamp
) -> Qualification:
    """Record what a person of the office is qualified for; of the same method the new one counts.

    Raises NotFound for a person out of reach, Refused with faults by field.
    """
    seen_person(db, office, person_id)
    _check(new)
    held = qualifications.of_method(db, person_id, new.method)
    said = asdict(new)
    if held is not None and rows.values_of(held, *said) == said:
        return held
    note(db, "qualification.recorded", ("person", person_id))
    if held is not None:
        rows.supersede(db, held, stamp)
    row = Qualification(
        person_id=person_id, corrects=held.id if held else None, **said, **stamp.columns()
    )
    return rows.add(db, row, MEANWHILE)


def withdraw(
    db: Session, office: Office, person_id: int, qualification_id: int, reason: str, stamp: Stamp
) -> Qualification:
    """Let a qualification count no longer; it stays, with who withdrew it and why."""
    seen_person(db, office, person_id)
    row = qualifications.one_or_raise(db, person_id, qualification_id)
    note(db, "qualification.withdrawn", ("person", person_id))
    rows.withdraw(db, row, reason, stamp)
    return row


def bring_back(
    db: Session, office: Office, person_id: int, qualification_id: int, stamp: Stamp
) -> Qualification:
    """Let a qualification that was withdrawn count again, as a new row that says the same."""
    seen_person(db, office, person_id)
    old = qualifications.one_or_raise(db, person_id, qualification_id)
    rows.must_be_withdrawn(db, old, qualifications.corrected_by(db, old))
    if qualifications.of_method(db, person_id, old.method):
        raise Conflict(f"Another qualification for {old.method} counts now. Withdraw it first.")
    note(db, "qualification.brought_back", ("person", person_id))
    row = Qualification(corrects=old.id, **rows.said_by(old), **stamp.columns())
    return rows.add(db, row, MEANWHILE)


def qualification_warnings(
    db: Session, person_id: int, items: Iterable[str], day: date
) -> list[str]:
    """A sentence for each item whose method the person is not on record as qualified for on `day`.

    Warnings alone: which method and level an item asks for is common practice, and who may sign is
    for the facility to say.
    """
    data, held = field_work(), qualifications.held(db, person_id)
    found = []
    for item in dict.fromkeys(items):
        needs = data.needs.get(item, ())
        if why := lacking(needs, held, day):
            wanted = " or ".join(f"{each.method} level {each.level}" for each in needs)
            asked = f"{sentence(item)} asks for {wanted} (common practice, no source)"
            found.append(f"{asked}; {why}.")
    return found


def _check(new: NewQualification) -> None:
    faults = Faults()
    faults.one_of("method", new.method, tuple(field_work().methods))
    faults.one_of("level", new.level, LEVELS)
    # It may end in the future, as hardly anything else may.
    if new.valid_until < EARLIEST:
        faults.add("valid_until", f"{new.valid_until} is too long ago; want its last day")
    faults.refuse()

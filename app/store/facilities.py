"""Questions about the facilities of a party, as reports name them."""

from __future__ import annotations

from dataclasses import dataclass

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.errors import NotFound
from app.store import reach
from app.store.cars import withdrawals
from app.store.field_data import Facility
from app.store.tables import Party, Withdrawal


@dataclass(frozen=True, slots=True)
class FacilityShown:
    """A facility, whose it is, and who withdrew it where somebody did and nobody brought it back."""

    row: Facility
    party: str
    withdrawal: Withdrawal | None = None


def own_parties(db: Session) -> list[Party]:
    """The session's own parties and those they keep, by name."""
    return list(db.scalars(select(Party).where(reach.owned(db, Party.id)).order_by(Party.name)))


def mine(db: Session, *, also_former: bool = False) -> list[FacilityShown]:
    """Those of the session's own parties, by party and name."""
    query = (
        select(Facility, Party.name)
        .join(Party, Party.id == Facility.party_id)
        .where(reach.owned(db, Facility.party_id))
        .order_by(Party.name, Facility.name, Facility.id)
    )
    if not also_former:
        query = query.where(Facility.superseded_at.is_(None))
    found = db.execute(query).all()
    replaced = {row.corrects for row, _ in found}
    gone = withdrawals(db, "facility", [row.id for row, _ in found if row.id not in replaced])
    return [FacilityShown(row, party, gone.get(row.id)) for row, party in found]


def one_or_raise(db: Session, facility_id: int) -> FacilityShown:
    """A facility of one of the session's own parties; NotFound as well when there is none."""
    query = (
        select(Facility, Party.name)
        .join(Party, Party.id == Facility.party_id)
        .where(Facility.id == facility_id, reach.owned(db, Facility.party_id))
    )
    found = db.execute(query).first()
    if found is None:
        raise NotFound(f"There is no facility with the number {facility_id}.")
    return FacilityShown(*found)


def named(db: Session, party_id: int, name: str) -> Facility | None:
    """The facility of a party that counts under this name."""
    return db.scalars(
        select(Facility).where(
            Facility.party_id == party_id, Facility.name == name, Facility.superseded_at.is_(None)
        )
    ).first()


def corrected_by(db: Session, row: Facility) -> Facility | None:
    """The row that took this one's place, if one did."""
    return db.scalars(select(Facility).where(Facility.corrects == row.id)).first()

"""Questions about who belongs to which party, who is invited, and which parties there are."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import select, update
from sqlalchemy.orm import Session

from app.store.people import Invitation, Membership, Person
from app.store.tables import Party


@dataclass(frozen=True, slots=True)
class Belongs:
    """A membership with the names in it."""

    membership: Membership
    person: Person
    party: Party


def memberships(
    db: Session, *, person_id: int | None = None, parties: Collection[int] | None = None
) -> list[Belongs]:
    """Those in force, of one person or of all, in these parties or in any; by party and name."""
    query = (
        select(Membership, Person, Party)
        .join(Person, Person.id == Membership.person_id)
        .join(Party, Party.id == Membership.party_id)
        .where(Membership.ended_at.is_(None))
        .order_by(Party.name, Party.id, Person.name, Person.id, Membership.id)
    )
    if person_id is not None:
        query = query.where(Membership.person_id == person_id)
    if parties is not None:
        query = query.where(Membership.party_id.in_(parties))
    return [Belongs(*row) for row in db.execute(query)]


def were_ever_in(db: Session, person_id: int, parties: Collection[int]) -> bool:
    """Whether the person has or had a membership in one of these."""
    found = select(Membership.id).where(
        Membership.person_id == person_id, Membership.party_id.in_(parties)
    )
    return db.scalar(found.limit(1)) is not None


def former(db: Session, parties: Collection[int] | None) -> Sequence[Person]:
    """Those who had a membership in these parties (None: in any, or none ever) and have none now."""
    in_force = select(Membership.person_id).where(Membership.ended_at.is_(None))
    query = select(Person).order_by(Person.name, Person.id)
    if parties is not None:
        had = select(Membership.person_id).where(Membership.party_id.in_(parties))
        in_force = in_force.where(Membership.party_id.in_(parties))
        query = query.where(Person.id.in_(had))
    return db.scalars(query.where(Person.id.not_in(in_force))).all()


def administrators(db: Session, party_id: int) -> set[int]:
    """The people who administer the party now; whoever else changes that waits."""
    return set(
        db.scalars(
            select(Person.id)
            .join(Membership, Membership.person_id == Person.id)
            .where(Membership.party_id == party_id, Membership.role == "administrator")
            .where(Membership.ended_at.is_(None), Person.ended_at.is_(None))
            .with_for_update()
        )
    )


def invitations(
    db: Session, parties: Collection[int] | None, now: datetime
) -> Sequence[Invitation]:
    """Those to join that can still be used, newest first."""
    query = select(Invitation).where(
        Invitation.kind == "join",
        Invitation.used_at.is_(None),
        Invitation.ended_at.is_(None),
        Invitation.expires_at > now,
    )
    if parties is not None:
        query = query.where(Invitation.party_id.in_(parties))
    return db.scalars(query.order_by(Invitation.made_at.desc())).all()


def invitation(db: Session, key_sha256: str) -> Invitation | None:
    return db.get(Invitation, key_sha256)


def invited(db: Session, email: str, now: datetime) -> Sequence[Invitation]:
    """The invitations to join that this address of mail can use."""
    return [each for each in invitations(db, None, now) if each.email == email]


def use_invitation(db: Session, key_sha256: str, now: datetime) -> bool:
    """Whether it could be used just now; nobody can use it again."""
    used = db.execute(
        update(Invitation)
        .where(Invitation.key_sha256 == key_sha256, Invitation.expires_at > now)
        .where(Invitation.used_at.is_(None), Invitation.ended_at.is_(None))
        .values(used_at=now)
    )
    return int(used.rowcount) == 1  # type: ignore[attr-defined]


def end_invitations(db: Session, kind: str, now: datetime, person_id: int | None = None) -> None:
    """Take back those of a kind, all of them or those for one person."""
    query = (
        update(Invitation)
        .where(Invitation.kind == kind, Invitation.used_at.is_(None))
        .where(Invitation.ended_at.is_(None))
    )
    if person_id is not None:
        query = query.where(Invitation.person_id == person_id)
    db.execute(query.values(ended_at=now))


def keeper(db: Session) -> Party | None:
    """The party that looks after the register."""
    return db.scalars(select(Party).where(Party.keeps_register)).first()


def own_party(db: Session, name: str) -> Party | None:
    """The party of this name that stands for itself."""
    return db.scalars(select(Party).where(Party.name == name, Party.kept_by.is_(None))).first()


def standing(db: Session, parties: Collection[int] | None = None) -> Sequence[Party]:
    """The parties that stand for themselves, all or those of these, by name."""
    query = select(Party).where(Party.kept_by.is_(None)).order_by(Party.name, Party.id)
    return db.scalars(query if parties is None else query.where(Party.id.in_(parties))).all()


def kept(db: Session, keeper_id: int) -> Sequence[Party]:
    """The parties whose records this one keeps, by name."""
    return db.scalars(select(Party).where(Party.kept_by == keeper_id).order_by(Party.name)).all()


def keep_all_others(db: Session, party: Party) -> None:
    """Have the party keep the records of each other that stood for itself."""
    db.execute(
        update(Party)
        .where(Party.kept_by.is_(None), Party.id != party.id)
        .values(kept_by=party.id)
        .execution_options(synchronize_session="fetch")
    )

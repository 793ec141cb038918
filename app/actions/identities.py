"""Who a person is at a provider of OpenID Connect: nobody is let in who was not invited, or linked it."""

from __future__ import annotations

from datetime import datetime

from sqlalchemy.orm import Session

from app.actions import people, rows
from app.actions.checks import tidy
from app.errors import Conflict, Refused
from app.store import accounts, members
from app.store.gathering import note
from app.store.people import OpenIdentity, Person

NOT_KNOWN = (
    "Nobody here is known by this account of the provider. Ask an administrator for an invitation, or "
    "sign in otherwise and link it on the page of your account."
)


def person_of(
    db: Session,
    issuer: str,
    subject: str,
    email: str,
    verified: bool,
    name: str,
    now: datetime,
) -> Person:
    """The person of this subject; or, once, whom an invitation to a verified address of mail makes one.

    An account that there is already is not taken over by its address: it has to link the provider.
    """
    known = accounts.open_identity(db, issuer, subject)
    if known is not None:
        person = accounts.person_or_raise(db, known.person_id)
        if person.ended_at:
            raise Refused(NOT_KNOWN)
        return person
    invited = members.invited(db, email, now) if verified and email else ()
    if not invited or accounts.by_email(db, email):
        raise Refused(NOT_KNOWN)
    called = tidy(name) or invited[0].name or email
    person = people.new_person(db, called[:200], email, now)
    for each in invited:
        if each.party_id is not None and members.use_invitation(db, each.key_sha256, now):
            people.add_memberships(db, person, each.party_id, each.roles, each.made_by, now)
    link(db, person, issuer, subject, now)
    note(db, "person.joined", ("person", person.id))
    return person


def link(db: Session, person: Person, issuer: str, subject: str, now: datetime) -> None:
    """Let the person sign in as this subject of the provider."""
    known = accounts.open_identity(db, issuer, subject)
    if known is not None and known.person_id != person.id:
        raise Conflict("This account of the provider is linked to somebody else here.")
    if known is None:
        db.add(OpenIdentity(person_id=person.id, issuer=issuer, subject=subject, added_at=now))
        note(db, "provider.linked", ("person", person.id))
        rows.flush(db, "This account of the provider was linked just now.")


def unlink(db: Session, person: Person) -> None:
    """No sign-in by the provider any more; Refused where nothing else is left to sign in by."""
    if person.password is None and not accounts.passkeys(db, person.id):
        raise Refused("Set a password or add a passkey first: nothing else would let you in.")
    for each in accounts.open_identities(db, person.id):
        db.delete(each)
    note(db, "provider.unlinked", ("person", person.id))

"""Links that open something once: the first account, joining a party, a new password."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime, timedelta
from secrets import token_urlsafe

from sqlalchemy.orm import Session

from app.actions import passwords, people, sign_in
from app.actions.checks import Faults, tidy
from app.actions.people import Office
from app.errors import Fault, NotFound, Refused
from app.store import accounts, members
from app.store.gathering import note
from app.store.people import Invitation, Person
from app.store.signed_in import fingerprint
from app.store.tables import Party

GOOD_FOR = {
    "set_up": timedelta(days=1), "join": timedelta(days=7), "new_password": timedelta(days=1),
}  # fmt: skip
SPENT = "This link was used before, was taken back, or is too old. Ask for a new one."


@dataclass(frozen=True, slots=True)
class Newcomer:
    """What somebody types who makes an account."""

    name: str
    email: str
    password: str
    again: str


def set_up_link(db: Session, now: datetime) -> str | None:
    """A new key for making the first account, in place of older ones; None when there is one."""
    if accounts.anybody(db):
        return None
    note(db, "set_up.link_made")
    members.end_invitations(db, "set_up", now)
    return _new(db, now, Invitation(kind="set_up", made_by="the program", roles=[]))


def invite(
    db: Session,
    office: Office,
    email: str,
    name: str,
    party_id: int,
    roles: Collection[str],
    now: datetime,
) -> str:
    """The key of a link by which whoever has this address joins the party.

    Whether there is an account of this address is not told here.
    """
    email, name = sign_in.email_of(email), tidy(name)[:200]
    party = people.party_in(db, office, party_id)
    faults = Faults()
    people.check_email(faults, email)
    people.check_roles(faults, roles)
    faults.refuse()
    note(db, "person.invited", ("party", party.id))
    made = Invitation(
        kind="join",
        email=email,
        name=name,
        party_id=party.id,
        roles=sorted(roles),
        made_by=office.by,
    )
    return _new(db, now, made)


def new_password_link(db: Session, office: Office, person_id: int, now: datetime) -> str:
    """The key of a link by which a person sets a new password; older ones end."""
    person = people.whole_person(db, office, person_id)
    if person.ended_at:
        raise Refused(f"The account of {person.name} has ended.")
    members.end_invitations(db, "new_password", now, person.id)
    note(db, "password.link_made", ("person", person.id))
    made = Invitation(kind="new_password", person_id=person.id, roles=[], made_by=office.by)
    return _new(db, now, made)


def take_back(db: Session, office: Office, name: str, now: datetime) -> None:
    """An invitation to join, named by the front of its fingerprint, can be used no longer."""
    for each in members.invitations(db, office.parties, now):
        if name_of(each) == name:
            each.ended_at = now
            note(db, "invitation.taken_back", ("party", each.party_id))
            return
    raise NotFound("This invitation was used or taken back already.")


def name_of(invitation: Invitation) -> str:
    """What a page calls an invitation by."""
    return invitation.key_sha256[:16]


def opened(db: Session, key: str, kind: str, now: datetime) -> Invitation:
    """The invitation behind a link that can be used now; NotFound otherwise."""
    found = members.invitation(db, fingerprint(key))
    usable = found is not None and found.kind == kind and found.expires_at > now
    if not usable or found is None or found.used_at or found.ended_at:
        raise NotFound(SPENT)
    return found


def set_up(
    db: Session, key: str, new: Newcomer, party: str, roles: Collection[str], now: datetime
) -> Person:
    """The first account and the party that looks after the register.

    Every party there is already is kept by it from now on; one of its own name is that party itself.
    """
    invitation = opened(db, key, "set_up", now)
    if accounts.anybody(db):
        raise NotFound(SPENT)
    named = tidy(party)
    _check(new, _set_up_faults(named, roles))
    own = members.own_party(db, named) or Party(name=named)
    people.look_after_register(db, own)
    return _join(db, invitation, new, own.id, roles, now)


def _set_up_faults(party: str, roles: Collection[str]) -> list[Fault]:
    faults = Faults()
    if not 1 <= len(party) <= 200:
        faults.add("party", "want the name of your company, of 1 to 200 characters")
    people.check_roles(faults, roles)
    if "administrator" not in roles:
        faults.add("roles", "somebody has to invite the others, so the first is an administrator")
    return faults.found


def join(db: Session, key: str, new: Newcomer, now: datetime) -> Person:
    """A new account for whom a link invites, with the roles that it gives."""
    invitation = opened(db, key, "join", now)
    assert invitation.party_id is not None
    new = Newcomer(new.name, invitation.email, new.password, new.again)
    _check(new, [])
    return _join(db, invitation, new, invitation.party_id, invitation.roles, now)


def join_as(db: Session, key: str, person: Person, now: datetime) -> None:
    """The roles that a link gives, for the account of its address that there is already."""
    invitation = opened(db, key, "join", now)
    if invitation.email != person.email:
        raise Refused(f"This invitation is for {invitation.email}. Sign in with that account.")
    assert invitation.party_id is not None
    _use(db, invitation, now)
    by = invitation.made_by
    people.add_memberships(db, person, invitation.party_id, invitation.roles, by, now)
    note(db, "person.joined", ("person", person.id))


def set_password(db: Session, key: str, password: str, again: str, now: datetime) -> Person:
    """A new password by a link; the person is signed out everywhere."""
    invitation = opened(db, key, "new_password", now)
    assert invitation.person_id is not None
    person = accounts.person_or_raise(db, invitation.person_id)
    if person.ended_at:
        raise NotFound(SPENT)
    passwords.check(password, again, person.name, person.email)
    _use(db, invitation, now)
    people.change_password(db, person, password, again, "", now)
    return person


def _check(new: Newcomer, found: list[Fault]) -> None:
    """Raise Refused naming everything that is wrong with what a newcomer typed."""
    faults = Faults()
    faults.found += found
    people.check_name(faults, tidy(new.name))
    people.check_email(faults, sign_in.email_of(new.email))
    try:
        passwords.check(new.password, new.again, new.name, new.email)
    except Refused as refused:
        faults.found += refused.faults
    faults.refuse()


def _join(
    db: Session,
    invitation: Invitation,
    new: Newcomer,
    party_id: int,
    roles: Collection[str],
    now: datetime,
) -> Person:
    _use(db, invitation, now)
    person = people.new_person(db, tidy(new.name), sign_in.email_of(new.email), now)
    passwords.put(person, new.password, now)
    people.add_memberships(db, person, party_id, roles, invitation.made_by, now)
    note(db, "person.joined", ("person", person.id))
    return person


def _use(db: Session, invitation: Invitation, now: datetime) -> None:
    # Two who open it at the same moment both found it usable.
    if not members.use_invitation(db, invitation.key_sha256, now):
        raise NotFound(SPENT)


def _new(db: Session, now: datetime, made: Invitation) -> str:
    key = token_urlsafe(32)
    made.key_sha256, made.made_at = fingerprint(key), now
    made.expires_at = now + GOOD_FOR[made.kind]
    db.add(made)
    db.flush()
    return key

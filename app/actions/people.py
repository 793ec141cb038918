"""Changes to people and parties: names, passwords, memberships, ends; and who may make them."""

from __future__ import annotations

import re
from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime
from typing import cast, get_args

from sqlalchemy.orm import Session

from app.access import ROLES
from app.actions import passwords, rows, sign_in
from app.actions.checks import Faults, tidy
from app.core.showing import Days, Length, Pressure
from app.errors import Conflict, Fault, NotFound, Refused
from app.store import accounts, members, reach
from app.store.gathering import note
from app.store.people import Membership, Person
from app.store.tables import Party

# Only so much is asked of an address: a mail that arrives proves more than any pattern.
EMAIL = re.compile(r"[^\s@]{1,64}@[^\s@]{1,189}")
LAST = "would leave the register without an administrator; make somebody else one first"
REGISTER_ONLY = "Only who looks after the register can do this."
# Says nothing of where else the person belongs.
NOT_FROM_HERE = (
    "This account cannot be changed from this page. Whoever runs the register can do it, at the "
    "machine or as its administrator."
)


@dataclass(frozen=True, slots=True)
class Office:
    """What somebody may administer: these parties, or any there is (None); and their name."""

    parties: frozenset[int] | None
    by: str

    def covers(self, party_id: int) -> bool:
        return self.parties is None or party_id in self.parties


def check_name(faults: Faults, name: str) -> None:
    if not 1 <= len(name) <= 200:
        faults.add("name", "want a name of 1 to 200 characters")


def check_email(faults: Faults, email: str) -> None:
    if not EMAIL.fullmatch(email):
        faults.add("email", "is no address of mail; want one such as name@company.example")


def check_roles(faults: Faults, roles: Collection[str]) -> None:
    if not roles or not set(roles) <= set(ROLES):
        faults.add("roles", "choose at least one of the roles")


def new_person(db: Session, name: str, email: str, now: datetime) -> Person:
    """An account that nothing opens yet; its name and address were checked before."""
    person = Person(name=name, email=email, added_at=now)
    db.add(person)
    rows.flush(db, "There is an account of this address already. Sign in to it.")
    return person


# Whom an office reaches


def seen_person(db: Session, office: Office, person_id: int) -> Person:
    """A person of the office's parties, now or before; NotFound for everybody else."""
    person = accounts.person_or_raise(db, person_id)
    if office.parties is None or members.were_ever_in(db, person_id, office.parties):
        return person
    raise accounts.no_person(person_id)


def whole_person(db: Session, office: Office, person_id: int) -> Person:
    """The same where the office reaches all that the person belongs to, so may change their account.

    Else an administrator of one party could act as the person in another, or hinder them there.
    """
    person = seen_person(db, office, person_id)
    belongs = members.memberships(db, person_id=person_id)
    if not all(office.covers(each.party.id) for each in belongs):
        raise Refused(NOT_FROM_HERE)
    return person


def party_in(db: Session, office: Office, party_id: int) -> Party:
    """A party of the office that stands for itself; NotFound for any other."""
    party = db.get(Party, party_id)
    if party is None or party.kept_by is not None or not office.covers(party_id):
        raise NotFound(f"No party in the register has the number {party_id}.")
    return party


# Memberships


def add_memberships(
    db: Session,
    person: Person,
    party_id: int,
    roles: Collection[str],
    by: str,
    now: datetime,
) -> None:
    """Let the person do in the party what the roles allow; those they have already stay."""
    held = {
        each.membership.role
        for each in members.memberships(db, person_id=person.id, parties=[party_id])
    }
    for role in ROLES:
        if role in roles and role not in held:
            added = Membership(
                person_id=person.id, party_id=party_id, role=role, added_at=now, added_by=by
            )
            db.add(added)
    rows.flush(db, "Somebody else changed the roles of this person just now.")


def give_roles(
    db: Session,
    office: Office,
    person_id: int,
    party_id: int,
    roles: Collection[str],
    now: datetime,
) -> None:
    """The same, by an administrator."""
    person = seen_person(db, office, person_id)
    party = party_in(db, office, party_id)
    faults = Faults()
    check_roles(faults, roles)
    faults.refuse()
    if person.ended_at:
        raise Conflict(f"The account of {person.name} has ended.")
    add_memberships(db, person, party.id, roles, office.by, now)
    note(db, "membership.added", ("person", person.id), ("party", party.id))


def end_membership(
    db: Session, office: Office, person_id: int, membership_id: int, now: datetime
) -> None:
    """A role in a party ends; Refused for the last administrator of the register."""
    held = members.memberships(db, person_id=person_id)
    found = next((each for each in held if each.membership.id == membership_id), None)
    if found is None or not office.covers(found.party.id):
        raise NotFound("This person has no such role.")
    if found.membership.role == "administrator":
        _keep_an_administrator(db, person_id)
    _end(found.membership, office.by, now)
    note(db, "membership.ended", ("person", person_id), ("party", found.party.id))


def end_person(db: Session, office: Office, person_id: int, now: datetime) -> None:
    """End all that the person may in the office's parties, and the account when nothing is left."""
    person = seen_person(db, office, person_id)
    _keep_an_administrator(db, person_id)
    belongs = members.memberships(db, person_id=person_id)
    here = [each for each in belongs if office.covers(each.party.id)]
    note(db, "person.ended", ("person", person_id))
    for each in here:
        _end(each.membership, office.by, now)
    if len(here) == len(belongs):
        person.ended_at = person.ended_at or now
        sign_in.end_everywhere(db, person_id, now)
        accounts.end_tokens(db, person_id, now)
        members.end_invitations(db, "new_password", now, person_id)


def end_sign_ins(db: Session, office: Office, person_id: int, now: datetime) -> None:
    """Sign a person of the office alone out everywhere; whoever it really is signs in again."""
    person = whole_person(db, office, person_id)
    if office.parties is not None and not members.memberships(db, person_id=person_id):
        raise Refused(f"{person.name} may do nothing here any longer.")
    sign_in.end_everywhere(db, person_id, now)


def _end(membership: Membership, by: str, now: datetime) -> None:
    membership.ended_at, membership.ended_by = now, by


def _keep_an_administrator(db: Session, person_id: int) -> None:
    keeper = members.keeper(db)
    held = members.administrators(db, keeper.id) if keeper else set()
    if held == {person_id}:
        raise Refused.because([Fault("", LAST)])


def take_seconds_away(db: Session, office: Office, person_id: int, now: datetime) -> None:
    """For somebody who lost phone, paper and passkeys: the password alone lets them in again."""
    person = whole_person(db, office, person_id)
    person.code_secret = person.code_step = None
    for each in accounts.passkeys(db, person.id):
        each.ended_at = now
    accounts.forget_recovery_codes(db, person.id)
    note(db, "second.taken_away", ("person", person.id))


# One's own account


def rename(db: Session, person: Person, name: str) -> None:
    faults = Faults()
    check_name(faults, tidy(name))
    faults.refuse()
    person.name = tidy(name)
    note(db, "person.renamed", ("person", person.id))


def prefer(db: Session, person: Person, length: str, pressure: str, days: str) -> None:
    """How the person wants thickness, pressure and dates written. What is recorded stays as it was said."""
    faults = Faults()
    faults.one_of("length", length, get_args(Length))
    faults.one_of("pressure", pressure, get_args(Pressure))
    faults.one_of("days", days, get_args(Days))
    faults.refuse()
    person.length_unit, person.pressure_unit = cast("Length", length), cast("Pressure", pressure)
    person.day_style = cast("Days", days)
    note(db, "person.preferred", ("person", person.id))


def change_email(db: Session, person: Person, email: str) -> None:
    faults = Faults()
    wanted = sign_in.email_of(email)
    check_email(faults, wanted)
    other = accounts.by_email(db, wanted)
    if other is not None and other.id != person.id:
        faults.add("email", "cannot be used; choose another address")
    faults.refuse()
    person.email = wanted
    note(db, "email.changed", ("person", person.id))
    rows.flush(db, "This address cannot be used. Choose another.")


def change_password(
    db: Session, person: Person, password: str, again: str, held: str, now: datetime
) -> int:
    """A new password; every other sign-in of the person ends. Gives how many those were."""
    passwords.check(password, again, person.name, person.email)
    passwords.put(person, password, now)
    members.end_invitations(db, "new_password", now, person.id)
    note(db, "password.changed", ("person", person.id))
    return sign_in.end_everywhere(db, person.id, now, but=held)


# Parties


def add_party(db: Session, name: str) -> Party:
    """A party that stands for itself: its own people keep its records and see them alone."""
    name = tidy(name)
    faults = Faults()
    check_name(faults, name)
    faults.refuse()
    if members.own_party(db, name):
        raise Conflict(f"{name} stands for itself already.")
    note(db, "party.added")
    added = Party(name=name)
    db.add(added)
    rows.flush(db, f"{name} was added by somebody else just now.")
    return added


def look_after_register(db: Session, party: Party) -> None:
    """Make this the party that looks after the register and keeps all that there are already."""
    party.keeps_register = True
    db.add(party)
    db.flush()  # the others are to name it
    members.keep_all_others(db, party)
    reach.settle_keepers(db)
    note(db, "register.set_up", ("party", party.id))


def let_stand_alone(db: Session, party_id: int) -> Party:
    """A party kept by the one that looks after the register keeps its own records from now on."""
    keeper = members.keeper(db)
    party = db.get(Party, party_id)
    if party is None or keeper is None or party.kept_by != keeper.id:
        raise NotFound("The register’s own party keeps no such party.")
    if members.own_party(db, party.name):
        raise Conflict(f"Another party of the name {party.name} stands for itself already.")
    party.kept_by = None
    note(db, "party.stands_alone", ("party", party.id))
    rows.flush(db, f"Another party of the name {party.name} was added just now.")
    reach.settle_keepers(db)
    return party
